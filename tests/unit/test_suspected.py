"""[suspected]: the events that a case holds possible, and every way to write it wrong.

Expected heights and counts are analytic: layers x t, products of ranges.
"""

import itertools
import tomllib
from pathlib import Path

import pytest
import shared

from clearance.case.read import Case, case_schema
from clearance.case.suspected import MOST_SUSPECTS, as_stray
from clearance.errors import CaseError
from clearance.plates.one_part import BESIDES
from clearance.report.grave import besides
from clearance.report.short import text
from clearance.result import Result
from clearance.verdict.reading_words import OTHERS

TOLD = {"height": 31.2, "layers": 3, "resume": "height", "penetration": 0.1}


@pytest.fixture
def read(tmp_path):
    (tmp_path / "a.stl").touch()

    def read(stray=TOLD, **suspected):
        port = {"centre": [0, 0, 0], "radius": 4.0}
        tables = {
            "part": {"name": "a", "mesh": "a.stl", "layer_thickness": 0.05, "platform_z": 0.0},
            "passage": [
                {
                    "name": "bore",
                    "inlet": port,
                    "outlet": {"centre": [0, 0, 60], "radius": 4.0},
                    "min_clear_diameter": 7.0,
                }
            ],
            "stray": [stray] if isinstance(stray, dict) else stray,
            "suspected": suspected,
        }
        return Case.from_tables(tables, tmp_path)

    return read


def test_every_combination_is_a_suspect_and_the_event_as_told_is_one_of_them(read):
    found = read(
        after_layer=[615, 632], from_layer=[0, 6], layers=[1, 6], resume=["height", "layer"]
    ).suspected
    events = {(s.after_layer, s.from_layer, s.layers, s.resume) for s in found.suspects}
    expected = set(itertools.product(range(615, 633), range(7), range(1, 7), ("height", "layer")))
    assert events == expected
    assert len(found.suspects) == len(expected) == 18 * 7 * 6 * 2
    for suspect in found.suspects:
        assert suspect.height == pytest.approx((suspect.after_layer + 1) * 0.05, abs=1e-9)
        assert suspect.weight == pytest.approx(1 / len(expected))
    told = [s for s in found.suspects if s.told]
    assert [(s.after_layer, s.from_layer, s.layers, s.resume) for s in told] == [
        (623, 0, 3, "height")
    ]
    assert (found.stray, found.weighted, found.none) == (0, False, False)


def test_what_the_ranges_do_not_hold_of_the_event_as_told_is_added(read):
    found = read({**TOLD, "height": 31.22}, height=[30.9, 31.1]).suspected.suspects
    assert [s.height for s in found] == [30.9, 30.95, 31.0, 31.05, 31.1, 31.22]
    assert [s.told for s in found] == [False] * 5 + [True]
    assert found[-1].after_layer is None  # no whole layer


def test_a_silent_table_holds_all_that_the_event_leaves_open(read):
    loose = {"height": 31.2, "height_uncertainty": 0.06, "layers": [2, 3]}
    found = read(loose).suspected.suspects
    assert {(s.height, s.layers, s.resume) for s in found} == set(
        itertools.product((31.15, 31.2, 31.25), (2, 3), ("height", "layer"))
    )
    assert all(s.told for s in found)
    jump = {"height": 31.2, "layers": 3, "next_layer": 626}
    (only,) = read(jump).suspected.suspects
    assert only.resume is None
    assert as_stray(read(jump).stray[0], only).next_layer == 626
    replaced = read(jump, resume=["layer"])
    assert as_stray(replaced.stray[0], replaced.suspected.suspects[-1]).next_layer is None


def test_a_sheet_below_lifts_what_after_layer_means(read):
    below = {"height": 10.0, "layers": 2, "resume": "layer"}
    found = read([below, TOLD], after_layer=[622, 623]).suspected
    assert found.stray == 1
    heights = {s.after_layer: s.height for s in found.suspects if not s.told}
    assert heights == {622: pytest.approx(31.25), 623: pytest.approx(31.3)}
    (told,) = (s for s in found.suspects if s.told)
    assert (told.height, told.after_layer) == (31.2, 621)


def test_a_suspect_as_a_sheet_keeps_what_is_known_of_the_powder(read):
    case = read({**TOLD, "packing": 0.5, "resume_shift": [0.1, 0.0]}, layers=[1, 2])
    sheet = as_stray(case.stray[0], case.suspected.suspects[0])
    assert (sheet.layers_low, sheet.layers_high, sheet.height) == (1, 1, 31.2)
    assert (sheet.packing_low, sheet.penetration_high, sheet.resume_shift) == (0.5, 0.1, (0.1, 0))
    assert sheet.height_uncertainty == 0.0


def test_weights_multiply_and_sum_to_one(read):
    weights = {"resume=height": 0.8, "resume=layer": 0.2, "layers=1": 1, "layers=2": 3}
    found = read(
        {**TOLD, "layers": 2}, layers=[1, 2], resume=["height", "layer"], weights=weights
    ).suspected
    assert found.weighted
    by = {(s.layers, s.resume): s.weight for s in found.suspects}
    assert by == {
        (1, "height"): pytest.approx(0.8 / 4),
        (2, "height"): pytest.approx(0.8 * 3 / 4),
        (1, "layer"): pytest.approx(0.2 / 4),
        (2, "layer"): pytest.approx(0.2 * 3 / 4),
    }
    assert sum(by.values()) == pytest.approx(1.0)


