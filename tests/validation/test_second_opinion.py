"""The second opinion: agrees with true claims, and contradicts every claim that is made false.

Parts and truths are by hand; each false claim stands for a step of the check that fails.
"""

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import make
import numpy as np
import pytest
import shapes
import shared
from click.testing import CliRunner
from matplotlib.figure import Figure

from clearance import checking
from clearance.case.read import read_case
from clearance.checking import judge
from clearance.cli.main import main
from clearance.drawing.sheet import sheet
from clearance.figures import first_page
from clearance.figures.files import pdf_bytes
from clearance.plates.members import asked as asked_of_plate
from clearance.result import State
from clearance.verdict import confirmed
from clearance.verdict.confirmed import verified
from clearance.verdict.prepared import prepare
from clearance.verdict.solids import NotPossibleError, solid

CASES = Path(__file__).parents[2] / "cases"


def block(window=False, chamber=False):
    """Upright bore r 1.5 at x = 4 in a block of 12 x 12 x 16; a window to its side; a chamber."""
    part = shapes.block((0, 0, 0), (12, 12, 16)) - shapes.bore((4, 6, -1), (4, 6, 17), 1.5)
    if window:
        part -= shapes.block((-1, 5, 9), (4, 7, 13))
    if chamber:
        part -= shapes.block((5.9, 4, 5), (10, 8, 12)) - shapes.block((5.9, 4, 5), (5.95, 8, 12))
    return part


def examined(folder, part, stray, **tables):
    way = make.passage((4, 6, 0), (4, 6, 16), 1.5, 2.0)
    path = make.write_case(folder, part, [way], stray, pitch=0.4, **tables)
    found = judge(prepare(read_case(path)))
    return found, found.checks[0], found.result.passages[0]


def asked(found, result):
    (told,) = verified(found.checked, found.checks, [result])
    return told


def judged_as(check, **changes):
    """The passage check with another way than the one it found."""
    first = check.judged[0]
    check.judged = [replace(first, way=replace(first.way, **changes))]


def test_it_agrees_on_open_and_blocked(tmp_path):
    found, _, result = examined(tmp_path / "a", block(), make.sheet(8.0))
    assert result.state is State.OPEN
    assert asked(found, result).verified == "agrees"
    found, _, result = examined(tmp_path / "b", block(), make.plane(8.0))
    assert result.state is State.BLOCKED
    assert asked(found, result).verified == "agrees"


@pytest.mark.parametrize("height", [5.0, 8.0])
def test_a_sheet_that_was_overlooked(tmp_path, height):
    """The nominal way is taken for the predicted one: a plane stands in it."""
    found, check, result = examined(tmp_path, block(), make.plane(height))
    way = check.nominal.way
    judged_as(check, low_mm=way.low_mm, high_mm=way.high_mm, route=way.route)
    told = asked(found, replace(result, state=State.OPEN))
    assert told.verified == "contradicts"
    assert told.verified_why == "solids part the openings of a passage that is said to have a way"
    assert told.reasons[0].startswith("CONTRADICTED by the second opinion")


def test_a_way_that_is_said_to_be_wider_than_it_is(tmp_path):
    shift = make.sheet(8.0, 1, resume_shift=[1.2, 0.0])
    found, check, result = examined(tmp_path, block(), shift)
    assert asked(found, result).verified == "agrees"
    judged_as(check, low_mm=check.judged[0].way.low_mm + 0.1)
    told = asked(found, result)
    assert told.verified_why == "metal stands in the way that is said to be proven"
    assert abs(told.verified_at_mm[2] - 8.0) < 3.0


def test_a_passage_that_is_said_to_be_blocked_and_is_not(tmp_path):
    found, check, result = examined(tmp_path, block(), make.sheet(8.0))
    judged_as(check, low_mm=0.0, high_mm=0.0, route=np.empty((0, 3)))
    told = asked(found, replace(result, state=State.BLOCKED))
    assert told.verified_why == "solids join the openings of a passage that is said to be blocked"


def test_a_hair_is_no_contradiction(tmp_path):
    """A bore of 3 set aside by 2.98 leaves a lens 0.02 wide: less than the smallest way."""
    shift = make.sheet(8.0, 1, resume_shift=[0.0, 2.98])
    found, _, result = examined(tmp_path, block(), shift, smallest_way=0.06)
    assert result.state is State.BLOCKED
    assert asked(found, result).verified == "agrees"


def test_a_way_through_a_mouth_that_is_closed(tmp_path):
    closed = {"name": "window", "centre": [0.0, 6.0, 11.0], "radius": 1.6}
    found, check, result = examined(tmp_path, block(window=True), make.sheet(4.0), closed=[closed])
    assert asked(found, result).verified == "agrees"
    out = np.array([(4, 6, 0), (4, 6, 11), (-1, 6, 11), (4, 6, 11), (4, 6, 16)], float)
    judged_as(check, low_mm=0.1, route=out)
    told = asked(found, result)
    assert told.verified_why == "the way that is said to be proven leaves through window"


