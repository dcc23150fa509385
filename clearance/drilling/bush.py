"""A guide bush for a drilling operation: a closed body that sits on the opening's face.

In: the predicted metal as a solid, the mouth that is entered, the operation. Out: `Bush`, or a
`NoBushError` that says why none sits there. What is made is rebuilt from its own triangles and held
against the part and the drill by booleans before it is given away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from clearance.case.tables import BushTable
from clearance.drilling.drills import CLAMPED_DIAMETERS
from clearance.ports.mouth import Mouth
from clearance.result import Drilling
from clearance.verdict.numbers import given, least, near, rounded_down, rounded_up
from clearance.verdict.solids import LEAST_MM3, NotPossibleError, solid, triangles_of

SIDES = 96
LENGTHS = 2.0
"""Guided length over the drill's diameter where the case gives none; common practice, no source."""
SHORTEST = 1.0
"""The same, at least: a shorter bush does not guide; common practice, no source."""
FLAT_MM = 0.02
"""What lies so far below the seat still carries."""
NEAR_MM = 0.05
"""So near to the closing surface the opening's own face lies."""
LEVEL = math.cos(math.radians(1.0))
"""Facets of a seat lean less than this against the closing surface."""
LIFT_MM = 2e-3
"""The bush stands so far above its face, so that booleans see two bodies."""
PLUG_MM = 3.0
"""Depth of the plug, at most."""
THINNEST_MM = 0.8
"""Thinner walls of a plug or beside the drill are not made."""
INTO_MM = 0.3
"""So far a plug reaches into the bore before that is cut."""
STEEPEST = 0.5
"""Least cosine between the axis and the face's normal."""
TURNED_DEG = 0.2
"""From this lean on it matters how the bush is turned on its face."""
NOTCH_MM = 1.5
"""Depth of the notch that tells which way to turn it."""
SLIVER_MM = 0.3
"""Strips of a face that are narrower carry nothing; common practice, no source."""

Floats = NDArray[np.float64]


class NoBushError(Exception):
    """No bush sits there; the text says why."""


@dataclass(frozen=True, eq=False)
class Bush:
    """A bush, lengths in mm, where it sits on the part.

    Attributes
    ----------
    soup : (F, 3, 3) ndarray of float32
        Closed, outward.
    bore : float
        Diameter of its bore.
    length : float
        Guided length along the axis, from the closing surface at the entry to the top.
    seat_mm2 : float
        Area of the face that carries it.
    plug_mm : float
        Depth of the plug that holds it in the mouth; 0 where there is none.
    normal : (3,) ndarray
        Of the face, outward.
    towards : (3,) ndarray or None
        Where the top of the bore leans to along the face; None where it stands square.
    notched : bool
        A notch in the foot points there.
    play_deg : float
        How far a drill that is as thin as its tolerance allows may lean in the bore.
    """

    soup: NDArray[np.float32]
    bore: float
    length: float
    seat_mm2: float
    plug_mm: float
    normal: Floats
    towards: Floats | None
    notched: bool
    play_deg: float


