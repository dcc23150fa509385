"""Every shipped case against its expected.json, which was worked out by hand beside the case."""

import json
from pathlib import Path

import pytest
import shared

CASES = Path(__file__).parent.parent.parent / "cases"


def shipped() -> list[Path]:
    return sorted(CASES.glob("*/expected.json"))


@pytest.mark.parametrize("expected_file", shipped(), ids=lambda p: p.parent.name)
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
    assert result.exit_status == expected["exit_status"]
    assert result.disposition.recommendation == expected["recommendation"]


def test_there_are_cases():
    assert len(shipped()) >= 5
