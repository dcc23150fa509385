"""A hand-made case for every row of the table of rules, each argued as a review board would.

In: a folder. Out: a whole case written there. `test_dispositions.py` checks each by the program,
docs/make_dispositions.py prints them. Expected answers are worked out by hand, never taken from it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import make
import manifold3d as m3
import shapes

SIDES = 48
JOBBERS = {"drilling": {"series": ["jobber"]}}
WATER = {"density": 998.0, "viscosity": 1e-3}
Write = Callable[[Path], Path]


class BoardCase(NamedTuple):
    """One case: row, what it is, why the board would say so, what it says, and how to write it."""

    row: int
    title: str
    argued: str
    recommendation: str
    status: int
    write: Write


# ---- parts -------------------------------------------------------------------------------------


def one_bore() -> m3.Manifold:
    """A block 16 x 16 x 20 with an upright bore of 6."""
    solid = shapes.block((-8, -8, 0), (8, 8, 20))
    return solid - shapes.bore((0, 0, -1), (0, 0, 21), 3.0, segments=SIDES)


BORE = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.0, "bore")


def two_bores() -> m3.Manifold:
    """Two upright bores of 6 with 2 mm of wall between them."""
    solid = shapes.block((-14, -8, 0), (14, 8, 20))
    for x in (-4, 4):
        solid -= shapes.bore((x, 0, -1), (x, 0, 21), 3.0, segments=SIDES)
    return solid


TWO = [make.passage((x, 0, 0), (x, 0, 20), 3.0, 1.0, name) for x, name in ((-4, "a"), (4, "b"))]
APART = {"separate": [{"passages": ["a", "b"]}]}


def bent() -> m3.Manifold:
    """In at one side, up, out at the other: no line from a port looks half way up the middle."""
    solid = shapes.block((-12, -4, 0), (12, 4, 24))
    corners = [(-13, 0, 4), (0, 0, 4), (0, 0, 20), (13, 0, 20)]
    return solid - shapes.tube_along(shapes.bent_line(corners, 2.0, 30.0), 1.5, 32)


BENT = make.passage((-12, 0, 4), (12, 0, 20), 1.5, 2.5, "bent")
NARROW_NEED = {**BENT, "min_clear_diameter": 1.2}


def leaning_bore() -> m3.Manifold:
    """A block with a bore of 6 that leans by 40 degrees."""
    far = 20.0 * LEAN
    solid = shapes.block((-16, -6, 0), (16, 6, 20))
    return solid - shapes.bore((-far, 0, -10), (far, 0, 30), 3.0, segments=SIDES)


LEAN = math.tan(math.radians(40.0))
LEANING = make.passage((-10 * LEAN, 0, 0), (10 * LEAN, 0, 20), 3.4, 5.0, "leaning")


def u_from_below() -> m3.Manifold:
    """A U whose two ports both lie in the bottom."""
    solid = shapes.block((-10, -5, 0), (10, 5, 20))
    corners = [(-5, 0, -1), (-5, 0, 14), (5, 0, 14), (5, 0, -1)]
    return solid - shapes.tube_along(shapes.bent_line(corners, 3.0, 30.0), 2.0, 32)


U = make.passage((-5, 0, 0), (5, 0, 0), 2.0, 3.0, "u")


def over_a_pocket() -> m3.Manifold:
    """Two circuits from the sides up to the top; below both a pocket, open downward, as slice."""
    solid = shapes.block((-10, -6, 0), (10, 6, 20)) - shapes.block((-7, -2, -1), (7, 2, 3))
    for x in (-6, 6):
        solid -= shapes.bore((x, 0, 8), (x, 0, 21), 2.0, segments=SIDES)
        solid -= shapes.bore((x, -7, 8), (x, 0, 8), 2.0, segments=SIDES)
    return solid


POCKET = [make.passage((x, -6, 8), (x, 0, 20), 2.0, 1.0, name) for x, name in ((-6, "a"), (6, "b"))]


def with_a_blind_bore() -> m3.Manifold:
    """A bore right through, and a blind one without function from the top down to z 8."""
    solid = shapes.block((-10, -5, 0), (10, 5, 20))
    solid -= shapes.bore((-5, 0, -1), (-5, 0, 21), 2.0, segments=SIDES)
    return solid - shapes.bore((5, 0, 8), (5, 0, 21), 2.0, segments=SIDES)


THROUGH = make.passage((-5, 0, 0), (-5, 0, 20), 2.0, 3.0, "through")


def flap(at: tuple[float, float, float], side: float, hole_radius: float) -> m3.Manifold:
    """A plate 0.3 thick as it was measured, with a hole in its middle."""
    x, y, z = at
    plate = shapes.block((x - side, y - side, z), (x + side, y + side, z + 0.3))
    return plate - shapes.bore((x, y, z - 1), (x, y, z + 1), hole_radius, segments=32)


# ---- how they are written ----------------------------------------------------------------------


def case(solid: Callable[[], m3.Manifold], passages: Any, strays: Any, **keys: Any) -> Write:
    """A case to be written, columns 1 mm apart unless `keys` say otherwise."""
    return lambda folder: make.write_case(
        folder, solid(), passages, strays, **{"pitch": 1.0, **keys}
    )


def whole(z: float = 10.0, source: str = "log", **keys: Any) -> dict[str, Any]:
    """A whole sheet of two layers."""
    return make.plane(z, 2, source=source, **keys)


def measured(
    solid: Callable[[], m3.Manifold], passages: Any, plate: m3.Manifold, **keys: Any
) -> Write:
    """A case whose stray metal was measured."""
    stray = {"shape": "mesh", "mesh": "plate.stl", "source": "measured"}
    return case(solid, passages, stray, meshes={"plate": plate}, **{"pitch": 0.5, **keys})


def cutting(**more: Any) -> Write:
    """The bore of 6, of which 5.9 are required, and one drill of 6.8: it cuts 0.4 of the wall.

    Tolerance 0.022 and run-out 0.03 + 0.01 x 110 / 6.8 come on top: 0.614 in all.
    """
    drill = {"diameter": 6.8, "flute": 60.0, "overall": 110.0}
    drilling = {"series": [], "drills": [drill], "wall_allowance": 0.65, **more}
    return case(one_bore, {**BORE, "min_clear_diameter": 5.9}, whole(), drilling=drilling)


def flow(limit_kpa: float) -> dict[str, Any]:
    """1 L/min of water, of which so much pressure may be lost."""
    return {"flow": {**WATER, "rate": 1.0, "max_pressure_loss": limit_kpa}}


IN_THE_BEND = flap((0, 0, 12), 2.0, 0.7)
"""A hole of 1.4 in the passage of 3."""
ACROSS_FLATS = 5.4 * math.cos(math.pi / 32)
"""Ball that passes a hole of 5.4 of 32 sides: every bracket of it holds this number."""

CASES = (
    BoardCase(
        0,
        "a requirement that the drawing cannot meet",
        "A bore drawn 6 wide never let a ball of 6.5 pass: the sheet in it is not what breaks that "
        "requirement, so ask for the drawing before anybody blames, drills or scraps.",
        "undetermined",
        3,
        case(one_bore, {**BORE, "min_clear_diameter": 6.5}, whole()),
    ),
    BoardCase(
        0,
        "circuits that meet by design",
        "Two circuits that the mesh itself joins cannot be kept apart by any remedy; is the mesh "
        "or the requirement wrong?",
        "undetermined",
        3,
        case(
            lambda: two_bores() - shapes.block((-4, -1, 2), (4, 1, 4)),
            TWO,
            make.sheet(10.0, 2, source="log"),
            **APART,
        ),
    ),
    BoardCase(
        1,
        "first layers melted again where they are alike",
        "All layers of an upright prism are alike: two of the first ones melted again in place of "
        "others add nothing and leave nothing out. Nothing is to be decided.",
        "not-affected",
        0,
        case(one_bore, BORE, make.sheet(10.0, 2, source="log")),
    ),
    BoardCase(
        2,
        "perhaps no sheet at all",
        "Whether none or two wrong layers were melted is not known; with none the bore is open, "
        "with two it is shut, and no drill is at hand. Measure the part's height first.",
        "undetermined",
        4,
        case(one_bore, BORE, {**whole(next_layer=102), "layers": [0, 2]}),
    ),
    BoardCase(
        2,
        "a drill that would meet its sheet 40 degrees off square",
        "The line is free and the passage would be open after it, but the drill's corner would "
        "meet the sheet before its point does (31 degrees) and nobody said how it is to be "
        "started: no rework before the shop names a way, or an electrode that does it.",
        "undetermined",
        3,
        case(leaning_bore, LEANING, whole(), **JOBBERS),
    ),
    BoardCase(
        2,
        "slices of which nothing is known",
        "The first layers lie below the part, where the supports stood, and no file says what they "
        "held: the sheet may be solid or nothing.",
        "undetermined",
        4,
        case(one_bore, BORE, make.sheet(12.0, 2, source="log"), part={"platform_z": -2.0}),
    ),
    BoardCase(
        3,
        "a wall that the resume shifted away",
        "Circuits 2 mm apart were built on 3 mm aside: the upper bore of one stands on the lower "
        "bore of the other. No drill puts metal back; the log knows the shift: scrap.",
        "scrap",
        3,
        case(
            two_bores,
            TWO,
            make.sheet(10.0, 0, source="log", next_layer=100, resume_shift=[3.0, 0.0]),
            **APART,
        ),
    ),
    BoardCase(
        3,
        "the same, but the shift is assumed",
        "Nobody scraps on an assumption: a leak test between the circuits tells at once.",
        "undetermined",
        3,
        case(
            two_bores,
            TWO,
            make.sheet(10.0, 0, source="assumed", next_layer=100, resume_shift=[3.0, 0.0]),
            **APART,
        ),
    ),
    BoardCase(
        4,
        "powder left between two circuits",
        "The wrong slice left powder over a pocket that reaches both circuits: if the next layer "
        "did not melt through it they leak into each other. A leak test tells.",
        "undetermined",
        4,
        case(
            over_a_pocket,
            POCKET,
            {k: v for k, v in make.sheet(14.0, 1, source="log").items() if k != "penetration"},
            **APART,
        ),
    ),
    BoardCase(
        5,
        "powder between two sheets that one drill opens",
        "Two sheets in a straight bore hold powder between them; a jobber drill goes through both, "
        "nothing is caked yet: drill under the local rules for powder, empty, prove it.",
        "rework",
        3,
        case(one_bore, BORE, [whole(6.0), whole(12.0)], **JOBBERS),
    ),
    BoardCase(
        6,
        "the same powder after heat treatment",
        "Baked powder is no longer loose: a drill opens the sheets, but nobody can prove that the "
        "bore is clean. The event is logged: scrap.",
        "scrap",
        3,
        case(
            one_bore,
            BORE,
            [whole(6.0), whole(12.0)],
            **JOBBERS,
            state={"heat_treated": True},
        ),
    ),
    BoardCase(
        6,
        "powder in a hole without function",
        "The sheet shuts a blind hole that no circuit uses; every passage keeps its width. Whether "
        "powder may stay there is for the design authority, not for a rule.",
        "undetermined",
        4,
        case(with_a_blind_bore, THROUGH, make.sheet(14.0, 2, source="log")),
    ),
    BoardCase(
        7,
        "both ports on the platform",
        "A U that is entered from below stands on its platform: no drill gets in, powder cannot "
        "get out. Take it off first, before heat treatment; nothing is lost by that.",
        "undetermined",
        3,
        case(u_from_below, U, whole(6.0), **JOBBERS, state={"on_platform": True}),
    ),
    BoardCase(
        8,
        "a sheet across a straight bore",
        "A standard drill narrower than the bore goes straight to the sheet and through it, "
        "and the drawn wall stays: the requirement holds again.",
        "rework",
        3,
        case(one_bore, BORE, whole(), **JOBBERS),
    ),
    BoardCase(
        8,
        "a hole in the sheet as wide as required, to a hundredth of a micrometre",
        "Whether the ball passes hangs on what nobody can measure or compute; the drill that "
        "clears the flap leaves room either way, so it need not be known.",
        "rework",
        3,
        measured(
            one_bore,
            {**BORE, "min_clear_diameter": ACROSS_FLATS - 1e-5},
            flap((0, 0, 10), 4.0, 2.7),
            **JOBBERS,
        ),
    ),
    BoardCase(
        8,
        "a sheet across a leaning bore",
        "A drill goes straight down the bore, but meets the sheet 40 degrees off its normal, where "
        "a twist drill wanders. The shop says that it has a way to start it there (max_tilt): "
        "rework, with a guide bush or a spot face first.",
        "rework",
        3,
        case(leaning_bore, LEANING, whole(), drilling={**JOBBERS["drilling"], "max_tilt": 45.0}),
    ),
    BoardCase(
        9,
        "a drill wider than the bore",
        "The only drill cuts 0.4 of the wall, 0.61 with run-out: less than the 0.65 that the "
        "designer gave, and metal enough stays. Fit for use, not as drawn: repair, by concession.",
        "repair",
        3,
        cutting(min_wall=1.0),
    ),
    BoardCase(
        10,
        "the same where nobody said what must stay",
        "Metal of the wall goes, and how much has to stay is not written anywhere: only the "
        "designer can say.",
        "undetermined",
        3,
        cutting(),
    ),
    BoardCase(
        11,
        "narrowed behind two bends, but enough flows",
        "A ball of 2.5 no longer passes and no drill gets round the bends; the pressure loss stays "
        "below its limit even in the worst case, and flow is what the passage is for: concession.",
        "use-as-is",
        3,
        measured(bent, BENT, IN_THE_BEND, **JOBBERS, **flow(400.0)),
    ),
    BoardCase(
        12,
        "narrowed behind two bends, and too little flows",
        "The same flap, but the passage must lose less than is lost even at the good end, and no "
        "line is there for any tool: the metal was measured, so scrap.",
        "scrap",
        3,
        measured(bent, BENT, IN_THE_BEND, **JOBBERS, **flow(60.0)),
    ),
    BoardCase(
        12,
        "wide enough, but too little flows",
        "The ball passes and the flow, by the computation, does not; that nothing can be done is "
        "not proven where the way is open. A flow test is cheaper than the part.",
        "undetermined",
        3,
        measured(bent, NARROW_NEED, IN_THE_BEND, **JOBBERS, **flow(60.0)),
    ),
    BoardCase(
        12,
        "narrowed behind two bends, and nobody said what must flow",
        "Too narrow for the ball, no tool gets there; whether 1.4 mm are enough for the use nobody "
        "wrote down: ask, or test the flow.",
        "undetermined",
        3,
        measured(bent, BENT, IN_THE_BEND, **JOBBERS),
    ),
    BoardCase(
        13,
        "shut behind two bends",
        "A whole sheet half way between two bends: no straight line reaches it from either port, "
        "so no drill of any make; the log knows the sheet: scrap.",
        "scrap",
        3,
        case(bent, BENT, whole(12.0), pitch=0.5, **JOBBERS),
    ),
    BoardCase(
        14,
        "the same, but the event is assumed",
        "Nothing reopens it if the sheet is there, but that it is there is a guess: a pin or a "
        "radiograph first.",
        "undetermined",
        3,
        case(bent, BENT, whole(12.0, source="assumed"), pitch=0.5, **JOBBERS),
    ),
    BoardCase(
        15,
        "a rim that lets the ball pass",
        "A measured rim leaves 5.6 of the bore, 5 are required: all holds, but stray metal stays "
        "in the part and may break off. That needs a signature.",
        "use-as-is",
        0,
        measured(one_bore, BORE, flap((0, 0, 10), 4.0, 2.8)),
    ),
)
"""In the order of the table; a row has several where it ends in more than one way."""
