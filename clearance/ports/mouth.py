"""From a roughly given disc to the surface that closes a mouth.

In: the mesh and, for each port, about where it is and how wide. Out: the mesh's
own section there, as far outward as it is still a closed outline round the
bore. The way is: find the bore (an outline of void round the given centre), take
its axis from the walls that the outline runs over, then march outward with
several planes and keep the one that leaves no wedge of the bore outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from clearance.axes import Direction, to_mesh, to_platform
from clearance.errors import PortError
from clearance.geometry.cutting import Floats, Ints, Singles, cut
from clearance.geometry.planes import Plane
from clearance.geometry.sections import polygons, trace
from clearance.geometry.sight import free_rays, sights, winding_at
from clearance.ports.holes import (
    LARGEST,
    LEAST_MOVE,
    SLACK,
    SMALLEST,
    STEEPEST,
    Bore,
    Outline,
    Site,
    bore_of,
    centroid,
    equal_radius,
    find_bore,
    hemisphere,
    measure,
    select,
    squared,
    straight_part,
    unit,
)

if TYPE_CHECKING:
    from shapely import Polygon

SAGITTA = 0.25  # times the radius: what a closing plane may lie below a curved face
PRECISION = 1e-3  # mm, of the outermost closed plane
STEP_BACK = 2e-3  # mm, so that the closing plane never lies in a face
SHELTERED = 0.04  # least share of rays that must get away from a mouth
AROUND = 0.2  # times the radius: how far around a rim the outer face is looked at
STEEPEST_FALL = 0.7  # least cosine to the closing surface: what is steeper is another face


class Request(NamedTuple):
    """A port as the case gives it: name, centre (3,) and radius in mm, and perhaps a normal."""

    name: str
    centre: ArrayLike
    radius: float
    normal: ArrayLike | None = None


@dataclass(frozen=True, eq=False, slots=True)
class Mouth:
    """The closing surface of a port.

    Attributes
    ----------
    name : str
    plane : Plane
        Normal outward.
    polygon : shapely.Polygon
        The void in that plane, in its coordinates (mm); islands of metal are holes.
    centre : ndarray (3,)
        Centroid of the polygon, in space.
    radius : float
        Radius of the circle of equal area, mm.
    deepest : ndarray (3,)
        Centre of the largest inscribed circle, in space.
    inscribed_radius : float
        Its radius, mm.
    axis : ndarray (3,)
        Along the bore, outward, of unit length: what its walls run along behind a chamfer. Where
        the bore leans against its mouth it is not the plane's normal.
    entry : ndarray (3,)
        Where that axis passes the closing surface, in space.
    notices : tuple of str
    fall : float
        How steeply the outer face around the rim falls away from the closing surface, mm inward for
        each mm aside; 0 where it lies in it or rises.
    """

    name: str
    plane: Plane
    polygon: Polygon
    centre: Floats
    radius: float
    deepest: Floats
    inscribed_radius: float
    axis: Floats
    entry: Floats
    notices: tuple[str, ...] = ()
    fall: float = 0.0

    @property
    def rim(self) -> Floats:
        """The polygon's outline in space, closed, (N, 3) mm."""
        return self.plane.to_space(np.array(self.polygon.exterior.coords))


class End(NamedTuple):
    """The last closed outline in one direction of planes; height of its centroid on the axis."""

    outline: Outline
    height: float
    recess: float  # radius of a wider outline that follows at once, 0.0 if none does
    axis: Floats  # of the bore behind a chamfer, outward
    on_axis: Floats  # a point on it


