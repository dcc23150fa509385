"""Write docs/validation.md, what was expected and what comes out.

    python docs/make_validation.py

Needs the test extra: solids, reference numbers and solid booleans are those of the tests. A row
whose result is not within what it may differ by stops the script, so that none is ever printed.
"""

from __future__ import annotations

import json
import math
import sys
import tempfile
from collections.abc import Iterator
from math import acos, cos, pi, radians, sin, sqrt, tan
from pathlib import Path
from typing import Any, NamedTuple

DOCS = Path(__file__).parent
ROOT = DOCS.parent
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests/validation"), str(DOCS)]

import causes_rows  # noqa: E402
import make  # noqa: E402
import manifold3d as m3  # noqa: E402
import numpy as np  # noqa: E402
import scan_rows  # noqa: E402
import shapes as s  # noqa: E402
import shared  # noqa: E402

HEAD = """\
# Validation

What the program should give, beside what it gives. Written by `docs/make_validation.py`, which
computes every number under "obtained" and stops if one differs by more than the last column allows;
a test fails when this page is not what comes out (rows by solid booleans, and of scans: with `-m
more`). Brackets are rounded outward.

How an expected value is known:

- *analytic*: derived here from the drawing. A round bore is a prism of flat sides in the mesh, 96
  where nothing else is said, so the ball that passes is cos(pi / 96) times the drawn diameter.
- *published*: from the source named; what of it comes from memory says so.
- *by hand*: worked out on paper from the case alone (the working stands in the case's
  `expected.json`) and checked with solid booleans.
- *booleans*: a library of exact solid booleans, which shares no code with the program.
- *common practice, no source*: habits of the trade.

This is a selection. The tests hold many more, and attack the program with random parts, thin
plates, hair-thin slits and broken meshes: `tests/validation`, `tests/property`, `tests/golden`.
"""
NOTES = {
    "Clear diameters": "Columns 0.3 mm apart. Within: the bracket holds the expected value and is "
    "no wider than that. In parentheses: what facets along a bend or a cut may take off besides.",
    "Events": "A duct whose width changes with height: the width that is left open tells which "
    "heights met. Layers are 0.1 mm.",
    "Flow": "K on the velocity in the channel. The four forms: Idelchik 1966 (from memory), "
    "Idelchik, 3rd edition, diagram 4-14 (as in the documentation of the Modelica Standard "
    "Library), Rennels and Hudson 2012, ISO 5167-2 net loss.",
    **causes_rows.NOTES,
    **scan_rows.NOTES,
    "Shipped cases": "Within: the two ranges of every passage overlap, and all words are the same.",
    "Random parts of many kinds": "Counted by `tests/validation/many_random.py` outside the plain "
    "run and kept in `tests/validation/random_counts.json`, which says of which program and lists "
    "what disagrees: the only rows here that are not computed anew. Expected: no state and no "
    "bracket that the solid contradicts. Connection is from booleans, the clear diameter from "
    "certified bounds over exact distances (`true_diameter.py`); drilled holes are taken out of "
    "the exact solid.",
}
SIDES = 96
CHORD = cos(pi / SIDES)


class Row(NamedTuple):
    """A row of the page, ready to print."""

    what: str
    expected: str
    known: str
    obtained: str
    within: str

    def __str__(self) -> str:
        return f"| {' | '.join(self)} |"


# ---- three kinds of comparison ------------------------------------------------------------------


def _number(what: str, known: str, expected: float, obtained: float, form: str, within: str) -> Row:
    """A number against a number; `within` is "1 %" or an amount as in "0.02 mm"."""
    amount, _, unit = within.partition(" ")
    allowed = abs(expected) * float(amount) / 100 if unit == "%" else float(amount)
    _demand(abs(obtained - expected) <= allowed, what, expected, obtained)
    return Row(what, form.format(expected), known, form.format(obtained), within)


def _same(what: str, known: str, expected: str, obtained: str) -> Row:
    """Words against words."""
    _demand(expected == obtained, what, expected, obtained)
    return Row(what, expected, known, obtained, "same")


