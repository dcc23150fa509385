"""Each step of a proof disabled in turn: the second opinion contradicts whatever verdict changes.

The parts are small and their truths plain; a step is disabled as a bug would do it, from outside.
Without the fault the same part is judged as it is, and the second opinion agrees.
"""

from dataclasses import replace

import make
import pytest
import shapes

from clearance.case.read import read_case
from clearance.checking import judge
from clearance.drilling.recheck import Recheck
from clearance.geometry import routes, segments
from clearance.passages.search import Search
from clearance.predicted import part as predicted_part
from clearance.predicted.part import Window
from clearance.verdict import passage_check as verdict_passage
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked, prepare

PART_BETWEEN = "solids part the openings of a passage that is said to have a way"
IN_THE_WAY = "metal stands in the way that is said to be proven"
DRILLS = {"series": [], "drills": [{"diameter": 4.2, "flute": 60.0, "overall": 90.0}]}


def block(windows=False, chamber=False):
    """Upright bore r 1.5 at x = 4; two windows to its side, or a chamber 0.45 beside it."""
    part = shapes.block((0, 0, 0), (12, 12, 16)) - shapes.bore((4, 6, -1), (4, 6, 17), 1.5)
    if windows:
        for z in (3.0, 11.0):
            part -= shapes.block((-1, 4.5, z), (4, 7.5, z + 2.4))
    if chamber:
        part -= shapes.block((5.95, 4, 5), (10, 8, 12))
    return part


CLOSED = [
    {"name": f"window {n}", "centre": [0.0, 6.0, z + 1.2], "radius": 1.5}
    for n, z in enumerate((3.0, 11.0))
]


def told(folder, part, stray, **tables):
    way = make.passage((4, 6, 0), (4, 6, 16), 1.5, 2.0)
    path = make.write_case(folder, part, way, stray, pitch=0.4, **tables)
    return judge(prepare(read_case(path)), verify=True).result.passages[0]


# ---- the steps, each as it fails ---------------------------------------------------------------


def other_events(change):
    """The predicted part is that of other events than those of the case."""

    def fault(monkeypatch):
        predict = Window.predict
        monkeypatch.setattr(Window, "predict", lambda self, events: predict(self, change(events)))

    return fault


def each(**changes):
    return lambda events: events and tuple(replace(event, **changes) for event in events)


def third_mouth(monkeypatch):
    """Mouths of others are no longer shut: neither for columns nor for routes."""
    plugs = Checked.plugs

    def own(self, pitch_mm, sunk=True, mouths=None):
        chosen = self.all_mouths if mouths is None else mouths
        kept = tuple(mouth for mouth in chosen if "window" not in mouth.name)
        return plugs(self, pitch_mm, sunk, kept)

    def search(self, predicted, found):
        ends = (self.inlet, self.outlet)
        return Search(predicted, *ends, ends, found, self.checked.case.grid.smallest_way)

    monkeypatch.setattr(Checked, "plugs", own)
    monkeypatch.setattr(PassageCheck, "search", search)
    no_ceiling(monkeypatch)


def no_ceiling(monkeypatch):
    """The upper bound is blind: alone it would call the two proofs contradicting each other."""
    monkeypatch.setattr(Search, "_ceiling", lambda self, closed: (3.0, False))
    for bound in ("_cut", "_neck"):
        monkeypatch.setattr(Search, bound, lambda self, *_: 3.0)


def least_distance(monkeypatch):
    """Distances to the surface are told by a fifth too large."""
    widen, certified = routes.widen, segments.certified_clearance

    def wider(*args, **keys):
        route, bound, where = widen(*args, **keys)
        return route, 1.2 * bound, where

    def roomier(*args, **keys):
        bound, where = certified(*args, **keys)
        return 1.2 * bound, where

    monkeypatch.setattr(routes, "widen", wider)
    monkeypatch.setattr(segments, "certified_clearance", roomier)
    no_ceiling(monkeypatch)


def not_looked_at_again(monkeypatch):
    """What is drilled is taken to be as designed."""
    monkeypatch.setattr(Recheck, "_after", lambda self, crossed, taken: self.check.nominal)


def wall_left(monkeypatch):
    monkeypatch.setattr(Recheck, "_cutting", lambda self, holes: iter(()))
    not_looked_at_again(monkeypatch)


