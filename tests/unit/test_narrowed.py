"""Drills are sought for whatever narrows a passage, and nobody scraps where none was sought."""

from types import SimpleNamespace

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes
import shared

from clearance.drilling.reach import Reach, needs_reach
from clearance.drilling.strokes import Reached
from clearance.result import State

LONG = {"flute": 60.0, "overall": 110.0}
TWO = {"series": [], "drills": [{"diameter": 3.7, **LONG}, {"diameter": 4.0, **LONG}]}
LEAN = np.radians(40.0)
WATER = {"density": 998.0, "viscosity": 1e-3, "rate": 2.0, "max_pressure_loss": 1e-3}


def leaning(z):
    """A bore of 4 that leans by 40 degrees, and a sheet 0.1 thick over one side of it.

    The level section is an ellipse of half axes 2.61 and 2. The flap leaves x < 1.31 of it: the
    largest circle there is 2 * 1.88 (its middle at -0.57, where the ellipse leaves
    2 sqrt(1 - 0.57^2 / (2.61^2 - 2^2))), but a ball is caught between the flap's edge and the
    opposite wall: along the bore's section the gap is about (2.61 + 1.31) cos 40 = 3.0.
    """
    tan = np.tan(LEAN)
    part = m3.Manifold.cube((50, 16, 20)).translate((-12, -8, 0))
    part -= shapes.bore((-20 * tan, 0, -20), (40 * tan, 0, 40), 2.0)
    flap = m3.Manifold.cube((3, 6, 0.1)).translate((z * tan + 1.31, -3, z))
    return part, flap, make.passage((0, 0, 0), (20 * tan, 0, 20), 2.3, 3.5)


@pytest.mark.parametrize(("turned", "flow"), [(True, {}), *shared.more((False, {"flow": WATER}))])
def test_a_drill_is_sought_where_no_circle_is_too_small(tmp_path, turned, flow):
    part, flap, passage = leaning(10.0)
    if turned:  # upside down
        part, flap = (s.rotate((180, 0, 0)).translate((0, 0, 20)) for s in (part, flap))
        passage["inlet"]["centre"][2], passage["outlet"]["centre"][2] = 20.0, 0.0
    sheet = {"shape": "mesh", "mesh": "flap.stl", "source": "log"}
    result = make.checked(
        tmp_path, part, passage, sheet, meshes={"flap": flap}, drilling=TWO, pitch=0.3, **flow
    )
    (one,) = result.passages
    assert one.state == "restricted"
    assert one.clear_diameter_mm.high < 3.5
    assert min(c.clear_diameter_mm for c in one.crossings) > 3.5
    assert one.rework is not None, one.why_not
    assert one.rework.clear_diameter_after_mm >= 3.5
    assert result.disposition.recommendation in ("rework", "undetermined")


def test_nobody_scraps_for_a_loss_that_no_drill_was_sought_for(tmp_path):
    part, flap, passage = leaning(10.0)
    passage["min_clear_diameter"] = 2.5  # wide enough, but the pressure loss is too large
    sheet = {"shape": "mesh", "mesh": "flap.stl", "source": "log"}
    result = make.checked(
        tmp_path, part, passage, sheet, meshes={"flap": flap}, drilling=TWO, pitch=0.3, flow=WATER
    )
    (one,) = result.passages
    assert one.state == "open"
    assert result.disposition.recommendation == "undetermined"


# ---- what is narrow, and which drills would do: no part is needed -----------------------------


def search(crossings=(), *, required=3.0, least=None, graph=(), drills=(), flow=None, wall=None):
    """A search for a plan that knows its crossings alone."""
    reach = Reach.__new__(Reach)
    passage = SimpleNamespace(min_open_fraction=least)
    reach.check = SimpleNamespace(passage=passage, required=required)
    reach.first = SimpleNamespace(crossings=list(crossings), graph=graph)
    reach.at_hand, reach.flow_after = tuple(drills), flow
    reach.case = SimpleNamespace(drilling=SimpleNamespace(min_wall=wall))
    return reach


def crossing(circle, fraction):
    return SimpleNamespace(circle_mm=circle, open_fraction=fraction)


def test_narrow_is_what_no_ball_passes_or_what_leaves_too_little_area():
    seen = [crossing(2.99, 0.9), crossing(3.0, 0.5), crossing(3.5, 0.7), crossing(4.0, 1.0)]
    assert search(seen)._narrow() == {0}
    assert search(seen, least=0.7)._narrow() == {0, 1}
    assert search(seen, least=0.71)._narrow() == {0, 1, 2}


def test_stray_metal_is_at_every_crossing_that_is_not_whole():
    seen = [crossing(4.0, 1.0), crossing(4.0, 1.0 - 1e-5), crossing(0.0, 0.0)]
    assert search(seen)._stray() == {1, 2}
    assert search([crossing(4.0, 1.0 - 1e-9)])._stray() == set()