def _march(
    site: Site, start: Floats, axis: Floats, direction: Floats, reach: float, stride: float
) -> End | None:
    """Go outward along `axis` and return the last closed outline, or None if none is the last.

    Parameters
    ----------
    start : ndarray (3,)
        Where the axis is known to run within the bore.
    direction : ndarray (3,)
        Normal of the planes.
    reach : float
        How far from `start` to look for the end, mm.
    stride : float
        Step, mm.
    """
    framed = Plane.through(start, direction)

    def closed(t: float) -> Outline | None:
        return site.outline_in(framed.at(start + t * axis), axis)

    steps = [0.0, 0.05, *np.arange(-0.15, -3.0, -0.3)]  # a plane that leans begins further in
    at = next((k * site.radius for k in steps if closed(k * site.radius) is not None), None)
    if at is None:
        return None
    beyond = at + stride
    while (found := closed(beyond)) is not None:
        at, beyond = beyond, beyond + stride
        if at > reach:
            return None
    while beyond - at > PRECISION:
        middle = 0.5 * (at + beyond)
        if closed(middle) is None:
            beyond = middle
        else:
            at = middle
    found = closed(at - STEP_BACK / float(axis @ direction))
    if found is None:
        return None
    wider = site.smallest(framed.at(start + beyond * axis), LARGEST)
    height = float(centroid(found) @ axis)
    return End(found, height, 0.0 if wider is None else equal_radius(wider.area), axis, start)


def _openness(site: Site, end: End, axis: Floats) -> float:
    """Share of rays that get away from an end, over the half space in front of it."""
    frame = Plane.through(np.zeros(3), axis)
    rays = hemisphere(24) @ np.stack([frame.u, frame.v, frame.normal])
    start = centroid(end.outline) + 0.3 * site.radius * axis
    free = free_rays(site.triangles, start, rays, 2.0 * site.radius + 1.0)
    return free / len(rays)


def _outward(site: Site, bore: Bore, start: Floats, normal: Floats | None) -> Floats | None:
    """Return the bore's axis, turned outward: to where its outline ends and leads to the open.

    A normal may be given either way round: where both ends are in reach, it says which is meant.
    """
    found: list[tuple[float, float, Floats, Floats]] = []
    for axis in (bore.axis, -bore.axis):
        plane = bore.outline.plane.normal
        plane = plane if float(plane @ axis) > 0.0 else -plane
        centre = float((site.centre - start) @ axis)
        reach = centre + SLACK * site.move + site.radius
        end = _march(site, start, axis, plane, reach, max(0.5, 0.25 * site.radius))
        if end is not None:
            away = abs(end.height - float(site.centre @ axis))
            front = centroid(end.outline) + 0.3 * site.radius * axis
            found.append((_openness(site, end, axis), away, axis, front))
    found = [one for one in found if one[0] >= SHELTERED]
    if normal is not None:
        found = [one for one in found if float(one[2] @ normal) > 0.0] or found
    if not found:
        return None
    clearest = max(one[0] for one in found)
    found = [one for one in found if one[0] > 0.3 * clearest]
    if len(found) > 1:
        # Both ends look open: the one within a chamber does not see unbounded space, or not in
        # as many directions. What it sees back through the bore does not count.
        seen = sights(site.whole, np.array([one[3] for one in found]))
        ways = np.stack([-np.eye(3), np.eye(3)], axis=1).reshape(6, 3)
        count = [int(np.sum(seen[k] & (ways @ one[2] > -0.3))) for k, one in enumerate(found)]
        found = [
            one for one, ways_out in zip(found, count, strict=True) if 2 * ways_out >= max(count)
        ]
    return min(found, key=lambda one: one[1])[2]


def _directions(site: Site, axis: Floats, wanted: list[Floats]) -> list[Floats]:
    """Return the normals of planes to close the mouth with."""
    kept: list[Floats] = []
    for given in (axis, *wanted, *site.faces):
        direction = given if float(given @ axis) > 0.0 else -given
        if float(direction @ axis) < STEEPEST or len(kept) == 8:
            continue
        if all(float(np.linalg.norm(direction - other)) > 1e-5 for other in kept):
            kept.append(direction)
    return kept