def _bracket(what: str, known: str, truth: float, found: Any, facets: float = 0.0) -> Row:
    """A bracket against a value that the mesh's facets make smaller by so much at most."""
    clear, wide = found.clear_diameter_mm, 0.3
    _demand(clear.low <= truth + 1e-6 and clear.high >= truth - facets - 1e-6, what, truth, clear)
    _demand(clear.high - clear.low <= wide, what, f"{wide} wide", clear)
    less = f" (- {facets:.2f})" if facets else ""
    return Row(what, f"{truth:.3f}{less} mm", known, f"{_span(clear)} mm", f"{wide:g} mm")


def _held(what: str, known: str, truth: float, low: float, high: float) -> Row:
    """A bracket, however wide, that has to hold a value."""
    _demand(low <= truth <= high, what, truth, (low, high))
    ends = f"{math.floor(low * 100) / 100:.2f} to {math.ceil(high * 100) / 100:.2f}"
    return Row(what, f"{truth:.3f} mm", known, f"{ends} mm", "holds")


def _span(clear: Any) -> str:
    """Bracket in hundredths, rounded outward but for noise of the last bits."""
    low, high = math.floor(clear.low * 100 + 1e-4), math.ceil(clear.high * 100 - 1e-4)
    return f"{low / 100:.2f} to {high / 100:.2f}"


def _demand(holds: bool, what: str, expected: object, obtained: object) -> None:
    if not holds:
        raise SystemExit(f"{what}: expected {expected}, obtained {obtained}")


# ---- small cases --------------------------------------------------------------------------------


def _first(*args: Any, **keys: Any) -> Any:
    """First passage of a case written for it; takes what `make.first` takes after the folder."""
    with tempfile.TemporaryDirectory() as folder:
        return make.first(Path(folder), *args, **keys)


def _bore(radius: float = 2.0) -> tuple[Any, Any]:
    """Block 20 mm high with an upright bore, and its passage."""
    passage = make.passage((0, 0, 0), (0, 0, 20), radius, 0.5)
    return s.straight_bore(radius, (20.0, 20.0, 20.0), SIDES), passage


def _aside(shift: float) -> dict[str, Any]:
    """No layer wrong, but all above 10 mm stands aside."""
    return make.sheet(10.0, 0, next_layer=100, resume_shift=[shift, 0.0])


def _lens(radius: float, apart: float) -> float:
    """Common area of two circles of one radius."""
    half = apart / (2 * radius)
    return 2 * radius**2 * acos(half) - apart * radius * sqrt(1 - half**2)


# ---- the sections of the page -------------------------------------------------------------------


