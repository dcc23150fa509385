"""Parts with a straight line planted in a passage, and a search for the widest line of its own.

It shares no code with the program: solids are those of manifold3d, distances are formulas on
triangles, the search is a simplex on them, and plans are held against solid booleans.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import make
import manifold3d as m3
import numpy as np
import shapes
from numpy.typing import NDArray
from scipy.optimize import minimize

Floats = NDArray[np.float64]

SIDE, TOP = 18.0, 32.0  # the block: 2 x SIDE wide, TOP high
LAYER = 0.1
OFF_MM = 0.2  # a line is tried from so far in front of the mouth
NEAR_MM = 6.0  # farther metal is not looked at
POINT = 0.5 / math.tan(math.radians(59.0))  # length of a 118 degree point over its diameter
KINDS = ("leaning", "curved", "rough", "third", "flat", "zigzag")
FITS, CUTS, TOO_NARROW = "fits", "cuts", "too narrow"
WANTED = (FITS, CUTS, FITS, TOO_NARROW, FITS, CUTS, TOO_NARROW)


class Opening(NamedTuple):
    """A mouth as the maker of the part knows it; the normal points out."""

    name: str
    centre: Floats
    normal: Floats
    radius: float


@dataclass
class Part:
    """A block with a passage `a`, a neighbour `n`, and one sheet."""

    kind: str
    wanted: str
    passage: m3.Manifold
    radius: float
    openings: list[Opening]
    sheet_z: float
    stray: dict[str, Any]
    neighbour: m3.Manifold
    ends_n: tuple[Floats, Floats]
    radius_n: float
    on_platform: bool
    beside: m3.Manifold | None
    own: m3.Manifold = field(default_factory=m3.Manifold)

    @property
    def block(self) -> m3.Manifold:
        """The part without any hole."""
        return shapes.block((-SIDE, -SIDE, 0.0), (SIDE, SIDE, TOP))

    @property
    def solid(self) -> m3.Manifold:
        """The nominal part."""
        return self.block - self.passage - self.neighbour


# ---- parts ----------------------------------------------------------------------------------


def part(seed: int) -> Part:
    """Make the part of a seed; every kind comes with lines that fit, that cut, that do not do."""
    rng = np.random.default_rng([17, seed])
    kind = KINDS[seed % len(KINDS)]
    radius = float(rng.uniform(1.6, 3.2))
    while True:
        tool, bare, openings, sheet_z = globals()[f"_{kind}"](rng, radius)
        if abs(sheet_z - TOP / 2) < TOP / 2 - 3.0:
            break
    neighbour, ends_n, radius_n = _neighbour(rng, tool)
    layers = int(rng.integers(1, 4))
    height = round(sheet_z / LAYER) * LAYER
    shape = make.plane if rng.random() < 0.6 or kind == "zigzag" else make.sheet
    side = float(rng.uniform(2.0, 16.0))
    bar = shapes.block((-SIDE, -2.0, TOP + 4.0), (SIDE, 2.0, TOP + 7.0)).translate((0, side, 0))
    return Part(
        kind=kind,
        wanted=WANTED[seed // len(KINDS) % len(WANTED)],
        passage=tool,
        radius=radius,
        openings=openings,
        sheet_z=height + 0.5 * layers * LAYER,
        stray=shape(height, layers, source="log"),
        neighbour=neighbour,
        ends_n=ends_n,
        radius_n=radius_n,
        on_platform=bool(rng.random() < 0.3),
        beside=bar if rng.random() < 0.3 else None,
        own=bare,
    )


DOWN, UP = np.array([0.0, 0.0, -1.0]), np.array([0.0, 0.0, 1.0])
Made = tuple[m3.Manifold, m3.Manifold, list[Opening], float]


def _line(rng: np.random.Generator, wide: float) -> tuple[Floats, Floats]:
    """From the floor to the top of the block, in any direction that stays in it."""
    low, high = (rng.uniform(-wide, wide, 2) for _ in range(2))
    return np.array([*low, 0.0]), np.array([*high, TOP])


def _through(p: Floats, q: Floats, radius: float) -> m3.Manifold:
    """A bore that goes on beyond both ends."""
    step = (q - p) / np.linalg.norm(q - p)
    return shapes.bore(p - 14 * step, q + 14 * step, radius, segments=32)


def _leaning(rng: np.random.Generator, radius: float) -> Made:
    """A straight bore."""
    p, q = _line(rng, 11.0)
    tool = _through(p, q, radius)
    ends = [Opening("inlet", p, DOWN, radius), Opening("outlet", q, UP, radius)]
    return tool, tool, ends, float(rng.uniform(6, TOP - 6))


def _curved(rng: np.random.Generator, radius: float) -> Made:
    """A bent tube, and a straight bore from its foot that leads through it beyond the sheet."""
    bend = float(rng.uniform(2.0, 7.0)) * rng.choice([-1.0, 1.0])
    z = np.linspace(-3, TOP + 3, 24)
    s = np.clip(z / TOP, 0, 1) * np.pi
    turn = rng.uniform(0, np.pi)
    swing = bend * np.sin(s) ** 2
    axis = np.column_stack([np.cos(turn) * swing, np.sin(turn) * swing, z])
    wide = radius * float(rng.uniform(1.0, 1.4))
    tube = shapes.tube_along(axis, wide, 28)
    sheet_z = float(rng.uniform(8, TOP - 8))
    foot = np.array([*rng.uniform(-0.3, 0.3, 2) * radius, 0.0])
    at = np.array([np.interp(sheet_z + 3, z, axis[:, n]) for n in range(3)])
    tool = tube + shapes.bore(foot - 3 * UP, at, 0.8 * radius, segments=32)
    ends = [
        Opening("inlet", np.zeros(3), DOWN, wide),
        Opening("outlet", np.array([0.0, 0.0, TOP]), UP, wide),
    ]
    return tool, tool, ends, sheet_z


def _rough(rng: np.random.Generator, radius: float) -> Made:
    """Discs of all sizes that reach out to one side of a leaning bore, never across it."""
    p, q = _line(rng, 4.0)
    step = (q - p) / (q - p)[2]
    tool = _through(p, q, radius)
    for k in range(2, 14):
        low, high = TOP * k / 16, TOP * (k + 1) / 16
        size, turn = float(rng.uniform(0.8, 1.6)) * radius, 2.4 * k
        x, y = (p + 0.5 * (low + high) * step)[:2] + 0.8 * size * np.array(
            [np.cos(turn), np.sin(turn)]
        )
        tool += shapes.bore((x, y, low), (x, y, high), size, segments=24)
    ends = [Opening("inlet", p, DOWN, radius), Opening("outlet", q, UP, radius)]
    return tool, tool, ends, float(rng.uniform(8, TOP - 8))


def _zigzag(rng: np.random.Generator, radius: float) -> Made:
    """Level legs at two heights and an upright one between, in which the sheet lies."""
    low, high = 5.0, TOP - 5.0
    corners = [(-SIDE - 4, 0, low), (0, 0, low), (0, 0, high), (SIDE + 4, 0, high)]
    tool = shapes.tube_along(shapes.bent_line(corners, 1.3 * radius, 18.0), radius, 28)
    ends = [
        Opening("inlet", np.array([-SIDE, 0.0, low]), np.array([-1.0, 0.0, 0.0]), radius),
        Opening("outlet", np.array([SIDE, 0.0, high]), np.array([1.0, 0.0, 0.0]), radius),
    ]
    return tool, tool, ends, float(rng.uniform(13, TOP - 13))


def _third(rng: np.random.Generator, radius: float) -> Made:
    """The same, and a bore from the top into the upright leg, beyond the sheet: it sees it."""
    tool, _, ends, sheet_z = _zigzag(rng, radius)
    p = np.array([float(rng.uniform(-8, -2)), float(rng.uniform(-6, 6)), TOP])
    at = np.array([0.0, 0.0, sheet_z])
    step = (at - p) / np.linalg.norm(at - p)
    slim = radius * float(rng.uniform(0.7, 1.0))
    tool += shapes.bore(p - 6 * step, at + 3.5 * step, slim, segments=32)
    return tool, tool, [*ends, Opening("b inlet", p, UP, slim)], sheet_z


def _flat(rng: np.random.Generator, radius: float) -> Made:
    """A straight bore from side to side that rises by 8 to 25 degrees."""
    rise = math.tan(math.radians(float(rng.uniform(8.0, 25.0))))
    low = float(rng.uniform(radius + 2, TOP - 2 * SIDE * rise - radius - 2))
    p, q = np.array([-SIDE, -5.0, low]), np.array([SIDE, -5.0, low + 2 * SIDE * rise])
    tool = _through(p, q, radius)
    ends = [
        Opening("inlet", p, np.array([-1.0, 0.0, 0.0]), radius),
        Opening("outlet", q, np.array([1.0, 0.0, 0.0]), radius),
    ]
    share = float(rng.uniform(0.25, 0.75))
    return tool, tool, ends, low + share * 2 * SIDE * rise


def _neighbour(
    rng: np.random.Generator, passage: m3.Manifold
) -> tuple[m3.Manifold, tuple[Floats, Floats], float]:
    """A straight bore 0.3 to 2 mm beside the passage, from floor to top."""
    radius = float(rng.uniform(1.0, 2.0))
    for _ in range(200):
        p, q = _line(rng, SIDE - 3.0)
        tool = _through(p, q, radius)
        gap = passage.min_gap(tool, 5.0)
        if 0.3 < gap < 2.0:
            return tool, (p, q), radius
    raise ValueError("no room for a neighbour")


def after(made: Part) -> m3.Manifold:
    """The part with its sheet: the whole outline, or the part's own first layers."""
    count, z = made.stray["layers"], made.stray["height"]
    if made.stray.get("shape") == "plane":
        return made.solid + shapes.block((-SIDE, -SIDE, z), (SIDE, SIDE, z + count * LAYER))
    result = made.solid
    for k in range(count):
        layer = made.solid.slice((k + 0.5) * LAYER)
        result += m3.Manifold.extrude(layer, LAYER + 1e-4).translate((0, 0, z + k * LAYER))
    return result


