"""Every row of the table of rules, from a case file to the recommendation and the exit status."""

import json

import pytest
from board_cases import CASES
from click.testing import CliRunner

from clearance.cli.main import main
from clearance.disposition.table import TABLE

MORE = {
    "circuits that meet by design",
    "the same, but the shift is assumed",
    "a hole in the sheet as wide as required, to a hundredth of a micrometre",
    "narrowed behind two bends, but enough flows",
    "wide enough, but too little flows",
    "narrowed behind two bends, and nobody said what must flow",
    "the same where nobody said what must stay",
}
"""Ends that the plain run has of another requirement, or in the tests of the rules alone."""
MARKED = [
    pytest.param(
        case, id=f"{case.row} {case.title}", marks=[pytest.mark.more] if case.title in MORE else []
    )
    for case in CASES
]


@pytest.mark.parametrize("case", MARKED)
def test_a_case_ends_as_its_board_argues(tmp_path, case):
    file = tmp_path / "result.json"
    path = case.write(tmp_path / "case")
    done = CliRunner().invoke(main, ["check", str(path), "--json", str(file)])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.output
    found = json.loads(file.read_text("utf-8"))["disposition"]
    assert (found["recommendation"], done.exit_code) == (case.recommendation, case.status), found
    decided = [
        reason for reason, row in zip(found["reasons"], found["rows"], strict=True)
        if row == case.row
    ]  # fmt: skip
    assert decided, found
    call = case.recommendation.replace("-", " ").upper()
    assert done.output.splitlines()[0].partition(": ")[2].startswith((call, "NO EVENT GIVEN"))
    said = " ".join((*found["reasons"], *found["order_of_work"]))
    assert ("wanders: a guide bush" in said) == ("leaning" in case.title)
    drills = [step for step in found["order_of_work"] if step.startswith("drill ")]
    assert bool(drills) == (case.recommendation in ("rework", "repair"))
    assert bool(found["settled_by"]) == (case.recommendation == "undetermined")


def test_every_row_has_its_case():
    assert {case.row for case in CASES} == set(TABLE)