def clear_diameters() -> Iterator[Row]:
    """Largest ball that travels through."""
    from test_clear_diameter import tilted

    known = "analytic: normal section, 4 cos(pi / 96)"
    yield _bracket("bore 4 mm, leaning 45 deg", known, 4 * CHORD, _first(*tilted(45)))
    tool = s.block((-1.1, -4.0, -1), (1.1, 4.0, 21)).rotate((0, 0, 17.0))
    mouth = make.passage((0, 0, 0), (0, 0, 20), sqrt(2.2 * 8.0 / pi), 2.0)
    found = _first(s.block((-8, -8, 0), (8, 8, 20)) - tool, mouth)
    yield _bracket("duct 2.2 x 8 mm, turned 17 deg", "analytic: short side", 2.2, found)
    known = "analytic: a tube of constant section"
    found = _first(s.torus_bend(2.0, 7.0, SIDES, 2.0), make.passage((-7, 0, 0), (7, 0, 0), 2, 3.5))
    yield _bracket("half torus, tube 4 mm", known, 4.0, found, 0.01)
    end, radius = 2.5 * pi, 1.5 / sqrt(sin(np.arctan(20.0 / (15 * pi))))
    mouth = make.passage((6, 0, 0), (6 * cos(end), 6 * sin(end), 20), radius, 2.5)
    found = _first(s.helical_tube(1.5, 6.0, 20.0, 1.25, 64), mouth)
    yield _bracket("helical tube 3 mm", known, 3.0, found, 0.03)
    known = "analytic: two circles leave 4 - 1.5"
    yield _bracket(
        "bore 4 mm, resumed 1.5 mm aside", known, 2.5, _first(*_bore(), _aside(1.5)), 0.01
    )
    stray = {"shape": "mesh", "mesh": "plate.stl"}
    plate = s.bore((0, 0, 10.03), (0, 0, 10.53), 4.5, segments=SIDES)
    plate -= s.bore((2.9, 0.1, 9), (2.9, 0.1, 12), 1.0, segments=SIDES)
    found = _first(*_bore(4.0), stray, meshes={"plate": plate})
    yield _bracket("plate across 8 mm, hole of 2 mm off centre", "analytic", 2 * CHORD, found)
    plate = s.block((-5, -5, 10.03), (2.0, 5, 10.53))
    found = _first(*_bore(4.0), stray, meshes={"plate": plate})
    known = "analytic: largest circle in a segment"
    yield _bracket("plate across 8 mm but for a segment 2 mm high", known, 2.0, found, 0.01)
    duct = s.block((-10, -6, 0), (10, 6, 16)) - s.block((-11, -2, 6), (11, 2, 10))
    mouth = make.passage((-10, 0, 8), (10, 0, 8), sqrt(16 / pi), 1.0)
    known, what = (
        "analytic: 2.4 stay below it",
        "level duct 4 x 4 mm, sheet 2.4 to 2.8 mm over its floor",
    )
    yield _bracket(what, known, 2.4, _first(duct, mouth, make.plane(8.4, 4)))
    yield _spheres()


def _spheres() -> Row:
    """Eight touching spheres between two bores, off every grid line."""
    places = [(x, y, z) for x in (-2, 2) for y in (-2, 2) for z in (2, 6)]
    balls = [m3.Manifold.sphere(2.0, SIDES).translate(place) for place in places]
    shell = s.block((-6, -6, -3), (6, 6, 11)) - s.block((-4, -4, 0), (4, 4, 8))
    shell -= s.bore((0, 0, -4), (0, 0, 12), 1.5, segments=SIDES)
    off = np.array((0.137, 0.211, 0.0931))
    solid = m3.Manifold.batch_boolean([shell, *balls], m3.OpType.Add).translate(tuple(off))
    ports = np.array(((0, 0, -3.0), (0, 0, 11.0))) + off
    found = _first(solid, make.passage(*ports, 1.5, 1.0))
    known = "analytic: (sqrt 2 - 1) 4 mm"
    return _bracket("spheres 4 mm, packed on a square grid", known, 4 * (sqrt(2) - 1), found)


def open_areas() -> Iterator[Row]:
    """What a sheet leaves open."""
    from test_clear_diameter import tilted

    known, form = "analytic: lens of two ellipses", "{:.2f} mm2"
    for tilt, height, length in ((30, 3.0, 20.0), (2.9, 31.25, 40.0)):
        (found,) = _first(*tilted(tilt, 2.0, length), make.sheet(height, 1)).crossings
        lens = _lens(2.0, (height + 0.05) * sin(radians(tilt))) / cos(radians(tilt))
        what = f"bore 4 mm leaning {tilt:g} deg, first slice melted at {height:g} mm"
        yield _number(what, known, lens, found.open_area_mm2, form, "1 %")
    (found,) = _first(*_bore(), _aside(1.5)).crossings
    known = "analytic: lens of two circles"
    what = "bore 4 mm, resumed 1.5 mm aside"
    yield _number(what, known, _lens(2.0, 1.5), found.open_area_mm2, form, "1 %")
    found = _first(*_bore(), _aside(4.1))
    said = f"{found.state.value}, {found.crossings[0].open_area_mm2:.2f} mm2"
    yield _same(
        "bore 4 mm, resumed 4.1 mm aside", "analytic: no overlap", "blocked, 0.00 mm2", said
    )


