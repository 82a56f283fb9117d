"""Threads take short turns for a while, and as before afterwards."""

from __future__ import annotations

import sys

import pytest

from pipeline.turns import quick_turns


def test_turns_are_short_within_and_as_before_afterwards_even_after_a_fault():
    before = sys.getswitchinterval()
    with quick_turns():
        assert sys.getswitchinterval() < before / 5
        with quick_turns():
            pass
        assert sys.getswitchinterval() < before / 5
    with pytest.raises(ValueError, match="at fault"), quick_turns():
        raise ValueError("at fault")
    assert sys.getswitchinterval() == pytest.approx(before)