class _Site:
    """The metal around an opening in axes of its face: z outward, the drill's entry at 0."""

    def __init__(
        self,
        metal: m3.Manifold,
        mouth: Mouth,
        stroke: Drilling,
        made: BushTable,
        around: m3.Manifold,
    ):
        self.made = made
        plane = mouth.plane
        self.entry = np.array(stroke.entry_mm)
        self.turn = np.stack([plane.u, plane.v, plane.normal])
        self.out = self.turn @ -np.array(stroke.direction)
        if self.out[2] < STEEPEST:
            raise NoBushError("the drill leans too far against the face of the opening")
        self.diameter = stroke.drill_diameter_mm
        self.radius = 0.5 * (self.diameter + made.clearance)
        self.length = _length(stroke, made)
        self.ring = plane.to_plane(mouth.rim) - plane.to_plane(self.entry[None])
        self.wide = float(np.linalg.norm(self.ring, axis=1).max()) + 2.0 * made.wall
        high = self.length + self.radius + made.wall + made.fit
        frame = np.column_stack([self.turn, -self.turn @ self.entry])
        lean = np.hypot(*self.out[:2]) * self.length + self.radius + made.wall
        wide = max(self.wide, lean) + 1.0
        room = m3.Manifold.cube((2.0 * wide, 2.0 * wide, high + PLUG_MM + 1.0))
        room = room.translate((-wide, -wide, -PLUG_MM - 1.0))
        self.metal = metal.transform(frame) ^ room
        self.seat, self.faces = self._seat()
        beside = self.metal + (around.transform(frame) ^ room)
        beside = beside.trim_by_plane((0.0, 0.0, 1.0), self.seat + LIFT_MM)
        self.beside = _grown(beside.project(), made.fit)

    def _seat(self) -> tuple[float, m3.CrossSection]:
        """Height of the highest flat face around the mouth, and what of it carries."""
        triangles = triangles_of(self.metal)
        side = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
        size = np.maximum(np.linalg.norm(side, axis=1), 1e-30)
        near_face = (np.abs(triangles[..., 2]) < NEAR_MM).all(1)
        flat = triangles[near_face & (side[:, 2] > LEVEL * size)]
        if not len(flat):
            raise NoBushError("no face carries it: none is flat around the opening")
        seat = float(flat[..., 2].max())
        carrying = flat[(flat[..., 2] > seat - FLAT_MM).all(1)]
        return seat, m3.CrossSection(list(carrying[..., :2]), m3.FillRule.Positive)

    def along(self, radius: float, low: float, high: float) -> m3.Manifold:
        """A cylinder around the drill's axis, which holds the true one."""
        helper = np.eye(3)[int(np.argmin(np.abs(self.out)))]
        u = np.cross(helper, self.out)
        u /= np.linalg.norm(u)
        frame = np.column_stack([u, np.cross(self.out, u), self.out, low * self.out])
        around = radius / math.cos(math.pi / SIDES)
        return m3.Manifold.cylinder(high - low, around, around, SIDES).transform(frame)


def bush(
    metal: m3.Manifold,
    mouth: Mouth,
    stroke: Drilling,
    made: BushTable,
    around: m3.Manifold | None = None,
) -> Bush:
    """Make the bush of an operation and check that it clears the part and lets the drill through.

    Parameters
    ----------
    metal : Manifold
        The predicted part, mm.
    mouth : Mouth
        That the operation enters, where it lies in the predicted part.
    stroke : Drilling
    made : BushTable
        How bushes are made.
    around : Manifold, optional
        What else stands there and carries nothing: the platform, other parts, mm.

    Raises
    ------
    NoBushError
    """
    around = m3.Manifold() if around is None else around
    site = _Site(metal, mouth, stroke, made, around)
    foot, carried = _foot(site)
    flange = _prism(foot, site.seat + LIFT_MM, site.seat + LIFT_MM + made.wall)
    plug, depth = _plug(site)
    below = site.seat + LIFT_MM
    wall = site.along(site.radius + made.wall, -2.0 * site.wide, site.length)
    body = wall.trim_by_plane((0.0, 0.0, 1.0), below)
    body = body - _prism(site.beside, below - 1.0, 4.0 * (site.length + site.wide))
    hole = site.along(site.radius, -2.0 * site.wide, site.length + site.wide)
    shape = flange + body + plug - hole
    thin = site.along(site.radius + THINNEST_MM, -2.0 * site.wide, site.length)
    thin = thin.trim_by_plane((0.0, 0.0, 1.0), below) - hole
    lean = math.degrees(math.acos(min(float(site.out[2]), 1.0)))
    towards, notched = None, False
    if lean > TURNED_DEG:
        level = site.out[:2] / np.linalg.norm(site.out[:2])
        towards = np.array([*level, 0.0]) @ site.turn
        cut = shape - _notch(site, foot, level)
        notched = (thin - cut).volume() <= LEAST_MM3
        shape = cut if notched else shape
    made_of = max(shape.decompose(), key=m3.Manifold.volume)
    if (thin - made_of).volume() > LEAST_MM3:
        raise NoBushError("metal beside the opening leaves no room for its wall")
    frame = np.column_stack([site.turn.T, site.entry])
    soup = triangles_of(made_of.transform(frame)).astype(np.float32)
    soup = soup[_sized(soup)]
    _check(soup, metal + around, stroke, site.length)
    return Bush(
        soup,
        bore=2.0 * site.radius,
        length=site.length,
        seat_mm2=carried,
        plug_mm=depth,
        normal=np.asarray(mouth.plane.normal),
        towards=towards,
        notched=notched,
        play_deg=math.degrees(
            math.atan((made.clearance + stroke.drill_tolerance_mm) / site.length)
        ),
    )