def events() -> Iterator[Row]:
    """Which slice is melted where."""
    import test_events as e

    twice = [make.sheet(8, 3, resume="layer"), make.sheet(13, 2, resume="layer")]
    deep = make.sheet(6, 2, from_layer=90, penetration=0.4)
    for what, profile, event, z in (
        ("layers 17 to 19 at 15.0 in a widening duct", e.WIDENING,
         make.sheet(15, 3, from_layer=17), 1.75),
        ("layers 50 to 53 at 15.0 in a narrowing duct", e.NARROWING,
         make.sheet(15, 4, from_layer=50), 5.35),
        ("went on with the next number at 13.3", e.WAIST, make.sheet(13, 3, resume="layer"), 13.0),
        ("a second event at 13.0, part 0.3 mm taller by the first", e.WAIST, twice, 12.7),
        ("penetration of 0.4 mm below 6.0", e.WIDENING, deep, 5.6),
    ):  # fmt: skip
        found = _first(e.duct(profile), e.ends(profile), event).crossings[-1].open_area_mm2 / e.DEEP
        known = f"analytic: width drawn at {z:g}"
        yield _number(what, known, e.width(profile, z), found, "{:.4f} mm", "0.00002 mm")
    passage = make.passage((8, 0, 6), (0, 0, 20), 2.0, 3.5)
    found = [
        _first(
            e.upright_over_a_window(), passage, make.sheet(14.0, 3, from_layer=first)
        ).state.value
        for first in (3, 2)
    ]
    what = "only slices 3 to 5 have a hole: layers 3 to 5 melted; 2 to 4"
    yield _same(what, "analytic", "open; blocked", "; ".join(found))
    yield _log()


def _log() -> Row:
    """What a machine log is read as; layers of 0.05 mm."""
    from clearance.case.read import read_case

    melted = {"layers": ["0-623", "0-2", "624-2399"]}
    with tempfile.TemporaryDirectory() as folder:
        path = make.write_case(Path(folder), *_bore(), layer=0.05, melted=melted)
        (sheet,) = read_case(path).stray
    said = f"{sheet.layers_high} layers at {sheet.height:g} mm, then layer {sheet.next_layer}"
    what = "log of layers of 0.05 mm: 0-623, 0-2, 624-2399"
    return _same(what, "analytic: 624 x 0.05", "3 layers at 31.2 mm, then layer 624", said)


def connections() -> Iterator[Row]:
    """What hangs together."""
    import test_connectivity as c

    source = "Wang, Zhou, Zhang, Garoni and Deng, Phys. Rev. E 87 (2013) 052107"
    shares = (0.93, 1.07)
    found = [
        sum(
            c.spans(np.random.default_rng(n).random((128, 128, 128)) < share * c.P_C)
            for n in range(4)
        )
        for share in shares
    ]
    what = "of 4 boxes of random cells span, at 0.93 and 1.07 of the threshold 0.3116"
    yield _same(what, f"published: {source}", "0 and 4", "{} and {}".format(*found))
    found = []
    for level in (1.30, 1.47):
        solid, ends = c.in_a_box(c.gyroid, level, 2.5 * c.CELL, 0.3)
        with tempfile.TemporaryDirectory() as folder:
            found.append(c.outcome(Path(folder), solid, ends, pitch=0.2))
    known = "analytic: saddles of the function at sqrt 2"
    yield _same("void of a gyroid at levels 1.30 and 1.47", known, "open, apart", ", ".join(found))