@pytest.mark.parametrize("diameter", [2.6, 4.2])
def test_a_hole_that_opens_a_chamber_or_cuts_the_wall(tmp_path, diameter):
    drills = {"series": [], "drills": [{"diameter": 2.6, "flute": 60.0, "overall": 90.0}]}
    found, _, result = examined(
        tmp_path, block(chamber=True), make.plane(8.0, source="log"), drilling=drills
    )
    assert result.rework is not None
    (stroke,) = result.rework.drilling
    plan = replace(result.rework, drilling=(replace(stroke, drill_diameter_mm=diameter),))
    told = asked(found, replace(result, rework=plan))
    if diameter < 3.0:
        assert told.verified == "agrees"
    else:
        assert told.verified_why == "a drilled hole opens another void"


def test_what_solids_cannot_tell_is_said(tmp_path):
    found, _, result = examined(tmp_path, block(window=True), make.plane(4.0))
    told = asked(found, replace(result, state=State.RESTRICTED))
    assert told.verified == "not-possible"
    assert "not named" in told.verified_why
    open_box = shapes.soup(shapes.block((0, 0, 0), (1, 1, 1)))[:-1]
    with pytest.raises(NotPossibleError, match="no clean solid"):
        solid(open_box)


def said_by(*words):
    ran = CliRunner().invoke(main, ["check", *map(str, words), "--json", "-"])
    data = json.loads(ran.stdout)
    return data["passages"][0]["verified"], data["second_opinion"]


def test_the_result_says_what_was_confirmed_or_why_not(tmp_path, monkeypatch):
    """By itself up to a stated size; a sheet of 20 layers counts as a part more."""
    ways = [make.passage((4, 6, 0), (4, 6, 16), 1.5, 2.0)]
    path = make.write_case(tmp_path, block(), ways, make.sheet(8.0, 2))
    many = len(shapes.soup(block()))
    shared.remember(monkeypatch)  # of one case; what is asked again is the second opinion
    monkeypatch.setattr(checking, "judge", judge)
    agrees = ("agrees", ["solid booleans agree on a"])
    assert said_by(path) == agrees
    assert said_by(path, "--no-verify") == (None, ["not asked for: --no-verify"])
    monkeypatch.setattr(confirmed, "MOST_TRIANGLES", round(1.1 * many))
    assert said_by(path) == agrees
    monkeypatch.setattr(confirmed, "MOST_TRIANGLES", many)
    answer, (said,) = said_by(path)
    assert answer is None
    assert said == (
        f"not asked for: the part has {many} triangles, counted with 2 wrong layers as "
        f"{round(1.1 * many)}, more than {many}; --verify asks"
    )
    assert said_by(path, "--verify") == agrees
    text = CliRunner().invoke(main, ["check", str(path), "--full"]).stdout
    assert "second opinion\n  not asked for: the part has" in text
    # A finer mesh than its check has columns: many, and the check is small.
    monkeypatch.setattr(confirmed, "MOST_TRIANGLES", 120_000)
    columns = prepare(read_case(path)).whole.grid.count
    monkeypatch.setattr(confirmed, "SMALL_TRIANGLES", round(1.1 * many) - columns)
    assert said_by(path) == agrees
    monkeypatch.setattr(confirmed, "SMALL_TRIANGLES", many - columns)
    assert f", more than {many}, for a check of {columns} columns; --verify" in said_by(path)[1][0]


@pytest.mark.parametrize(
    ("verify", "said"),
    [
        (None, "asked for by each part's size"),
        (True, "asked for every part"),
        (False, "not asked for: --no-verify"),
    ],
)
def test_a_plate_says_whether_it_was_asked(verify, said):
    parts = [SimpleNamespace(task=SimpleNamespace(verify=verify)), SimpleNamespace(task=None)]
    assert asked_of_plate(parts) == [f"second opinion: {said}"]


def test_sheet_sweep_and_plate_say_whether_it_was_asked(tmp_path, monkeypatch):
    way = make.passage((4, 6, 0), (4, 6, 16), 1.5, 2.0)
    path = make.write_case(tmp_path / "one", block(), way, make.sheet(8.0), pitch=0.5)
    found = judge(prepare(read_case(path)), verify=True)
    assert sheet(found).second_opinion == ("solid booleans agree on a",)
    lines = CliRunner().invoke(main, ["sweep", str(path), "--from", "8", "--to", "8"]).stdout
    assert "second opinion: not asked for by a sweep" in " ".join(lines.split())
    plate = tmp_path / "plate.toml"
    plate.write_text(
        '[plate]\nname = "p"\nsize = [100.0, 100.0]\n'
        '[[part]]\nname = "one"\ncase = "one/case.toml"\nat = [0.0, 0.0]\n'
    )
    shared.in_this_process(monkeypatch)
    empty = pdf_bytes([Figure((8.0, 11.0))], "sheets are not looked at")
    monkeypatch.setattr(first_page, "report", lambda _: empty)
    ways = [("--verify", "asked for every part", "solid booleans agree on a")]
    if shared.in_full:
        ways.append(("--no-verify", "not asked for: --no-verify", "not asked for: --no-verify"))
    for flag, said, own in ways:
        out = tmp_path / "out"
        done = CliRunner().invoke(
            main, ["plate", str(plate), "--out", str(out), "--jobs", "1", flag]
        )
        print(done.output, done.exception)
        data = json.loads((out / "plate.json").read_text())
        assert f"second opinion: {said}" in data["notices"]
        assert json.loads((out / "parts/one.json").read_text())["second_opinion"] == [own]