def drill(diameter, least=None, erodes=False):
    least = diameter if least is None else least
    return SimpleNamespace(diameter=diameter, least=least, erodes=erodes)


def test_a_drill_at_its_lower_limit_has_to_meet_the_requirement():
    """Of a polygon in its circle, whose 96 sides take 0.05 % (analytic), and a micrometre more."""
    sizes = [drill(2.99), drill(3.0), drill(3.003), drill(3.1, 2.999), drill(3.1, 3.0)]
    assert search(drills=sizes)._sizes() == [sizes[2], sizes[4]]
    # An electrode's hole may be as narrow as its least.
    sparks = [drill(3.1, 3.0, erodes=True), drill(3.1, 3.003, erodes=True)]
    assert search(drills=sparks)._sizes() == sparks[1:]
    none = search(drills=sizes[:2])
    none.lines = SimpleNamespace(misses=[])
    assert none._why_not() == "no drill at hand is large enough for 3.00 mm"


def plan(wall=None, least=None):
    return Reached(SimpleNamespace(wall_left_mm=wall, wall_least_mm=least), "", after="after")


@pytest.mark.parametrize(
    ("wall", "least", "must", "stands"),
    [
        (None, None, 0.5, True),
        (0.5, 0.5, 0.5, True),
        (0.6, 0.4, 0.5, False),
        (0.4, None, 0.5, False),
        (None, 0.4, 0.5, False),
        (0.1, 0.0, None, True),
        (0.1, -0.1, None, False),
    ],
)
def test_as_much_wall_as_must_stay(wall, least, must, stands):
    assert search(wall=must)._walls_stand(plan(wall, least)) is stands
    assert search(wall=must)._walls_stand(Reached(None, "no plan")) is False


@pytest.mark.parametrize(
    ("said", "does"), [("met", True), ("not given", True), ("missed", False), (None, True)]
)
def test_a_plan_does_only_where_the_pressure_loss_is_kept(said, does):
    flow = None if said is None else {"after": said}.__getitem__  # of what the plan leads to
    reach = search(flow=flow)
    assert reach.does(plan()) is does
    assert reach.does(Reached(plan().rework, "")) is False  # nothing is known of after it


def test_sizes_that_were_not_tried_are_said():
    sizes = [drill(3.0), drill(4.0)]
    refused = Reached(None, "it breaks into b")
    assert Reach._tried(refused, sizes, 4.0) is refused
    assert Reach._tried(None, sizes, 3.0) is None
    said = Reach._tried(refused, sizes, 3.0).why_not
    assert said == "it breaks into b; drills of more than 3 mm were not tried"


def test_the_nearest_misses_are_told_two_at_most_and_what_would_do_three():
    reach = search(drills=[drill(4.0)])
    misses = [
        SimpleNamespace(nearness=n, words=w, settled_by=s, line=line)
        for n, w, s, line in (
            (0.1, "far", "do far", "line far"), (0.9, "near", "do near", None),
            (0.5, "", "do nothing", "no words"), (0.7, "next", "", "line next"),
            (0.6, "third", "do third", "line third"), (0.2, "near", "do near", None),
        )
    ]  # fmt: skip
    reach.lines = SimpleNamespace(misses=misses, without_line=False, changes=[])
    assert reach._why_not() == "near; next"
    assert reach._line() == "line next"
    assert reach._settled_by() == ("do near", "do third", "do nothing")
    reach.lines.without_line = True
    assert reach._settled_by() == ("do near", "do third", "do far")
    reach.lines.misses = []
    assert reach._why_not() == "no straight line leads from an opening to the sheet"


def test_changes_are_told_once_the_widest_first_and_none_where_a_line_is_missing():
    reach = search()
    changes = [(1.0, "b"), (2.0, "a"), (0.5, "c"), (0.4, "a")]
    reach.lines = SimpleNamespace(changes=changes, without_line=False)
    assert reach._changes() == ("a", "b", "c")
    reach.lines.without_line = True
    assert reach._changes() == ()


@pytest.mark.parametrize(
    ("states", "nominal", "missed", "needed"),
    [
        ([State.OPEN], State.OPEN, False, False),
        ([State.OPEN], State.OPEN, True, True),
        ([State.OPEN, State.BLOCKED], State.OPEN, False, True),
        ([State.UNDETERMINED], State.OPEN, False, True),
        ([State.BLOCKED], State.RESTRICTED, True, False),
        ([None], State.OPEN, False, True),
    ],
)
def test_drills_are_sought_where_the_event_made_it_fail(states, nominal, missed, needed):
    assert needs_reach(states, SimpleNamespace(state=nominal), missed) is needed