def reach() -> Iterator[Row]:
    """Widest straight line, and the drill that follows from it."""
    import test_straight_lines as line

    bend, angle = 10.0, radians(60.0)
    middle = bend * np.array([-cos(angle), 0, sin(angle)])
    across = line.Plane.through(middle, (sin(angle), 0, cos(angle)))
    start, end = line.level(0, -bend, 0, 3), line.disc(across, middle, 3)
    found = line.search(s.torus_bend(3.0, bend, step_deg=1.0), start, end, 0.2, tolerance_mm=0.02)
    truth, form = 3 - bend * tan(angle / 4) ** 2, "{:.2f} mm"
    what = "radius of the line through 60 deg of a bend, R 10, r 3"
    yield _number(what, "analytic: r - R tan(15 deg)^2", truth, found.radius, form, "0.02 mm")
    solid = s.block((-10, -10, 0), (12, 10, 40)) - s.bore((0, 0, -1), (0, 0, 20), 3)
    solid -= s.bore((2, 0, 20), (2, 0, 41), 3)
    found = line.search(s.soup(solid), line.level(0, 0, 0, 3), line.level(35, 2, 0, 3), 1.5)
    what = "radius of the line through two bores, r 3, axes 2 mm apart"
    yield _number(what, "analytic: r - 2 / 2", 2.0, found.radius, form, "0.02 mm")
    solid, passage = s.straight_bore(3.0, (20, 20, 30)), make.passage((0, 0, 0), (0, 0, 30), 3, 5)
    sheet = make.plane(15, 2, source="log")
    (stroke,) = _first(solid, passage, sheet, drilling={"series": ["jobber"]}).rework.drilling
    known = "analytic: widest that h8 and run-out, 0.018 + 0.03 + 0.01 L / D, keep off the wall"
    said = f"{stroke.drill_diameter_mm} mm {stroke.series}"
    yield _same("drill for 5 mm through a sheet in a bore of 6", known, "5.5 mm jobber", said)
    known = "analytic: 3 cos(pi / 96) - 5.5 / 2"
    margin = 3 * CHORD - 2.75
    yield _number("its wall margin", known, margin, stroke.wall_margin_mm, form, "0.05 mm")


def flow() -> Iterator[Row]:
    """Loss coefficients on the velocity in the channel, and pressure losses."""
    import test_flow_published as f

    known = "published: mean of the four forms"
    for share in (0.1, 0.25, 0.5):
        mean, found = sum(f.PLATE[share]) / 4, f.loss(share, 1.0, 0.0).coefficient
        yield _number(
            f"K of a thin plate, open fraction {share}", known, mean, found, "{:.2f}", "7 %"
        )
    found = f.loss(0.25, 1.0, sqrt(1 / pi), f._reynolds_of_factor(0.02) / 2).coefficient
    known = "published: Idelchik, 3rd ed., diagram 4-15; its tau from memory"
    what = "K of a plate as thick as its hole is wide, open fraction 0.25"
    yield _number(what, known, 18.4, found, "{:.1f}", "0.5 %")
    area, rate = 25 * pi, 1e-14
    stream = f.Stream(f.WATER_RHO, f.WATER_MU, rate)
    k = f.loss(pi * 0.5**2 / 4, area, 0.0, stream.reynolds(area)).coefficient
    known, truth = "published: Sampson 1891, 3 mu Q / a^3", 3 * f.WATER_MU * rate / 0.25e-3**3
    what, form = "loss of 10 pL/s of water in a hole of 0.5 mm", "{:.3f} uPa"
    yield _number(what, known, truth * 1e6, stream.kpa(k, area) * 1e9, form, "0.01 %")
    water = f.Flow(rate=1e-4 / f.WATER_RHO * 60_000)
    lost = f.pressure_loss([50.0], [2.0], [], water)["predicted"]["friction_kpa"] * 1e3
    known, what = "analytic: Hagen-Poiseuille", "loss of 0.1 g/s of water in a tube 2 x 50 mm"
    yield _number(what, known, 12.7809, lost, "{:.4f} Pa", "0.00005 Pa")