def set_up(passage: str, number: int, of: int, stroke: Drilling, made: Bush) -> str:
    """How a bush is set, in one line."""
    x, y, z = made.normal
    said = (
        f"{passage}, {number} of {of}: sits on the face of the {stroke.from_}, outward normal "
        f"({x:z.4f}, {y:z.4f}, {z:z.4f}), on {near(made.seat_mm2, 0)} mm2; bore "
        f"{given(round(made.bore, 3))} mm for the {given(stroke.drill_diameter_mm)} mm drill, "
        f"guides {near(made.length, 1)} mm; depth stop "
        f"{near(stroke.depth_mm + made.length)} mm from the bush's top to the drill's tip"
    )
    if made.plug_mm > 0.0:
        said += f"; a plug {near(made.plug_mm, 1)} mm deep holds it in the mouth"
    else:
        said += "; no plug: set it with a pin of the drill's diameter in the bore, and clamp it"
    if made.towards is not None:
        x, y, z = made.towards
        how = "its notch points" if made.notched else "no notch: turn it so that its bore leans"
        said += f"; {how} towards ({x:z.4f}, {y:z.4f}, {z:z.4f})"
    play, right = rounded_up(made.play_deg, 2), least(stroke.tilt_tolerance_deg)
    said += f"; the drill may lean {play} deg in it, {right} deg keep it off the wall"
    if made.play_deg > stroke.tilt_tolerance_deg:
        said += ": not by this bush alone, a longer or closer one ([bush] length, clearance)"
    return said


def _length(stroke: Drilling, made: BushTable) -> float:
    """Guided length: as asked for, else two diameters as far as flute and holder let it."""
    d = stroke.drill_diameter_mm
    holder = stroke.overall_mm - CLAMPED_DIAMETERS * d - stroke.depth_mm
    room = min(stroke.flute_mm - stroke.depth_mm, holder)
    wanted = made.length if made.length is not None else min(LENGTHS * d, room)
    least = made.length if made.length is not None else SHORTEST * d
    if room < least - 1e-6:
        raise NoBushError(
            f"the drill, flute {given(stroke.flute_mm)}, overall {given(stroke.overall_mm)} mm, "
            f"leaves {rounded_down(max(room, 0.0), 2)} mm for it, {given(round(least, 2))} needed"
        )
    return wanted


def _foot(site: _Site) -> tuple[m3.CrossSection, float]:
    """The foot that stands on the face, clear of what stands beside it, and the area under it.

    It carries if a circle as wide as the drill around the axis lies within the convex hull of what
    it stands on: then a push along the drill tips it over no edge.
    """
    disc = m3.CrossSection.circle(site.wide, SIDES)
    pieces = (disc - site.beside).decompose()
    under = m3.CrossSection.circle(site.radius, SIDES)
    foot = max(pieces, key=lambda piece: (piece ^ under).area(), default=m3.CrossSection())
    carried = _grown(_grown(foot ^ site.faces, -0.5 * SLIVER_MM), 0.5 * SLIVER_MM) ^ foot
    tipping = m3.CrossSection.circle(0.5 * site.diameter, SIDES) - carried.hull()
    if carried.is_empty() or tipping.area() > 1e-6:
        raise NoBushError(
            f"no face carries it: {near(carried.area(), 1)} mm2 are flat and free around the "
            "opening, and not on all sides of it"
        )
    return foot, carried.area()


def _plug(site: _Site) -> tuple[m3.Manifold, float]:
    """What stands in the mouth beside the drill; empty where that would be too thin to hold it."""
    fit = site.made.fit
    low = -PLUG_MM
    mouth = m3.CrossSection([site.ring[:-1]], m3.FillRule.EvenOdd)
    wall = site.metal.trim_by_plane((0.0, 0.0, 1.0), low)
    wall = wall.trim_by_plane((0.0, 0.0, -1.0), -(site.seat + LIFT_MM))
    drill = site.along(site.radius, -2.0 * site.wide, site.wide)
    drill = drill.trim_by_plane((0.0, 0.0, 1.0), low)
    drill = drill.trim_by_plane((0.0, 0.0, -1.0), -(site.seat + LIFT_MM + site.made.wall))
    within = _grown(mouth, -fit) - _grown(wall.project(), fit)
    free = within - drill.project()
    held = _grown(_grown(free, -0.5 * THINNEST_MM), 0.5 * THINNEST_MM) ^ free
    axis = m3.CrossSection.circle(0.1, 8)
    if held.is_empty() or (axis - held.hull()).area() > 1e-9:
        return m3.Manifold(), 0.0
    high = site.seat + LIFT_MM + 0.5 * site.made.wall
    held = _grown(held, INTO_MM) ^ within  # the bore cuts it clean
    return _prism(held, low, high), -low


