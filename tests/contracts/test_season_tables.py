"""Every column of the data contract is declared and says what a blank means."""

import datetime as dt
import re

import duckdb
import pytest

import schemas
from pipeline.config import AREAS, Measurement, Policy, read_policy
from pipeline.errors import ContractError, InputError
from schemas import dictionary, reader, templates


def words(text: str) -> list[str]:
    """Return the words of a list typed out by hand."""
    return text.split()


# Typed out by hand from the data contract; the declarations may extend these lists, never shorten them.
FACTS = words("""
moment inning half outs balls strikes on_first on_second on_third play_on stealing_first stealing_second
stealing_third batter_side pitcher_hand arm_slot
pitch_kind pitch_mph ball_x_in ball_z_in zone_low_in zone_high_in location miss_side location_source bounced
pitch_legality pitch_delivered pitch_caught pitch_touched location_at_touch
swing contact tip_first_touched bat first_touch
touched touch_place avoidance could_avoid stance_front stance_back contact_front contact_back contact_knee
plate_touch batter_act time_granted catcher_act umpire_act first_throw double_play_possible all_advanced
""")
RULED = words("""
ruled_pitch ruled_ball_status ruled_batter ruled_runners ruled_runner_out ruled_choice ruled_instruct
""")
COLUMNS = {
    "umpires": words("umpire_id name level years home_area email"),
    "evaluators": words("evaluator_id name level umpire_id"),
    "games": words("game_id date level rule_code plate_umpire_id site home_team away_team"),
    "plate_calls": [
        "call_id",
        "game_id",
        "evaluator_id",
        "umpire_id",
        "pitch_no",
        *FACTS,
        *RULED,
        "grade",
        "note",
    ],
    "positioning": words(
        "check_id game_id evaluator_id inning in_slot head_height drift view_blocked adjusted "
        "set_at_release gap_defended"
    ),
    "ratings": words("rating_id game_id evaluator_id criterion score scale_max"),
    "quiz_items": [
        *words("item_id rule_code topic stem option_a option_b option_c option_d option_e option_f key"),
        *words("option_a_states option_b_states option_c_states option_d_states option_e_states"),
        *["option_f_states", "quantity"],
        *FACTS,
    ],
    "quiz_responses": words("quiz_id date umpire_id item_id answer"),
    "slate": words("game_id date start level site home_team away_team crew_size"),
    "availability": words("person_id date from until sites role"),
    "conflicts": words("person_id team other_id reason"),
    "amendments": words("call_id evaluator_id date column value reason"),
    "decisions": words("umpire_id level decision date decided_by reasons"),
}
REQUIRED = {
    "umpires": {"umpire_id", "name", "level"},
    "evaluators": {"evaluator_id", "name"},
    "games": {"game_id", "date", "level", "rule_code", "plate_umpire_id"},
    "plate_calls": {"call_id", "game_id", "evaluator_id"},
    "positioning": {"check_id", "game_id", "evaluator_id"},
    "ratings": {"rating_id", "game_id", "evaluator_id", "criterion", "score", "scale_max"},
    "quiz_items": {"item_id", "rule_code", "topic", "stem", "key"},
    "quiz_responses": {"quiz_id", "umpire_id", "item_id"},
    "slate": {"game_id", "date", "start", "level", "site"},
    "availability": {"person_id", "date"},
    "conflicts": {"person_id"},
    "amendments": {"call_id", "evaluator_id", "date", "column", "value", "reason"},
    "decisions": {"umpire_id", "level", "decision", "date"},
}
# "Blank" column of the contract's tables for plate_calls; the columns not named here stay unknown.
READ_AS = {
    "moment": "pitch", "on_first": "no", "on_second": "no", "on_third": "no", "play_on": "none",
    "stealing_first": "no", "stealing_second": "no", "stealing_third": "no", "location_source": "eye",
    "bounced": "no", "pitch_legality": "legal", "pitch_delivered": "yes", "pitch_touched": "none",
    "swing": "none", "contact": "none", "tip_first_touched": "mitt_or_hand", "bat": "legal",
    "touched": "none",
    "contact_knee": "none", "batter_act": "none", "time_granted": "no", "catcher_act": "none",
    "umpire_act": "none",
}  # fmt: skip
# Allowed values of the contract's tables for plate_calls.
ALLOWED = {
    "moment": "pitch before_pitch",
    "half": "top bottom",
    "play_on": "none second third home",
    "arm_slot": "overhand three_quarter sidearm submarine",
    "pitch_kind": "fastball breaking offspeed",
    "location": "in_zone edge out_of_zone",
    "miss_side": "inside outside high low",
    "location_source": "tracked video eye",
    "pitch_legality": "legal illegal quick_return",
    "pitch_touched": "none umpire lodged runner",
    "location_at_touch": "in_zone out_of_zone in_batters_box",
    "swing": "none full bunt checked",
    "contact": "none fair foul foul_tip",
    "tip_first_touched": "mitt_or_hand gear_or_body umpire",
    "bat": "legal illegal altered",
    "first_touch": "bat body",
    "touched": "none person clothing loose_clothing",
    "touch_place": "hand arm elbow shoulder head back hip leg foot",
    "avoidance": "tried no_chance froze permitted moved_into",
    "stance_front": "inside on_line past_line",
    "contact_back": "inside on_line part_out all_out airborne",
    "contact_knee": "none inside all_out",
    "batter_act": "none delay switched_box left_box_one_foot left_box_both_feet hindered_catcher "
    "follow_through gave_up_third_strike",
    "catcher_act": "none hindered_batter took_pitch_away touched_bat_before_pitch",
    "umpire_act": "none hindered_throw",
    "first_throw": "none retired_runner not_retired held_back",
    "ruled_pitch": "ball strike foul in_play no_pitch",
    "ruled_ball_status": "live dead delayed_dead",
    "ruled_batter": "at_bat out first_base batter_runner",
    "ruled_runners": "as_played return forced forced_and_stealing advance_one",
    "ruled_runner_out": "none home played_on",
    "ruled_choice": "none offence defence",
    "ruled_instruct": "none direct_batter warn restrict_coach eject start_over",
    "grade": "right wrong not_sure",
    "on_first": "yes no",
    "pitch_caught": "yes no",
}