def drills() -> Iterator[Row]:
    """The table of drills and what follows from it."""
    from clearance.drilling.drill_length import reach_limit
    from clearance.drilling.drills import h8_lower, point_length, standard

    sizes = {(d.series, d.diameter): d for d in standard()}
    for series, size, expected, norm in (
        ("jobber", 7.0, "109, 69 mm", "DIN 338"),
        ("long", 7.5, "156, 102 mm", "DIN 340"),
        ("extra-long 2", 5.0, "245, 170 mm", "DIN 1869"),
    ):
        drill = sizes[series, size]
        known = f"published: {norm} as a tool distributor's catalogue prints it"
        said = f"{drill.overall:g}, {drill.flute:g} mm"
        yield _same(f"{series}, {size:g} mm: overall and flute length", known, expected, said)
    known = "published: two suppliers' tables of ISO h limits"
    yield _same("lower limit of a drill of 10 mm, h8", known, "-0.022 mm", f"{h8_lower(10.0)} mm")
    slope, point = tan(radians(59)), point_length(1.0, 118)
    known = "analytic: 1 / (2 tan 59 deg)"
    yield _number("point of 118 deg over diameter", known, 0.5 / slope, point, "{:.4f}", "0.0001")
    known = "analytic: flute - point - chip room of one diameter (common practice, no source)"
    limit, what = reach_limit(sizes["jobber", 3.0], 40.0), "reach of a jobber drill of 3 mm"
    deep = 40.0 - (limit.needed - limit.available)
    yield _number(what, known, 33 - 1.5 / slope - 3, deep, "{:.2f} mm", "0.0001 mm")


def meshes() -> Iterator[Row]:
    """What `clearance mesh` says."""
    import bad_meshes

    from clearance.report.mesh import as_json, faults
    from clearance.survey.faults import examine

    named, many, turn = 0, len(bad_meshes.BAD), pi / 48
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.stl"
        s.write_stl(path, bad_meshes.sound())
        data = as_json(examine(path))
        for build, words in bad_meshes.BAD.values():
            with np.errstate(all="ignore"):
                s.write_stl(path, build())
            named += any(words in said for said in faults(examine(path)))
    volume, known = 30 * (400 - 24 * 9 * sin(2 * turn)), "analytic: a bore of 48 sides"
    what = "volume of a block 20 x 20 x 30 with a bore of 6"
    yield _number(what, known, volume, data["volume_mm3"], "{:.1f} mm3", "0.001 %")
    wall, error = data["thinnest_wall_mm"], data["chord_error_mm"]["max"]
    yield _number("its thinnest wall", "analytic: 10 - 3", 7.0, wall, "{:.3f} mm", "0.002 mm")
    known, sagitta = "analytic: 3 (1 - cos(pi / 48))", 3 * (1 - cos(turn))
    yield _number("its chord error", known, sagitta, error, "{:.4f} mm", "0.1 %")
    said = f"{named} of {many}"
    yield _same("spoilt meshes whose fault is named", "by construction", f"{many} of {many}", said)


def section_properties() -> Iterator[Row]:
    """Numbers of the resumed section."""
    from shapely import Point, box

    from clearance.evidence.section_properties import resumed_section, torsion_constant

    def disc(radius: float) -> Any:
        return Point(0, 0).buffer(radius, quad_segs=512)

    ring = resumed_section(disc(10) - disc(6))
    for what, share, key in (("second moment", 64, "Ixx_mm4"), ("torsion constant", 32, "J_mm4")):
        truth, known = pi / share * (20**4 - 12**4), f"analytic: pi (D^4 - d^4) / {share}"
        yield _number(
            f"{what} of an annulus 20 / 12 mm", known, truth, ring[key], "{:.0f} mm4", "0.2 %"
        )
    slit = disc(10) - disc(9) - box(0, -0.05, 20, 0.05)
    known, found = "analytic: open thin wall, 2 pi r t^3 / 3", torsion_constant(slit, 40_000)
    what = "torsion constant of a tube 20 x 1 mm, slit"
    yield _number(what, known, 19 * pi / 3, found, "{:.1f} mm4", "2 %")