def closing(site: Site, bore: Bore, normal: Floats | None) -> End | None:
    """Return the outermost closed outline of a bore, or None if the bore does not end here."""
    seed = bore.outline.plane.normal
    site.bore = bore.radius
    bore = squared(site, bore)
    site.bore = bore.radius
    start = centroid(bore.outline)
    if site.outline(start, bore.outline.plane.normal, bore.axis) is None:
        start = bore.outline.plane.origin  # a bent outline: its centroid lies outside it
    axis = _outward(site, bore, start, normal)
    if axis is None:
        return None
    reach = float((site.centre - start) @ axis) + SLACK * site.move + site.radius
    stride = max(0.4, site.radius / 8.0)
    ends = [
        end
        for direction in _directions(site, axis, [seed] if normal is None else [seed, normal])
        if (end := _march(site, start, axis, direction, reach, stride)) is not None
    ]
    best = max(ends, key=lambda end: end.height, default=None)
    if best is None:
        return None
    best = best if _flat(site, best, axis) else _tilted(site, best, axis)
    axis, on_axis = straight_part(site, start, axis)
    return best._replace(axis=axis, on_axis=on_axis)


def _flat(site: Site, end: End, axis: Floats) -> bool:
    """Whether nothing of the wall stands out over a closing plane: then none closes more."""
    plane, ring = end.outline.plane, end.outline.ring
    normal = plane.normal if float(plane.normal @ axis) > 0.0 else -plane.normal
    above = Plane(plane.origin + 0.02 * site.radius * normal, plane.normal, plane.u, plane.v)
    points = cut(site.triangles, above).points
    margin = 0.1 * site.radius
    near = ((points > ring.min(axis=0) - margin) & (points < ring.max(axis=0) + margin)).all((1, 2))
    step = points[near, 1] - points[near, 0]
    around = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1).sum()
    return bool(np.linalg.norm(step, axis=1).sum() < 0.15 * around)


def _tilted(site: Site, best: End, axis: Floats) -> End:
    """Return the end that a tilted plane reaches, if it closes more: for curved outer faces."""
    angle = 0.3
    while angle > 0.03:
        plane = best.outline.plane
        normal = plane.normal if float(plane.normal @ axis) > 0.0 else -plane.normal
        start = centroid(best.outline) - 0.2 * site.radius * axis
        reach = site.move + 2.0 * site.radius
        ends = []
        for lean in (plane.u, -plane.u, plane.v, -plane.v):
            direction = unit(normal + angle * lean)
            if float(direction @ axis) > STEEPEST:
                ends.append(_march(site, start, axis, direction, reach, 0.25 * site.radius))
        higher = max((e for e in ends if e is not None), key=lambda e: e.height, default=best)
        if higher.height > best.height + 5.0 * PRECISION:
            best = higher
        else:
            angle *= 0.5
    return best


def _polygon(site: Site, outline: Outline) -> Polygon | None:
    """Return the void within an outline without the metal that stands in it.

    None if an outline of another shell crosses it: then the void must be found with noding.
    """
    import shapely

    outer = shapely.make_valid(shapely.Polygon(outline.ring))
    pieces = cut(site.triangles, outline.plane)
    order, first, opened = trace(pieces.keys)
    low, high = outline.ring.min(axis=0), outline.ring.max(axis=0)
    inside, crossing = [], []
    for k in range(first.size - 1):
        ring = pieces.points[order[first[k] : first[k + 1]], 0]
        if (ring.max(axis=0) < low).any() or (ring.min(axis=0) > high).any():
            continue
        within = (ring.min(axis=0) > low).all() and (ring.max(axis=0) < high).all()
        if k >= opened and within and len(ring) >= 3:
            inside.append(ring)
        else:
            crossing.append(pieces.points[order[first[k] : first[k + 1]]])
    if crossing and not site.noded:
        # The outline itself is among them: only what lies clearly within it counts.
        core = outer.buffer(-1e-3 * site.radius)
        if shapely.intersects(core, shapely.linestrings(np.concatenate(crossing))).any():
            return None
    void = outer.difference(polygons(inside)) if inside else outer
    parts = [part for part in shapely.get_parts(void) if part.geom_type == "Polygon"]
    return max(parts, key=lambda part: float(part.area), default=None)