def _notch(site: _Site, foot: m3.CrossSection, level: Floats) -> m3.Manifold:
    """A notch in the foot's edge, where the top of the bore leans to."""
    aside = np.array([-level[1], level[0]])
    far = 2.0 * site.wide * level
    strip = m3.CrossSection([np.array([-0.1 * aside, far - 0.1 * aside, far + 0.1 * aside])])
    edge = max(float(at @ level) for ring in (foot ^ strip).to_polygons() for at in ring)
    tip, back = (edge - NOTCH_MM) * level, (edge + 1.0) * level
    outline = m3.CrossSection([np.array([tip, back - 2.0 * aside, back + 2.0 * aside])])
    return _prism(outline, site.seat - 0.5, site.seat + site.made.wall + 1.5)


def _prism(outline: m3.CrossSection, low: float, high: float) -> m3.Manifold:
    if outline.is_empty():
        return m3.Manifold()
    return m3.Manifold.extrude(outline, high - low).translate((0.0, 0.0, low))


def _grown(outline: m3.CrossSection, by: float) -> m3.CrossSection:
    if outline.is_empty() or by == 0.0:
        return outline
    return outline.offset(by, m3.JoinType.Round, 2.0, SIDES)


def _sized(soup: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Triangles whose corners differ."""
    a, b, c = soup.transpose(1, 0, 2)
    found: NDArray[np.bool_] = (a != b).any(1) & (b != c).any(1) & (c != a).any(1)
    return found


def closed(soup: NDArray[np.float32]) -> bool:
    """Whether every edge of a mesh has two triangles, which run along it in opposite ways."""
    corners = np.unique(soup.reshape(-1, 3), axis=0, return_inverse=True)[1].reshape(-1, 3)
    edges = np.concatenate([corners[:, [k, (k + 1) % 3]] for k in range(3)])
    ways, count = np.unique(edges, axis=0, return_counts=True)
    back = np.unique(edges[:, ::-1], axis=0)
    return bool(len(soup)) and bool((count == 1).all()) and np.array_equal(ways, back)


def _check(soup: NDArray[np.float32], metal: m3.Manifold, stroke: Drilling, length: float) -> None:
    """Rebuild the bush from its triangles: closed, off the part, off the drill on all its way."""
    try:
        rebuilt = solid(soup)
    except NotPossibleError as fault:
        raise NoBushError(f"its mesh is not closed: {fault}") from None
    if not closed(soup):
        raise NoBushError("its mesh is not closed: an edge has not two triangles")
    if (rebuilt ^ metal).volume() > LEAST_MM3:
        raise NoBushError("it would meet the part")
    entry, direction = np.array(stroke.entry_mm), np.array(stroke.direction)
    if (rebuilt ^ _drill(entry, direction, stroke, length)).volume() > LEAST_MM3:
        raise NoBushError("it would meet the drill")


def _drill(entry: Floats, direction: Floats, stroke: Drilling, length: float) -> m3.Manifold:
    """The drill's cylinder from its tip to well behind the bush."""
    helper = np.eye(3)[int(np.argmin(np.abs(direction)))]
    u = np.cross(direction, helper)
    u /= np.linalg.norm(u)
    v = np.cross(direction, u)
    turn = np.linspace(0.0, 2.0 * np.pi, SIDES, endpoint=False)
    ring = 0.5 * stroke.drill_diameter_mm * (np.cos(turn)[:, None] * u + np.sin(turn)[:, None] * v)
    back = entry - (length + stroke.drill_diameter_mm) * direction
    ends = [back + ring, entry + stroke.depth_mm * direction + ring]
    return m3.Manifold.hull_points(np.concatenate(ends))