def shipped() -> Iterator[Row]:
    """The cases that come with the program."""
    from clearance.case.read import read_case
    from clearance.checking import judge
    from clearance.verdict.prepared import prepare

    for path in sorted((ROOT / "cases").glob("*/expected.json")):
        case = path.parent.name
        wanted = json.loads(path.read_text(encoding="utf-8"))
        result = judge(prepare(read_case(path.parent / "case.toml"))).result
        expected, obtained = [], []
        for passage in result.passages:
            want, clear = wanted["passages"][passage.name], passage.clear_diameter_mm
            low, high = want["clear_diameter_mm"]
            state = want["state"]
            _demand(passage.state == state, passage.name, state, passage.state)
            _demand(clear.low <= high and clear.high >= low, passage.name, want, clear)
            blocked = state == "blocked"
            name = f"{passage.name}: {state}"
            expected.append(name if blocked else f"{name}, {low:.2f} to {high:.2f} mm")
            obtained.append(name if blocked else f"{name}, {_span(clear)} mm")
        advice = result.disposition.recommendation
        _demand(advice == wanted["recommendation"], case, wanted["recommendation"], advice)
        yield Row(
            f"[{case}](../cases/{case})",
            "<br>".join([*expected, wanted["recommendation"]]),
            "by hand",
            "<br>".join([*obtained, advice]),
            "overlap, same",
        )


def solid_booleans() -> Iterator[Row]:
    """Random parts with random events: states and areas."""
    from test_against_booleans import compared

    both = [one for one in map(compared, range(40)) if one is not None and one.known]
    agree = [(one.found.state != "blocked") is one.joined for one in both]
    areas = [one.area_off for one in both if one.area_off is not None]
    many = len(agree)
    what, said = "random parts and events: is the passage open?", f"{sum(agree)} of {many} agree"
    yield _same(what, "booleans", f"{many} of {many} agree", said)
    what, form = (
        f"open area of {len(areas)} of them: largest difference",
        "{:.1f} % of the nominal area",
    )
    yield _number(what, "booleans", 0.0, 100 * max(areas), form, "1 % of it")


def random_kinds() -> Iterator[Row]:
    """Counts of many random parts, as they were kept; what disagrees is listed there too."""
    path = ROOT / "tests/validation/random_counts.json"
    kept = json.loads(path.read_text(encoding="utf-8"))
    first, last = kept["seeds"]
    for row in kept["counts"]:
        words = ("open", "restricted", "blocked", "undetermined")
        states = ", ".join(f"{row[w]} {w}" for w in words if row[w]) or "none"
        plans = f", {row['plans']} drilling plans" if row["plans"] else ""
        failed = f", {row['not_judged']} not judged" if row["not_judged"] else ""
        yield Row(
            f"{row['kind']}: {row['passages']} passages ({states}{plans})",
            "0 contradicted, 0 unsafe",
            "booleans",
            f"{row['disagree']} contradicted, {row['unsafe']} unsafe{failed}",
            "counted",
        )
    whole = kept["counts"][-1]
    share = 100.0 * whole["far_undetermined"] / max(whole["far"], 1)
    yield Row(
        f"undetermined of {whole['far']} whose requirement is more than a pitch off, "
        "without intervals, foreign voids and mouths that are not named",
        "at most 5 %",
        "booleans",
        f"{share:.1f} %",
        "counted",
    )
    yield Row("seeds, program", f"{first} to {last}", "kept", kept["program"], "counted")


SECTIONS = {
    "Clear diameters": clear_diameters,
    "Open areas": open_areas,
    "Events": events,
    "Connections": connections,
    "Reach": reach,
    "Flow": flow,
    "Drills": drills,
    "Meshes": meshes,
    "Section properties": section_properties,
    "Readings": lambda: causes_rows.readings(_number, _same),
    "Causes": lambda: causes_rows.causes(_number),
    "Scans": lambda: scan_rows.scans(_number, _same, _held),
    "Shipped cases": shipped,
    "Comparison with solid booleans": solid_booleans,
    "Random parts of many kinds": random_kinds,
}


def page() -> str:
    """The whole page."""
    parts = [HEAD.rstrip()]
    for title, rows in SECTIONS.items():
        note = f"{NOTES[title]}\n\n" if title in NOTES else ""
        parts.append(f"\n## {title}\n\n{note}| what | expected | how known | obtained | within |")
        parts.append("| --- | --- | --- | --- | --- |")
        parts += map(str, rows())
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    shared.in_full = True  # checks as a user gets them
    (DOCS / "validation.md").write_text(page(), encoding="utf-8")
