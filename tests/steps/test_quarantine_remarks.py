"""The remarks before a row are read back as they were written, whatever the row itself looks like."""

from __future__ import annotations

import csv

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.publish.mend_sheets import csv_line
from schemas.remarks import fingerprint, guarded, leading_fields, unguarded

TEXT = st.text(st.sampled_from('ab,;|"\'=+-@ \t#1é'), max_size=12)


@given(st.lists(TEXT, min_size=1, max_size=7), TEXT, st.sampled_from(",;\t|"))
def test_the_fields_in_front_and_the_rest_come_back_as_they_were(cells, rest, delimiter):
    line = csv_line(cells, delimiter) + delimiter + rest
    assert leading_fields(line, delimiter, len(cells)) == (cells, rest)


@given(TEXT.map(str.strip))
def test_a_remark_kept_from_being_a_formula_is_read_as_it_was(text):
    assert not guarded(text).startswith(("=", "+", "-", "@"))
    assert unguarded(guarded(text)) == text


@pytest.mark.parametrize("text", ["a", 'a,"b', '"a', "a,b", '"a"b,c,d'])
def test_a_row_that_ends_before_its_remarks_do_has_none(text):
    # Three fields are asked for and something must follow them.
    assert leading_fields(text, ",", 3) is None


def test_fields_are_parted_as_the_reader_of_csv_does():
    line = '"a ""b"", c",,d e,"rest, as it came'
    assert leading_fields(line, ",", 3) == (next(csv.reader([line]))[:3], '"rest, as it came')


def test_a_fingerprint_is_no_number_and_differs_with_the_text():
    # SHA-256 of the empty text begins with e3b0c44298fc (FIPS 180-4 test value).
    assert fingerprint("") == "re3b0c44298fc"
    assert fingerprint("C1,G1") != fingerprint("C1,G2")
