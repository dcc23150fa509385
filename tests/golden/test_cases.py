"""Every shipped case against its expected.json, which was worked out by hand beside the case."""

import json
from pathlib import Path

import pytest
import shared

from clearance.report import short
from clearance.report.finished import finished_line
from clearance.report.grave import besides
from clearance.result import State

CASES = Path(__file__).parent.parent.parent / "cases"


def shipped() -> list[Path]:
    """All of them, the one last that the docs check meanwhile: see `shared.remember`."""
    files = sorted(CASES.glob("*/expected.json"))
    return sorted(files, key=lambda file: file.parent.name == "mould-insert")


AS_THE_PROGRAM_TAKES_IT = [
    pytest.param(
        CASES / case / "expected.json", id=f"{case} at its own pitch", marks=pytest.mark.more
    )
    for case in shared.COARSE
]


@pytest.mark.parametrize(
    "expected_file", [*shipped(), *AS_THE_PROGRAM_TAKES_IT], ids=lambda p: p.parent.name
)
def test_shipped_case(expected_file):
    expected = json.loads(expected_file.read_text(encoding="utf-8"))
    result = shared.result_of(expected_file.parent.name)

    assert {p.name: p.state.value for p in result.passages} == {
        name: wanted["state"] for name, wanted in expected["passages"].items()
    }
    for passage in result.passages:
        lowest, highest = expected["passages"][passage.name]["clear_diameter_mm"]
        found = passage.clear_diameter_mm
        assert lowest - result.pitch_mm <= found.predicted <= highest + result.pitch_mm
        assert found.low <= highest, "the bracket lies above what was worked out by hand"
        assert found.high >= lowest, "the bracket lies below what was worked out by hand"
    assert [(list(s.passages), s.state) for s in result.separate] == [
        (s["passages"], s["state"]) for s in expected.get("separate", [])
    ]
    if "finished" in expected:
        answer = next(one for one in result.finished.by_datum if one.datum == result.finished.datum)
        assert result.finished.inside == expected["finished"]["inside"]
        assert answer.stock_low_mm == pytest.approx(expected["finished"]["stock_mm"], abs=1e-4)
        assert answer.lacking_high_mm2 == pytest.approx(
            expected["finished"]["lacking_mm2"], abs=0.1
        )
    assert result.exit_status == expected["exit_status"]
    assert result.disposition.recommendation == expected["recommendation"]


@pytest.mark.parametrize("case", [path.parent.name for path in shipped()])
def test_the_first_screen_has_room_for_the_prompt(case):
    result = shared.result_of(case)
    decided = result.disposition
    shown = short.text(result, 80)
    assert len(shown.splitlines()) <= short.MOST_LINES <= 22
    assert max(map(len, shown.splitlines())) <= 80
    said = " ".join(shown.split())
    for key, words in besides(result):
        assert " ".join(f"{key}: {words}".split()) in said
    assert not decided.order_of_work or ("1. hold the part" in said and "2. empty" in said)
    for name in {p.name for p in result.passages if p.state is not State.OPEN}:
        assert name in shown or "feed-1 to feed-3" in shown


def test_a_lack_of_stock_is_told_to_the_hundredth_that_it_is():
    """0.1 mm by hand, off by the rounding of corners: neither 0.11 nor 0.09."""
    assert "up to 0.10 mm lack, 122.4 mm2" in finished_line(
        shared.result_of("guide-block").finished
    )


def test_there_are_cases():
    assert len(shipped()) >= 5