def test_the_season_has_the_twelve_tables_of_the_contract():
    assert {table.name for table in schemas.layer_tables("season")} == set(COLUMNS)


@pytest.mark.parametrize("name", COLUMNS)
def test_every_column_of_the_contract_is_declared(name):
    assert set(COLUMNS[name]) <= set(schemas.table(name).field_names)


@pytest.mark.parametrize("name", COLUMNS)
def test_columns_that_the_contract_needs_are_required_and_no_others(name):
    assert {field.name for field in schemas.table(name).fields if field.required} == REQUIRED[name]


@pytest.mark.parametrize("name", COLUMNS)
def test_every_column_has_a_title_a_description_an_example_and_a_meaning_for_a_blank(name):
    for field in schemas.table(name).fields:
        assert field.title
        assert field.description.rstrip(".")
        assert field.example
        assert field.required or field.blank, field.name


def test_blank_events_are_read_as_the_contract_says_and_everything_else_stays_unknown():
    declared = {field.name: field.blank_value for field in schemas.table("plate_calls").fields}
    assert {name: declared[name] for name in READ_AS} == READ_AS
    unknown = {*FACTS, *RULED, "grade", "note"} - set(READ_AS)
    assert {declared[name] for name in unknown} == {None}


@pytest.mark.parametrize("column", ALLOWED)
def test_the_allowed_values_are_those_of_the_contract_and_perhaps_more_after_them(column):
    agreed = ALLOWED[column].split()
    assert list(schemas.table("plate_calls").field(column).enum[: len(agreed)]) == agreed


@pytest.mark.parametrize(
    ("column", "low", "high"), [("outs", 0, 2), ("balls", 0, 3), ("strikes", 0, 2), ("pitch_mph", 20, 110)]
)
def test_counts_and_speed_have_the_limits_of_the_contract(column, low, high):
    field = schemas.table("plate_calls").field(column)
    assert (field.minimum, field.maximum) == (low, high)


def test_lengths_are_inches_and_speeds_miles_per_hour():
    for table in schemas.layer_tables("season"):
        for field in table.fields:
            if field.name.endswith("_in") and field.type == "number":
                assert field.unit == "in"
            if field.name.endswith("_mph"):
                assert field.unit == "mph"


def test_fact_and_ruling_columns_come_in_the_order_of_the_contract():
    assert [name for name in schemas.fact_columns() if name in FACTS] == FACTS
    assert [name for name in schemas.ruled_columns() if name in RULED] == RULED