def mouth_of(site: Site, end: End) -> Mouth | None:
    """The mouth that an end of a bore is; None if another shell's outline crosses its own."""
    import shapely

    polygon = _polygon(site, end.outline)
    if polygon is None:
        return None
    plane = end.outline.plane
    radius = equal_radius(polygon.area)
    circle = shapely.maximum_inscribed_circle(polygon, tolerance=1e-3 * radius)
    deepest, edge = shapely.get_coordinates(circle)
    notices = []
    if end.recess > 0.0:
        notices.append(
            f"{site.name}: the opening leads into a wider recess of radius {end.recess:.3g} mm; "
            "it is closed at the bottom of the recess"
        )
    return Mouth(
        name=site.name,
        plane=plane,
        polygon=polygon,
        centre=plane.to_space(shapely.get_coordinates(polygon.centroid))[0],
        radius=radius,
        deepest=plane.to_space(deepest[None])[0],
        inscribed_radius=float(np.linalg.norm(edge - deepest)),
        axis=end.axis,
        entry=_pierced(plane, end),
        notices=tuple(notices),
        fall=_fall(site.triangles, plane, polygon, AROUND * radius),
    )


def _pierced(plane: Plane, end: End) -> Floats:
    """Where the bore's axis passes its closing plane."""
    ahead = float((plane.origin - end.on_axis) @ plane.normal) / float(end.axis @ plane.normal)
    return end.on_axis + ahead * end.axis


def _fall(triangles: Singles, plane: Plane, polygon: Polygon, around: float) -> float:
    """Steepest tangent, to the closing surface, of the outer faces within `around` of the rim."""
    import shapely

    offset = triangles.astype(np.float64) - plane.origin
    u, v, height = (offset @ axis for axis in (plane.u, plane.v, plane.normal))
    x0, y0, x1, y1 = polygon.bounds
    near = (height.min(1) < around) & (height.max(1) > -around)
    near &= (u.min(1) < x1 + around) & (u.max(1) > x0 - around)
    near &= (v.min(1) < y1 + around) & (v.max(1) > y0 - around)
    area = np.cross(offset[:, 1] - offset[:, 0], offset[:, 2] - offset[:, 0])
    along, length = area @ plane.normal, np.linalg.norm(area, axis=1)
    which = np.flatnonzero(near & (along > STEEPEST_FALL * length))
    faces = shapely.polygons(np.stack([u[which], v[which]], axis=2))
    beside = shapely.distance(faces, polygon.exterior) < around
    beside &= shapely.area(shapely.difference(faces, polygon)) > 1e-9
    cosines = along[which][beside] / length[which][beside]
    return float(np.sqrt(1.0 / cosines.min(initial=1.0) ** 2 - 1.0))


def _candidates(site: Site) -> list[tuple[Floats, float]]:
    """Centre and radius of the openings nearest to the given centre, of any size."""
    found: list[tuple[float, Floats, Bore]] = []
    for direction in (*np.eye(3), *site.faces[:6]):
        for share in (0.0137, -0.5, 0.5, -SLACK, SLACK):
            plane = Plane.through(site.centre + share * site.move * direction, direction)
            pieces = cut(site.triangles, plane)
            order, first, opened = trace(pieces.keys)
            areas, _ = measure(pieces.points, order, first)
            areas[:opened] = 0.0
            for k in np.flatnonzero(areas < -np.pi * (0.2 * site.radius) ** 2):
                members = order[first[k] : first[k + 1]]
                outline = Outline(
                    plane, pieces.points[members, 0], -float(areas[k]), pieces.triangle[members]
                )
                centre = centroid(outline)
                away = float(np.linalg.norm(centre - site.centre))
                found.append((away, centre, bore_of(site, outline)))
    kept: list[tuple[Floats, Bore]] = []
    for _, centre, bore in sorted(found, key=lambda one: one[0]):
        # The same bore further in is not another opening.
        apart = [float(np.linalg.norm(np.cross(centre - at, one.axis))) for at, one in kept]
        if len(kept) < 5 and all(a > 0.5 * bore.radius for a in apart):
            kept.append((centre, bore))
    return [(centre, bore.radius) for centre, bore in kept]