def test_the_mesh_itself_may_weigh_as_much_as_all_events_together(read):
    even = read(layers=[1, 3], also=["mesh", "none"]).suspected
    assert even.none
    assert [s.cause for s in even.suspects] == ["event"] * 3 + ["mesh"]
    assert {s.weight for s in even.suspects} == {0.25}
    halves = {"cause=event": 1, "cause=mesh": 1}
    found = read(layers=[1, 3], also=["mesh"], weights=halves).suspected.suspects
    assert [s.weight for s in found] == pytest.approx([1 / 6] * 3 + [0.5])


REFUSED = [
    ({"height": [30.91, 30.93]}, "height: found [30.91, 30.93], expected a range that holds a wh"),
    ({"height": 31.2, "after_layer": 3}, "after_layer: found 3, expected none beside height"),
    ({"after_layer": [0, 10**4], "layers": [1, 10]}, f"at most {MOST_SUSPECTS} suspects; these"),
    ({"height": [0, 1e6]}, f"at most {MOST_SUSPECTS} suspects; these ranges hold 20000001"),
    ({"layers": [0, 2]}, "layers: found [0, 2], expected at least 1"),
    ({"layers": [3, 2]}, "layers: found [3, 2], expected [low, high]"),
    ({"from_layer": -1}, "from_layer: found -1, expected greater than or equal to 0"),
    ({"u_next": 3}, "u_next: found 3, expected a table, { ... }"),
    ({"resume": []}, "resume: found [], expected a list of at least 1"),
    ({"resume": ["layer", "layer"]}, "resume: found ['layer', 'layer'], expected each word once"),
    ({"resume": "layer"}, "resume: found 'layer', expected a list"),
    ({"also": ["nothing"]}, "also, item 1: found 'nothing', expected 'mesh' or 'none'"),
    ({"layer": 3}, "layer: found 3, no such key; did you mean layers?"),
    ({"weights": {"layer=3": 1}}, "weights.layer=3: found 1, expected one of from_layer, layers"),
    ({"weights": {"layers=7": 1}}, "weights.layers=7: found 1, expected layers = one of 3"),
    ({"weights": {"layers=3": 0}}, "weights: expected a weight above 0 for one value of layers"),
    ({"weights": {"layers=3": -1}}, "weights.layers=3: found -1, expected greater than or equal"),
    (
        {"resume": ["height", "layer"], "weights": {"resume=height": 1}},
        "weights: expected a weight for every value of resume; there is none for layer",
    ),
    ({"u_next": {"rim_top": 0.0}}, "u_next.rim_top: found 0.0, expected greater than 0"),
    ({"u_next": {"rim": 0.1}}, "u_next: found a table, expected kinds of reading among rim_top"),
]


@pytest.mark.parametrize(("table", "said"), REFUSED, ids=[said[:40] for _, said in REFUSED])
def test_what_does_not_fit_is_refused_in_one_line(read, table, said):
    with pytest.raises(CaseError) as fault:
        read(**table)
    (line,) = str(fault.value).splitlines()
    assert said in line
    assert "[suspected]" in line


@pytest.mark.parametrize(
    ("strays", "table", "said"),
    [
        ([], {"layers": 2}, "the event as told; there is no [[stray]] at all"),
        ({**TOLD, "shape": "plane"}, {"from_layer": 1}, 'the [[stray]] has shape = "plane"'),
        (
            [{"height": 31.0, "layers": 2, "resume": "height"}, TOLD],
            {"height": [30.0, 31.0]},
            "heights from the top of the sheet below, 31.1 mm, upwards",
        ),
        (
            [{"height": 10.0, "layers": 2}, TOLD],
            {"after_layer": 623},
            "how much the part has grown below is unknown",
        ),
    ],
)
def test_what_does_not_fit_the_event_as_told_is_refused(read, strays, table, said):
    with pytest.raises(CaseError) as fault:
        read(strays, **table)
    (line,) = str(fault.value).splitlines()
    assert said in line


def test_ten_thousand_suspects_and_more_are_taken(read):
    found = read(after_layer=[100, 1599], layers=[1, 10], resume=["height", "layer"]).suspected
    assert len(found.suspects) == 1500 * 10 * 2


TEXT = Path(__file__).parents[2] / "cases/mould-insert/case.toml"


@pytest.mark.parametrize(
    ("more", "fits"),
    [
        ('after_layer = [615, 632]\nresume = ["height"]\nalso = ["mesh", "none"]', True),
        ('height = 31.2\nweights = { "resume=height" = 0.8 }\nu_next = { rim_top = 0.1 }', True),
        ("height = 31.2\nafter_layer = 3", False),
        ("layers = [1, 2, 3]", False),
        ('also = ["all"]', False),
    ],
)
def test_editors_get_the_same_verdict_from_the_schema(more, fits):
    jsonschema = pytest.importorskip("jsonschema")
    validator = jsonschema.Draft202012Validator(case_schema())
    text = f"{TEXT.read_text(encoding='utf-8')}\n[suspected]\n{more}\n"
    assert validator.is_valid(tomllib.loads(text)) == fits


def test_a_check_says_that_the_case_holds_other_events_possible():
    """On paper and screen, however sound the part is after the event that is told."""
    said = besides(Result("part", 0.2, (), notices=(OTHERS,)))
    assert said == (("causes", OTHERS),)
    result = shared.result_of("sensor-block")
    assert OTHERS in result.notices
    assert {key for key, _ in besides(result)} <= set(BESIDES)  # a plate has words for each
    assert "clearance causes" in " ".join(text(result, 80).split())