def test_a_quiz_item_carries_the_facts_exactly_as_a_plate_call_does():
    calls, items = schemas.table("plate_calls"), schemas.table("quiz_items")
    for name in schemas.fact_columns():
        ours, theirs = items.field(name), calls.field(name)
        assert ours.borrowed_from == "plate_calls"
        assert (ours.enum, ours.blank_value, ours.type) == (theirs.enum, theirs.blank_value, theirs.type)


@pytest.mark.parametrize("name", COLUMNS)
def test_examples_blank_values_and_keys_fit_their_own_declaration(name):
    table = schemas.table(name)
    for field in table.fields:
        parts = field.example.split(field.list_separator) if field.list_separator else [field.example]
        if field.enum:
            assert set(parts) <= set(field.enum), field.name
        if field.type in ("integer", "number"):
            low = float("-inf") if field.minimum is None else field.minimum
            high = float("inf") if field.maximum is None else field.maximum
            assert low <= float(field.example) <= high, field.name
        if field.type == "date":
            assert dt.date.fromisoformat(str(field.minimum)) <= dt.date.fromisoformat(field.example)
        if field.pattern:
            assert re.fullmatch(field.pattern, field.example), field.name
        if field.blank_value is not None and field.enum:
            assert field.blank_value in field.enum
    assert set(table.primary_key) <= set(table.field_names)


def test_foreign_keys_point_to_the_key_of_a_declared_table():
    for table in schemas.layer_tables("season"):
        for key in table.foreign_keys:
            assert set(key.fields) <= set(table.field_names)
            assert schemas.table(key.table).primary_key == key.target_fields


def _judged(table_name: str, row: dict[str, object]) -> set[str]:
    """Return the names of the row rules that a row of values breaks, by running their SQL."""
    table = schemas.table(table_name)
    columns = ", ".join(
        f'CAST(${field.name}_ AS {field.duckdb_type}) AS "{field.name}"' for field in table.fields
    )
    values = {f"{name}_": row.get(name) for name in table.field_names}
    with duckdb.connect() as connection:
        return {
            rule.name
            for rule in table.row_rules
            if connection.execute(f"SELECT NOT ({rule.sql}) FROM (SELECT {columns})", values).fetchone()
            == (True,)
        }


@pytest.mark.parametrize(
    ("table", "row", "broken"),
    [
        ("plate_calls", {"zone_low_in": 18.0, "zone_high_in": 42.0}, set()),
        ("plate_calls", {"zone_low_in": 42.0, "zone_high_in": 42.0}, {"zone_has_height"}),
        ("plate_calls", {"zone_low_in": 18.0}, {"zone_both_limits"}),
        ("plate_calls", {"ball_x_in": 1.0}, {"ball_both_places"}),
        ("plate_calls", {"miss_side": "inside+low"}, set()),
        ("plate_calls", {"miss_side": "inside+outside"}, {"miss_side_once_each_way"}),
        ("plate_calls", {"miss_side": "high+low"}, {"miss_side_once_each_way"}),
        ("plate_calls", {}, set()),
        ("games", {"home_team": "A", "away_team": "A"}, {"two_teams"}),
        ("games", {"home_team": "A"}, set()),
        ("ratings", {"score": 5.0, "scale_max": 5.0}, set()),
        ("ratings", {"score": 5.5, "scale_max": 5.0}, {"score_within_scale"}),
        ("availability", {"from": "9:00", "until": "10:30"}, set()),
        ("availability", {"from": "18:00", "until": "17:59"}, {"until_after_from"}),
        ("conflicts", {}, {"somebody_named"}),
        ("conflicts", {"team": "A"}, set()),
        ("quiz_items", {"key": "a", "option_a": "x", "option_b": "y"}, set()),
        ("quiz_items", {"key": "c", "option_a": "x", "option_b": "y"}, {"key_names_an_option"}),
        ("quiz_items", {"key": "a", "option_a": "x"}, {"two_options_at_least"}),
        ("amendments", {"column": "outs", "value": "2"}, set()),
        ("amendments", {"column": "outs", "value": "3"}, {"value_fits_column"}),
        ("amendments", {"column": "outs", "value": "two"}, {"value_fits_column"}),
        ("amendments", {"column": "ball_x_in", "value": "-4.5"}, set()),
        ("amendments", {"column": "ball_x_in", "value": "1e1"}, {"value_fits_column"}),
        ("amendments", {"column": "miss_side", "value": "low+inside"}, set()),
        ("amendments", {"column": "miss_side", "value": "low+left"}, {"value_fits_column"}),
        ("amendments", {"column": "ruled_pitch", "value": "ball"}, set()),
        ("amendments", {"column": "ruled_pitch", "value": "Ball!"}, {"value_fits_column"}),
    ],
)
def test_row_rules_refuse_what_they_say_and_let_the_unknown_pass(table, row, broken):
    assert _judged(table, row) == broken