def _place(site: Site, point: Floats) -> str:
    """A place as the case file would give it."""
    return "({:g}, {:g}, {:g})".format(*(np.round(to_mesh(point, site.turn), 3) + 0.0))


def _fault(site: Site, bore: Bore | None) -> str:
    """Say why a port was not found."""
    asked = f"{site.name}: no opening of radius {site.radius:g} mm at {_place(site, site.centre)}"
    around = np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)]) * 0.05 * site.radius
    metal = bool((winding_at(site.whole, site.centre + around) >= 1).any())
    if len(site.triangles) == 0:
        there = "in solid metal, far from any surface" if metal else "far away from the part"
        return f"{asked}: the centre is {there}"
    listed = "; ".join(
        f"radius {radius:.3g} mm at {_place(site, c)}" for c, radius in _candidates(site)
    )
    near = f"; openings near: {listed}" if listed else "; there is no opening near it"
    if bore is not None:
        return (
            f"{asked}: a bore of radius {bore.radius:.3g} mm is there, but it does not come out "
            f"of the part within {site.move:g} mm of that centre{near}"
        )
    if metal and not listed:
        return f"{asked}: the centre lies in solid metal{near}"
    return (
        f"{asked}: no closed outline of {SMALLEST:g} to {LARGEST:g} times that radius runs "
        f"round the centre{near}"
    )


def _find(whole: Singles, close: Ints, near: Ints, one: Request, turn: Direction | None) -> Mouth:
    """Quick first: close triangles only, then all near ones, then shells that overlap."""
    centre, radius = np.asarray(one.centre, dtype=np.float64), float(one.radius)
    normal = None if one.normal is None else unit(one.normal)
    last: Bore | None = None
    for chosen, noded in ((close, False), (near, False), (near, True)):
        site = Site(one.name, whole, whole[chosen], centre, radius, noded, turn)
        bore = find_bore(site, normal)
        last = bore or last
        end = None if bore is None else closing(site, bore, normal)
        if end is None:
            continue
        away = abs(float((centroid(end.outline) - centre) @ end.outline.plane.normal))
        if away > SLACK * site.move + SAGITTA * radius:
            continue
        mouth = mouth_of(site, end)
        if mouth is None or mouth.radius < SMALLEST * radius:
            continue
        if winding_at(whole, mouth.deepest[None])[0] <= 0:
            return mouth
    raise PortError(_fault(site, last))


def find_mouths(
    triangles: Singles, requests: Sequence[Request], build_direction: Direction | None = None
) -> list[Mouth]:
    """Return the closing surface of each port.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Closed triangle soup, mm.
    requests : sequence of Request
        The ports asked for, in the mesh's frame; a centre may be off its mouth by 2 mm or half
        the radius.
    build_direction : (3,), optional
        Which way of the mesh's frame is +Z of the soup, where the soup is turned.

    Returns
    -------
    list of Mouth
        In the order of the requests.

    Raises
    ------
    PortError
        If a port is not there: what was found instead, and the openings near it.
    """
    if not requests:
        return []
    requests = [_turned(one, build_direction) for one in requests]
    centres = np.array([one.centre for one in requests], dtype=np.float64)
    radii = np.array([one.radius for one in requests], dtype=np.float64)
    move = np.maximum(LEAST_MOVE, 0.5 * radii)
    reach = np.concatenate([2.5 * radii + move + 1.0, 4.0 * radii + 4.0])[:, None]
    middle = np.concatenate([centres, centres])
    boxes = np.stack([middle - reach, middle + reach], axis=1).astype(np.float32)
    which, found = select(triangles, boxes)
    chosen = [found[which == k] for k in range(len(boxes))]
    count = len(requests)
    return [
        _find(triangles, chosen[k], chosen[count + k], one, build_direction)
        for k, one in enumerate(requests)
    ]


def _turned(one: Request, turn: Direction | None) -> Request:
    normal = None if one.normal is None else to_platform(one.normal, turn)
    return one._replace(centre=to_platform(one.centre, turn), normal=normal)
