"""Write docs/validation.md, what was expected and what came out.

    python docs/make_validation.py

Needs the test extra: the solids are those of the tests.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections.abc import Iterator
from math import cos, pi, radians, sqrt
from pathlib import Path
from typing import Any

DOCS = Path(__file__).parent
ROOT = DOCS.parent
sys.path.insert(0, str(ROOT / "tests"))

import make  # noqa: E402
import manifold3d as m3  # noqa: E402
import numpy as np  # noqa: E402
import shapes as s  # noqa: E402

HEAD = """# Validation

What the program gives beside what it should give. Written by `docs/make_validation.py`; a test
fails when this page is not what comes out. Every solid is made of facets: a round bore drawn 8 mm
wide is 8 cos(pi / n) wide as a mesh of n sides, and that is what is expected of it.

*Analytic*: follows from the drawing by school geometry. *Published*: from the source named. *By
hand*: worked out on paper before the program saw the case; the working stands in the case's
`expected.json`.

The tests hold many more of these, and attack the program with random parts, thin plates,
hair-thin slits and broken meshes: `tests/validation` (`test_against_booleans.py` compares states,
areas and drilling plans of random parts with an independent library of solid booleans),
`tests/property`, `tests/golden`.
"""

Row = tuple[str, str, str, str]


def _clear(passage: Any) -> str:
    clear = passage.clear_diameter_mm
    return f"{passage.state.value}, {clear.low:.2f} to {clear.high:.2f} mm"


def _first(solid: Any, *args: Any, **keys: Any) -> Any:
    with tempfile.TemporaryDirectory() as folder:
        return make.first(Path(folder), solid, *args, **keys)


def clear_diameters() -> Iterator[Row]:
    """Closed forms of the largest ball that travels."""
    sides, known = 96, "analytic"
    upright = make.passage((0, 0, 0), (0, 0, 20), 2.0, 3.0)
    width = 4 * cos(pi / sides)
    block = s.block((-8, -8, 0), (8, 8, 20))
    bore = block - s.bore((0, 0, -1), (0, 0, 21), 2.0, segments=sides)
    yield "bore 4 mm", f"{width:.3f} mm", known, _clear(_first(bore, upright, pitch=0.25))
    for shift in (0.6, 1.5):
        event = make.plane(10.0, 3)
        event = make.sheet(10.0, 3, from_layer=100, resume_shift=[shift, 0.0])
        found = _first(bore, upright, event, pitch=0.25)
        yield f"bore 4 mm, set aside by {shift} mm", f"{width - shift:.3f} mm", known, _clear(found)
    lean = radians(20.0)
    aside = 20 * np.tan(lean)
    slant = s.block((-8, -8, 0), (8 + aside, 8, 20))
    start, end = np.array((0.0, 0, 0)), np.array((aside, 0.0, 20))
    way = (end - start) / np.linalg.norm(end - start)
    slant -= s.bore(start - 2 * way, end + 2 * way, 2.0, segments=sides)
    tilted = make.passage(start, end, 2.0 / sqrt(cos(lean)), 3.0)
    yield (
        "bore 4 mm that leans by 20 degrees",
        f"{width:.3f} mm",
        known,
        _clear(_first(slant, tilted, pitch=0.25)),
    )
    hole = s.block((-8, -8, 9), (8, 8, 9.4)) - s.bore((0.5, 0, 8), (0.5, 0, 10), 1, segments=sides)
    found = _first(
        bore, upright, {"shape": "mesh", "mesh": "p.stl"}, meshes={"p": hole}, pitch=0.25
    )
    yield (
        "measured plate with a hole of 2 mm",
        f"{2 * cos(pi / sides):.3f} mm",
        known,
        _clear(found),
    )
    duct = s.block((-10, -6, 0), (10, 6, 16)) - s.block((-11, -2, 6), (11, 2, 10))
    level = make.passage((-10, 0, 8), (10, 0, 8), 2.25, 1.0)
    for height, layers, left in ((8.4, 4, "2.4"), (5.5, 10, "3.5"), (5.9, 42, "0")):
        found = _first(duct, level, make.plane(height, layers), pitch=0.4)
        yield (
            f"level duct 4 x 4 mm (z 6 to 10), sheet z {height} to {height + 0.1 * layers:.1f}",
            f"{left} mm", known, _clear(found),
        )  # fmt: skip
    yield _spheres()


def _spheres() -> Row:
    radius, step = 2.0, 4.0
    balls = [
        m3.Manifold.sphere(radius, 96).translate((x, y, z))
        for x in (-2, 2)
        for y in (-2, 2)
        for z in (2, 6)
    ]
    shell = s.block((-6, -6, -3), (6, 6, 11)) - s.block((-step, -step, 0), (step, step, 2 * step))
    shell -= s.bore((0, 0, -4), (0, 0, 12), 1.5, segments=96)
    solid = m3.Manifold.batch_boolean([shell, *balls], m3.OpType.Add)
    found = _first(solid, make.passage((0, 0, -3), (0, 0, 11), 1.5, 1.0), pitch=0.25)
    throat = 2 * (sqrt(2) - 1) * radius
    return "simple cubic spheres 4 mm", f"{throat:.3f} mm", "analytic", _clear(found)


def areas() -> Iterator[Row]:
    """Open areas at a crossing."""
    block = s.block((-8, -8, 0), (8, 8, 20))
    bore = block - s.bore((0, 0, -1), (0, 0, 21), 2.0, segments=96)
    upright = make.passage((0, 0, 0), (0, 0, 20), 2.0, 1.0)
    apart = 1.0
    (crossing,) = _first(
        bore, upright, make.sheet(10.0, 3, from_layer=100, resume_shift=[apart, 0.0]), pitch=0.25
    ).crossings
    half = np.arccos(apart / 4.0)
    lens = 2 * 4 * half - 0.5 * apart * sqrt(16 - apart**2)
    yield (
        "two circles of radius 2 mm, 1 mm apart", f"{lens:.2f} mm2 (as facets 0.1 % less)",
        "analytic", f"{crossing.open_area_mm2:.2f} mm2",
    )  # fmt: skip


def numbers() -> Iterator[Row]:
    """Tables and formulas of the trade."""
    from shapely import Point

    from clearance.drills import drills
    from clearance.section_properties import resumed_section

    ring = Point(0, 0).buffer(10, quad_segs=256) - Point(0, 0).buffer(6, quad_segs=256)
    found = resumed_section(ring)
    polar = pi / 32 * (20**4 - 12**4)
    yield (
        "torsion constant of an annulus 20 / 12 mm", f"{polar:.0f} mm4",
        "analytic (polar second moment of a circular section)", f"{found['J_mm4']:.0f} mm4",
    )  # fmt: skip
    yield (
        "second moment of the same",
        f"{polar / 2:.0f} mm4",
        "analytic",
        f"{found['Ixx_mm4']:.0f} mm4",
    )
    drill = next(d for d in drills(["jobber"]) if d.diameter == 6.0)
    yield (
        "jobber drill of 6 mm: flute, overall", "57, 93 mm",
        "published: DIN 338 as printed in a tool distributor's catalogue",
        f"{drill.flute:g}, {drill.overall:g} mm",
    )  # fmt: skip


def shipped() -> Iterator[Row]:
    """The cases that come with the program."""
    from clearance.case import read_case
    from clearance.check import check

    for path in sorted((ROOT / "cases").glob("*/expected.json")):
        if not (path.parent / "case.toml").exists():
            continue
        expected = json.loads(path.read_text(encoding="utf-8"))
        if "passages" not in expected:
            continue
        result = check(read_case(path.parent / "case.toml"))
        for passage in result.passages:
            want = expected["passages"][passage.name]
            low, high = want["clear_diameter_mm"]
            yield (
                f"[{path.parent.name}](../cases/{path.parent.name}), {passage.name}",
                f"{want['state']}, within {low:g} to {high:g} mm", "by hand", _clear(passage),
            )  # fmt: skip
        assert result.disposition is not None
        yield (
            f"{path.parent.name}, recommendation", expected["recommendation"], "by hand",
            result.disposition.recommendation,
        )  # fmt: skip


SECTIONS = {
    "Clear diameters": clear_diameters,
    "Open areas": areas,
    "Tables and formulas": numbers,
    "Shipped cases": shipped,
}


def page() -> str:
    """The whole page."""
    parts = [HEAD]
    for title, rows in SECTIONS.items():
        parts.append(f"\n## {title}\n\n| what | expected | known as | obtained |")
        parts.append("| --- | --- | --- | --- |")
        parts += [f"| {' | '.join(row)} |" for row in rows()]
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    (DOCS / "validation.md").write_text(page(), encoding="utf-8")