def test_an_amendment_may_name_every_fact_and_every_part_of_the_ruling_and_nothing_else():
    assert list(schemas.table("amendments").field("column").enum) == [
        *schemas.fact_columns(),
        *schemas.ruled_columns(),
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name: t\ntitle: T\ndescription: D\ncolour: red\nfields: []", "unknown keys: colour"),
        ("name: t\ntitle: T\ntitle: U\ndescription: D\nfields: []", "'title' stands twice"),
        ("name: t\ntitle: T\ndescription: D\nyes: 1\nfields: []", "key True is not text"),
        ("name: t\ntitle: T\ndescription: D\nfields: [{name: a, title: A}]", "does not say what that means"),
        (
            "name: t\ntitle: T\ndescription: D\nfields: [{name: a, title: A, blank: x, "
            "constraints: {requird: true}}]",
            "unknown keys: requird",
        ),
        (
            "name: t\ntitle: T\ndescription: D\nfields: [{name: a, title: A, blank: x},"
            " {name: b, title: B, blank: x, aliases: [A]}]",
            "headings stand for two columns: a",
        ),
        (
            "name: t\ntitle: T\ndescription: D\nfields: [{name: a, title: A, type: text, blank: x}]",
            "unknown type 'text'",
        ),
    ],
)
def test_a_faulty_declaration_is_refused_with_the_reason(text, words):
    with pytest.raises(ContractError, match=re.escape(words)):
        reader._read_table("season", "t.yaml", text)


def test_asking_for_a_table_that_is_not_declared_is_an_error():
    with pytest.raises(KeyError):
        schemas.table("no_such_table")


@pytest.mark.parametrize("name", COLUMNS)
def test_the_dictionary_tells_every_column_in_words(name):
    entry = dictionary.table_entry(schemas.table(name))
    assert [column.column for column in entry.columns] == list(schemas.table(name).field_names)
    assert all(column.type and column.blank for column in entry.columns)


def test_the_dictionary_says_limits_units_and_what_a_blank_is_read_as():
    columns = {
        column.column: column for column in dictionary.table_entry(schemas.table("plate_calls")).columns
    }
    assert columns["pitch_mph"].limits == "from 20 to 110"
    assert columns["pitch_mph"].unit == "miles per hour"
    assert columns["swing"].read_as == "none"
    assert columns["avoidance"].read_as == ""
    assert columns["call_id"].blank == "a blank is not allowed"


def test_the_plain_table_schema_has_the_borrowed_columns_and_no_key_of_ours():
    document = dictionary.table_schema(schemas.table("quiz_items"))
    assert [field["name"] for field in document["fields"]] == list(schemas.table("quiz_items").field_names)
    keys = {key for field in document["fields"] for key in field}
    assert keys <= {"name", "title", "type", "description", "constraints"}
    assert set(document) <= {"fields", "missingValues", "primaryKey", "foreignKeys"}


def test_a_blank_policy_is_accepted_and_shows_the_defaults(tmp_path):
    path = tmp_path / "policy.toml"
    path.write_text(templates.blank_policy(), encoding="utf-8")
    policy = read_policy(path)
    defaults = Policy("", "", None, None, ())
    assert policy.measurement == Measurement()
    assert policy.consequence_weights == defaults.consequence_weights
    assert (policy.interval, policy.draws, policy.seed) == (defaults.interval, defaults.draws, defaults.seed)
    assert set(policy.levels[-1].standards) == set(AREAS)


@pytest.mark.parametrize("name", COLUMNS)
def test_a_blank_sheet_has_the_headings_and_one_marked_example(name):
    heading, example = templates.blank_csv(name).removeprefix("\ufeff").splitlines()
    assert heading.split(",") == list(schemas.table(name).field_names)
    assert example.startswith("EXAMPLE-")


def test_a_blank_sheet_that_does_not_exist_is_refused_with_the_nearest_name():
    with pytest.raises(InputError, match="did you mean 'plate_calls'"):
        templates.blank_csv("plate_call")