def crossing_left_out(monkeypatch):
    """The upper of two sheets is neither drilled nor looked at again."""
    crossings = verdict_passage.crossings
    monkeypatch.setattr(
        verdict_passage,
        "crossings",
        lambda *args: [c for c in crossings(*args) if c.height_mm < 10.0],
    )
    not_looked_at_again(monkeypatch)


def clip_at_the_cut(monkeypatch):
    """Of what stands above a cut the clip takes 2.5 too much away."""
    clip = predicted_part.clipped

    def short(triangles, low, high, move):
        return clip(triangles, low + 2.5, high, move)

    monkeypatch.setattr(predicted_part, "clipped", short)
    no_ceiling(monkeypatch)


def block_too_large(monkeypatch):
    """What shuts a crossing shuts the ways round it with it."""
    monkeypatch.setattr(Search, "_joined", lambda self, taken: False)


def necked():
    """Upright bore r 1.5 with a neck r 1.2 from z 9 to 10."""
    return block() + shapes.block((2, 4, 9), (6, 8, 10)) - shapes.bore((4, 6, 8), (4, 6, 11), 1.2)


def with_bypass():
    """The bore, and one r 1.2 beside it from z 3 to 13, joined with it below and above."""
    part = block() - shapes.bore((8.5, 6, 3), (8.5, 6, 13), 1.2)
    for z in (3.0, 10.6):
        part -= shapes.block((4, 4.8, z), (8.5, 7.2, z + 2.4))
    return part


PLATE = {"sheet": shapes.block((2, 4, 8), (6, 8, 8.5))}
ASIDE = make.sheet(8.0, 1, resume_shift=[0.0, 1.2])
SEEDED = {
    "the sheets": (other_events(lambda _: None), {}, make.plane(8.0), PART_BETWEEN),
    "the hole in a sheet": (
        other_events(each(plane=True)),
        {},
        make.sheet(8.0),
        "solids join the openings of a passage that is said to be blocked",
    ),
    "what is set aside": (other_events(each(shift=(0.0, 0.0))), {}, ASIDE, IN_THE_WAY),
    "the third mouth": (
        third_mouth,
        {"part": block(windows=True), "closed": CLOSED},
        make.plane(8.0),
        PART_BETWEEN,
    ),
    "the clip at the cut": (
        clip_at_the_cut,
        {"part": necked()},
        make.sheet(8.0, 1, resume_shift=[0.0, 0.2]),
        IN_THE_WAY,
    ),
    "the block": (
        block_too_large,
        {"part": with_bypass(), "meshes": PLATE},
        {"shape": "mesh", "mesh": "sheet.stl"},
        "solids join the openings of a passage that is said to be blocked",
    ),
    "the least distance": (least_distance, {}, ASIDE, IN_THE_WAY),
    "the wall left": (
        wall_left,
        {"part": block(chamber=True), "drilling": {**DRILLS, "wall_allowance": 0.9}},
        make.plane(8.0, source="log"),
        "a drilled hole opens another void",
    ),
    "a crossing": (
        crossing_left_out,
        {"drilling": {**DRILLS, "drills": [{**DRILLS["drills"][0], "diameter": 2.6}]}},
        [make.plane(4.0, source="log"), make.plane(12.0, source="log")],
        "solids part the openings also after drilling",
    ),
}


DEAR = (
    "a crossing",
    "what is set aside",
    "the block",
    "the hole in a sheet",
    "the clip at the cut",
)


@pytest.mark.parametrize(
    "step",
    [pytest.param(step, marks=pytest.mark.more) if step in DEAR else step for step in SEEDED],
)
def test_a_step_that_fails_is_contradicted(step, tmp_path, monkeypatch):
    fault, keys, stray, why = SEEDED[step]
    keys = {"part": block(), **keys}
    solid = keys.pop("part")
    sound = told(tmp_path / "sound", solid, stray, **keys)
    assert (sound.verified, sound.verified_why) == ("agrees", "")
    fault(monkeypatch)
    found = told(tmp_path / "fault", solid, stray, **keys)
    assert (found.state, found.clear_diameter_mm, found.rework) != (
        sound.state,
        sound.clear_diameter_mm,
        sound.rework,
    )
    assert (found.verified, found.verified_why) == ("contradicts", why)