# ---- distances and lines --------------------------------------------------------------------


def _dot(a: Floats, b: Floats) -> Floats:
    return np.einsum("...i,...i->...", a, b)


def clearance(triangles: Floats, p: Floats, q: Floats) -> float:
    """Least distance from a segment to triangles, at most NEAR_MM; where it runs through metal
    minus the length that it does so, if it begins in void.

    The nearest points of a segment and a triangle lie on an edge of it, or at an end of the
    segment over the triangle's inside, unless they cross.
    """
    low, high = np.minimum(p, q) - NEAR_MM, np.maximum(p, q) + NEAR_MM
    near = (triangles.min(1) <= high).all(1) & (triangles.max(1) >= low).all(1)
    t = triangles[near]
    if not len(t):
        return NEAR_MM
    d, normal = q - p, np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    unit = normal / np.linalg.norm(normal, axis=1)[:, None]
    height = [_dot(end - t[:, 0], unit) for end in (p, q)]
    least = NEAR_MM
    for end, above in zip((p, q), height, strict=True):
        inside = _over(t, normal, end - above[:, None] * unit)
        least = min(least, float(np.abs(above[inside]).min(initial=NEAR_MM)))
    crossed = (height[0] > 0) != (height[1] > 0)
    share = np.where(crossed, height[0] / np.where(crossed, height[0] - height[1], 1.0), 0.0)
    crossed &= _over(t, normal, p + share[:, None] * d)
    if crossed.any():
        along = np.sort(share[crossed])
        ends = np.append(along, 1.0)[: 2 * ((len(along) + 1) // 2)].reshape(-1, 2)
        return -float(np.diff(ends, axis=1).sum() * np.linalg.norm(d)) - 1e-6
    a, e = t.reshape(-1, 3), (np.roll(t, -1, axis=1) - t).reshape(-1, 3)
    return min(least, float(_between(p, d, a, e).min()))


def _over(t: Floats, normal: Floats, at: Floats) -> NDArray[np.bool_]:
    """Whether points in the planes of triangles lie within them."""
    sides = [
        _dot(np.cross(t[:, (n + 1) % 3] - t[:, n], at - t[:, n]), normal) >= 0 for n in range(3)
    ]
    return sides[0] & sides[1] & sides[2]


def _between(p: Floats, d: Floats, a: Floats, e: Floats) -> Floats:
    """Distances between the segment p, p + d and segments a, a + e: the usual two clamped steps."""
    r = p - a
    dd, ee, de = float(d @ d), np.maximum(_dot(e, e), 1e-18), e @ d
    c, f = r @ d, _dot(e, r)
    bottom = dd * ee - de * de
    s = np.where(bottom > 1e-12 * dd * ee, (de * f - c * ee) / np.where(bottom > 0, bottom, 1), 0)
    t = np.clip((de * np.clip(s, 0, 1) + f) / ee, 0, 1)
    s = np.clip((de * t - c) / dd, 0, 1)
    t = np.clip((de * s + f) / ee, 0, 1)
    return np.linalg.norm(r + s[:, None] * d - t[:, None] * e, axis=1)


class Line(NamedTuple):
    """The widest line found from an opening through the sheet."""

    opening: str
    radius: float
    start: Floats
    end: Floats


def widest(made: Part, tries: int = 3) -> Line | None:
    """The widest straight line from any opening that a drill may enter, through the whole sheet.

    The line's end is where a cylinder of its clear radius has passed the sheet's far face, and its
    whole length has that radius clear: no tip of a drill meets more.
    """
    mesh = made.solid.to_mesh64()
    corners = np.asarray(mesh.vert_properties[:, :3], np.float64)
    triangles = np.float64(np.float32(corners))[np.asarray(mesh.tri_verts)]
    places = _places(made)
    best: Line | None = None
    for opening in made.openings:
        if made.on_platform and opening.normal[2] < -0.7:
            continue
        found = _from(made, opening, triangles, places, tries)
        if best is None or found.radius > best.radius:
            best = found
    return best


def _places(made: Part) -> Floats:
    """Points in the passage at the sheet's height."""
    outline = made.passage.slice(made.sheet_z)
    x0, y0, x1, y1 = outline.bounds()
    grid = np.stack(np.meshgrid(np.linspace(x0, x1, 13), np.linspace(y0, y1, 13)), -1)
    probe = [m3.CrossSection.circle(0.02, 4).translate(tuple(xy)) for xy in grid.reshape(-1, 2)]
    held = [not (outline ^ one).is_empty() for one in probe]
    return grid.reshape(-1, 2)[held]


def _from(made: Part, opening: Opening, triangles: Floats, places: Floats, tries: int) -> Line:
    u, v, _ = shapes.frame(opening.normal)
    half = 0.5 * made.stray["layers"] * LAYER

    def ends(x: Floats) -> tuple[Floats, Floats]:
        p = opening.centre + x[0] * u + x[1] * v + OFF_MM * opening.normal
        return p, np.array([x[2], x[3], made.sheet_z])

    def room(x: Floats) -> float:
        p, q = ends(x)
        d = q - p
        length = float(np.linalg.norm(d))
        d = d / length
        rise = abs(float(d[2]))
        off = max(float(np.hypot(x[0], x[1])) - 1.5 * opening.radius, 0.0)
        off += max(float(np.abs(q[:2]).max()) - SIDE, 0.0)
        if off > 0.0 or rise < 0.02:
            return -10.0 - off
        here = clearance(triangles, p, q)
        if here <= 0.0:
            return here
        # So far beyond the sheet's middle as a cylinder of this radius goes to pass it.
        slant = math.sqrt(1.0 - rise * rise) / rise
        further = clearance(triangles, q, q + (half / rise + here * slant) * d)
        return min(here, further)

    rng = np.random.default_rng(1)
    starts = [np.array([0.0, 0.0, *at]) for at in places[:: max(len(places) // 24, 1)]]
    for at in places[rng.integers(0, len(places), 16)]:
        starts.append(np.array([*rng.uniform(-0.5, 0.5, 2) * opening.radius, *at]))
    starts.sort(key=room, reverse=True)
    best = starts[0]
    for start in starts[:tries]:
        for size in (0.6, 0.1):
            simplex = np.vstack([start, start + size * np.eye(4)])
            options = {"initial_simplex": simplex, "maxfev": 160, "xatol": 1e-3, "fatol": 1e-4}
            start = minimize(lambda x: -room(x), start, method="Nelder-Mead", options=options).x
        best = max(best, start, key=room)
    p, q = ends(best)
    return Line(opening.name, room(best), p, q)


# ---- plans ----------------------------------------------------------------------------------


def faults(made: Part, predicted: m3.Manifold, found: Any, holder: float = 40.0) -> Iterator[str]:
    """What solid booleans have against a plan, each drill with its tolerance and run-out."""
    solid, block = made.solid, made.block
    other = made.neighbour ^ block
    left = predicted
    for stroke in found.rework.drilling:
        radius, taken = stroke.drill_diameter_mm / 2, stroke.drill_tolerance_mm + stroke.run_out_mm
        full = stroke.depth_mm - 2 * radius * POINT
        line = stroke.wall_margin_mm - stroke.wall_cut_mm
        if _common(_cylinder(stroke, 0.0, full, radius + line - 0.02), solid) > 1e-3:
            yield "the line is not as clear as its margin says"
        worst = _cylinder(stroke, 0.0, full, radius + taken) + _point(stroke, full, radius + taken)
        if _common(worst, other) > 0.0:
            yield "it breaks into the neighbour"
        least, cut = found.rework.wall_least_mm, worst ^ solid
        if least is not None and cut.min_gap(other, 20.0) < least - 0.02:
            yield "less wall is left than it says"
        for piece in (worst - block).decompose():
            if _common(piece, made.passage) == 0.0:
                yield "it breaks out of the part"
        yield from _in_front(made, stroke, radius - stroke.wall_cut_mm, holder)
        left -= _cylinder(stroke, -20.0, full, radius) + _point(stroke, full, radius)
    if not _leads(made, left):
        yield "no way is left after it"


def _in_front(made: Part, stroke: Any, radius: float, holder: float) -> Iterator[str]:
    """What the shank and the holder meet in front of the mouth."""
    stand = stroke.overall_mm - 2.5 * stroke.drill_diameter_mm - stroke.depth_mm
    if stand <= 0.0:
        yield "the drill is too short"
        return
    shank = _cylinder(stroke, -stand, -0.05, radius - 0.02)
    tool = shank + _cylinder(stroke, -stand - 100.0, -stand, holder / 2 - 0.01)
    things = {"the part": made.solid, "what was melted beside it": made.beside}
    if made.on_platform:
        things["the platform"] = shapes.block((-400, -400, -400), (400, 400, -0.001))
    for name, thing in things.items():
        if thing is not None and _common(tool, thing) > 1e-3:
            yield f"drill or holder meets {name}"


def _cylinder(stroke: Any, first: float, last: float, radius: float) -> m3.Manifold:
    at, along = np.array(stroke.entry_mm), np.array(stroke.direction)
    return shapes.bore(at + first * along, at + last * along, radius, segments=96)


def _point(stroke: Any, full: float, radius: float) -> m3.Manifold:
    at, along = np.array(stroke.entry_mm), np.array(stroke.direction)
    tip = full + 2 * radius * POINT
    return shapes.bore(at + full * along, at + tip * along, radius, 1e-3, segments=96)


def _common(a: m3.Manifold, b: m3.Manifold) -> float:
    return float((a ^ b).volume())


def _leads(made: Part, left: m3.Manifold) -> bool:
    """Whether the void in a block leads from the inlet to the outlet."""
    pieces = [piece for piece in (made.block - left).decompose() if piece.volume() > 1e-6]
    held = []
    for one in made.openings[:2]:
        probe = m3.Manifold.sphere(0.1, 16).translate(tuple(one.centre - 0.3 * one.normal))
        held.append({n for n, piece in enumerate(pieces) if _common(piece, probe) > 1e-6})
    return bool(held[0] & held[1])
