"""The openings of a part: every mouth where an internal void reaches the outside.

In: a closed triangle soup, mm. Out: `Opening`s with the network each belongs to. Rough places come
from `tube_ends`, exact closing surfaces from `ports`; with all of them closed, the void that is
left says which really part inside from outside, and which are connected inside.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from clearance.columns.cast import cast
from clearance.columns.grid import Grid
from clearance.columns.possible import PossibleVoid, possible_void
from clearance.columns.runs import unite
from clearance.columns.sure import surely_metal
from clearance.geometry.box_tree import Tree, build
from clearance.geometry.cutting import Floats, Singles
from clearance.geometry.planes import Plane
from clearance.geometry.rays import free
from clearance.geometry.sections import loops, polygons
from clearance.geometry.sight import winding_at
from clearance.mesh.shells import find_shells
from clearance.mesh.step import RoundWall
from clearance.passages.stoppers import pieces_at, seeds, stopper
from clearance.ports.holes import (
    LARGEST,
    SLACK,
    SMALLEST,
    Site,
    bore_of,
    centroid,
    equal_radius,
    hemisphere,
    select,
)
from clearance.ports.mouth import Mouth, closing, mouth_of
from clearance.survey.tube_ends import TubeEnd, tube_ends

MOST_PLACES = 1000
"""Rough places that are looked at; an open lattice has thousands."""
RAYS, LEAST_FREE = 100, 0.05
"""Rays into the half space in front of a rough place, and the share that has to get away."""
COARSEST_MM, FINEST_MM = 0.2, 0.05
"""Distance of the columns that tell the networks apart."""
MOST_COLUMNS = 1_000_000
SHALLOW, STEP = 0.5, 0.1
"""A recess whose floor lies less deep than this part of its clear diameter is no internal void;
sections that look for the floor, in inscribed radii."""
ALIKE = 0.05
"""An opening is the end of a round wall if its radius and centre differ by no more of a radius."""
MEANT = 1e-4
"""Least area of tubes at the floor of a recess, in shares of the recess's."""
STEADY = 0.9
"""A tube keeps this share of its area from section to section."""
SUNK = 1.5
"""Pitches that a closing surface is sunk, so that it cuts the wall all round also where the
outer face is curved."""


@dataclass(frozen=True, eq=False, slots=True)
class Opening:
    """A mouth: its number from 1, its closing surface, and the number of its network from 1.

    `exact_radius`: of the round wall that ends there, mm, where the part's file tells.
    """

    number: int
    mouth: Mouth
    network: int
    exact_radius: float | None = None

    @property
    def area_mm2(self) -> float:
        """Area of the closing surface."""
        return float(self.mouth.polygon.area)

    @property
    def centre_mm(self) -> Floats:
        """Centre of the closing surface, (3,) mm."""
        return self.mouth.centre

    @property
    def diameter_mm(self) -> float:
        """Of the circle of the closing surface's area."""
        return 2.0 * self.mouth.radius

    @property
    def clear_diameter_mm(self) -> float:
        """Of the largest circle in the closing surface."""
        return 2.0 * self.mouth.inscribed_radius

    @property
    def normal(self) -> Floats:
        """Unit vector outward."""
        return self.mouth.plane.normal


@dataclass(frozen=True, eq=False, slots=True)
class Openings:
    """The openings of a part, by network and place, and what the user should know of them."""

    openings: tuple[Opening, ...]
    notices: tuple[str, ...]

    def networks(self) -> list[list[Opening]]:
        """Openings of each network, in order."""
        numbers = sorted({one.network for one in self.openings})
        return [[one for one in self.openings if one.network == n] for n in numbers]


def find_openings(triangles: Singles, walls: Sequence[RoundWall] = ()) -> Openings:
    """Find the openings of a closed mesh.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Closed, facing outward, mm.
    walls : sequence of RoundWall
        Exact round walls of a part that is no mesh: openings at their ends get their radius.

    Returns
    -------
    Openings
    """
    places = tube_ends(triangles)
    notices = []
    if len(places) > MOST_PLACES:
        notices.append(
            f"{len(places)} places look like the end of a tube, as of an open lattice; the "
            f"{MOST_PLACES} most certain were looked at"
        )
    mouths, recesses = _mouths(triangles, places[:MOST_PLACES])
    closed = _Closed.of(triangles, mouths)
    kept = [one for one in mouths if closed.leads_out(one)]
    if len(kept) < len(mouths):  # mouths of one bore into another: no openings
        closed = _Closed.of(triangles, kept)
    leaking = [one for one in kept if closed.void.outside in closed.behind(one)]
    notices += [
        f"the void behind the opening of radius {one.radius:.3g} mm at {_place(one.centre)} also "
        "leads out where no opening was found; it is not listed"
        for one in leaking
    ]
    inside = [one for one in kept if one not in leaking]
    networks = _networks([closed.behind(one) for one in inside])
    if recesses:
        notices.append(
            "a recess shallower than half its width is no opening, but tubes that begin at its "
            "floor are"
        )
    numbered = _numbered(list(zip(inside, networks, strict=True)))
    exact = tuple(replace(one, exact_radius=_exact(one.mouth, walls)) for one in numbered)
    return Openings(exact, tuple(notices))


def _exact(mouth: Mouth, walls: Sequence[RoundWall]) -> float | None:
    """Radius of the round wall whose square end a mouth is."""
    off = ALIKE * mouth.radius
    for wall in walls:
        alike = abs(wall.radius - mouth.radius) <= off
        if alike and wall.ends_at(mouth.centre, mouth.plane.normal, off):
            return wall.radius
    return None


def _mouths(triangles: Singles, places: Iterable[TubeEnd]) -> tuple[list[Mouth], bool]:
    """Closing surfaces at rough places, each once, and whether there are shallow recesses."""
    found: list[Mouth] = []
    tree = build(triangles)
    ways = (False, True) if len(find_shells(triangles).volume_mm3) > 1 else (False,)
    recesses: list[Mouth] = []
    for place in places:
        if any(_same(mouth, place) for mouth in (*found, *recesses)):
            continue
        mouth = _refined(triangles, place, ways) if _sees_out(tree, place) else None
        if mouth is None or any(_same(one, _place_of(mouth)) for one in (*found, *recesses)):
            continue
        begins = _floor(triangles, mouth)
        at_floor = [_refined(triangles, one, ways) for one in begins or ()]
        # A countersunk tube narrows fast too, but what begins at its floor ends at this mouth.
        narrows = any(one is not None and _same(mouth, _place_of(one)) for one in at_floor)
        if begins is None or narrows:
            found.append(mouth)
        else:
            recesses.append(mouth)
            for one in at_floor:
                if one is not None and not any(_same(known, _place_of(one)) for known in found):
                    found.append(one)
    return found, bool(recesses)


def _sees_out(tree: Tree, place: TubeEnd) -> bool:
    """Whether enough of the half space in front of a rough place is free: no bend inside."""
    frame = Plane.through(np.zeros(3), place.normal)
    rays = hemisphere(RAYS) @ np.stack([frame.u, frame.v, frame.normal])
    start = place.centre + 0.3 * place.radius * place.normal
    return int(free(tree, np.tile(start, (RAYS, 1)), rays).sum()) >= LEAST_FREE * RAYS


def _refined(triangles: Singles, place: TubeEnd, ways: tuple[bool, ...]) -> Mouth | None:
    """The closing surface of the tube whose outline is known; None if it does not come out."""
    near = _near(triangles, place.centre, 4.0 * place.radius + 4.0)
    for noded in ways:  # where shells overlap, outlines have to be pieced together
        site = Site("mouth", triangles, near, place.centre, place.radius, noded)
        outline = site.smallest(Plane.through(place.centre, place.normal), SMALLEST)
        if outline is None:
            continue
        bore = bore_of(site, outline)
        end = closing(site, bore, place.normal)
        if end is None:
            continue
        away = float(np.linalg.norm(centroid(end.outline) - place.centre))
        if away > SLACK * site.move + 0.5 * place.radius:
            continue  # another end of the same void
        mouth = mouth_of(site, end)
        if mouth is not None and winding_at(triangles, mouth.deepest[None])[0] <= 0:
            return mouth
    return None


def _near(triangles: Singles, centre: Floats, reach: float) -> Singles:
    box = np.stack([centre - reach, centre + reach])[None].astype(np.float32)
    return triangles[select(triangles, box)[1]]


def _same(mouth: Mouth, place: TubeEnd) -> bool:
    """Whether a rough disc means a mouth that is known."""
    if float(mouth.plane.normal @ place.normal) <= 0.0:
        return False
    if not SMALLEST <= place.radius / mouth.radius <= LARGEST:
        return False
    if abs(float(mouth.plane.signed(place.centre[None])[0])) > 0.5 * mouth.radius + 0.5:
        return False
    x, y = mouth.plane.to_plane(place.centre[None])[0]
    return bool(shapely.distance(mouth.polygon, shapely.Point(x, y)) <= 0.2 * mouth.radius)


def _place_of(mouth: Mouth) -> TubeEnd:
    return TubeEnd(mouth.centre, mouth.radius, mouth.plane.normal)


# ---- recesses --------------------------------------------------------------------------------


def _floor(triangles: Singles, mouth: Mouth) -> list[TubeEnd] | None:
    """Tubes that begin at the floor of a shallow recess; None if the mouth is that of a tube.

    Goes inward, section by section, and keeps to the void that hangs together with the mouth's.
    Once that has narrowed, tubes are where it stays as wide as it is; a corner of a pocket that
    is cut off aslant narrows to nothing.
    """
    limit = 2.0 * SHALLOW * mouth.inscribed_radius
    region, area = mouth.polygon, float(mouth.polygon.area) / LARGEST**2
    holes, since = np.empty(0, object), np.inf
    for depth in np.arange(STEP * limit, 3.0 * limit, STEP * limit):
        if not holes.size and depth >= limit:
            return None
        plane = replace(mouth.plane, origin=mouth.plane.origin - depth * mouth.plane.normal)
        found = _void_within(triangles, plane, region)
        if found is None:
            break  # it opens into the outside of this section: no floor in sight
        region = shapely.union_all(found)
        if region.area < MEANT * mouth.polygon.area:
            return []
        if region.area < (STEADY if holes.size else 1.0) * area:
            holes, since, area, start = found, depth, float(region.area), plane
        elif holes.size and depth >= since + 0.5 * equal_radius(shapely.area(holes).max()):
            break
    if not holes.size:
        return None
    centres = start.to_space(shapely.get_coordinates(shapely.centroid(holes)))
    return [
        TubeEnd(centre, equal_radius(hole.area), mouth.plane.normal)
        for centre, hole in zip(centres, holes, strict=True)
    ]


def _void_within(triangles: Singles, plane: Plane, region: Polygon) -> NDArray[Any] | None:
    """Enclosed voids of a section that meet a region; None if the region lies in the open."""
    metal = polygons(loops(triangles, plane).closed)
    filled = shapely.union_all([shapely.Polygon(one.exterior) for one in metal.geoms])
    if shapely.difference(region, filled).area > 0.01 * region.area:
        return None
    rings = [ring for one in metal.geoms for ring in one.interiors]
    holes = np.array([shapely.Polygon(ring) for ring in rings], object)
    if holes.size == 0:
        return holes
    shared = shapely.area(shapely.intersection(holes, region))
    result: NDArray[Any] = shapely.difference(holes[shared > 1e-3 * shapely.area(holes)], metal)
    return result


# ---- inside and outside ----------------------------------------------------------------------


@dataclass(frozen=True, eq=False, slots=True)
class _Closed:
    """The void that is left once mouths are closed."""

    void: PossibleVoid
    pitch_mm: float

    @classmethod
    def of(cls, triangles: Singles, mouths: list[Mouth]) -> _Closed:
        corners = np.stack([triangles.min(axis=(0, 1)), triangles.max(axis=(0, 1))]).astype(float)
        narrowest = min((one.inscribed_radius for one in mouths), default=COARSEST_MM)
        plan = float(np.prod((corners[1] - corners[0])[:2]))
        pitch = min(max(0.4 * narrowest, FINEST_MM), COARSEST_MM)
        pitch = max(pitch, (plan / MOST_COLUMNS) ** 0.5)
        stoppers = [stopper(_sunk(one, pitch), pitch) for one in mouths]
        reach = [corners, *(s.reshape(-1, 3) for s in stoppers)]
        whole = np.concatenate(reach)
        grid = Grid.over(whole.min(axis=0), whole.max(axis=0), pitch, pad=3)
        sure = surely_metal(triangles, cast(triangles, grid))
        for group in _apart(stoppers):
            sure = unite(sure, surely_metal(group, cast(group, grid)))
        return cls(possible_void(sure, grid), grid.pitch_mm)

    def behind(self, mouth: Mouth) -> set[int]:
        """Pieces of void behind a mouth."""
        return pieces_at(self.void, _sunk(mouth, self.pitch_mm), self.pitch_mm)

    def leads_out(self, mouth: Mouth) -> bool:
        """Whether the outside lies in front of a mouth."""
        flipped = replace(mouth, plane=replace(mouth.plane, normal=-mouth.plane.normal))
        front = seeds(flipped, self.pitch_mm) + 4.0 * self.pitch_mm * mouth.plane.normal
        pieces = [self.void.pieces_at(point[None]) for point in front]
        met = [self.void.outside in found for found in pieces if found]
        return sum(met) > 0.5 * len(met)


def _sunk(mouth: Mouth, pitch_mm: float) -> Mouth:
    origin = mouth.plane.origin - SUNK * pitch_mm * mouth.plane.normal
    return replace(mouth, plane=replace(mouth.plane, origin=origin))


def _apart(stoppers: list[Singles]) -> list[Singles]:
    """Stoppers in groups that do not meet: a face of one within another would leave a gap."""
    groups: list[list[Singles]] = []
    for one in stoppers:
        low, high = one.min(axis=(0, 1)), one.max(axis=(0, 1))
        for group in groups:
            if all(
                (other.min(axis=(0, 1)) > high).any() or (other.max(axis=(0, 1)) < low).any()
                for other in group
            ):
                group.append(one)
                break
        else:
            groups.append([one])
    return [np.concatenate(group) for group in groups]


def _networks(behind: list[set[int]]) -> list[int]:
    """Number of the network of each mouth, by the pieces of void behind it."""
    groups: list[tuple[set[int], list[int]]] = []
    for k, pieces in enumerate(behind):
        joined, members = set(pieces), [k]
        apart = []
        for others, theirs in groups:
            if others & joined:
                joined |= others
                members += theirs
            else:
                apart.append((others, theirs))
        groups = [*apart, (joined, members)]
    number = [0] * len(behind)
    for n, (_, members) in enumerate(groups):
        for k in members:
            number[k] = n
    return number


def _numbered(pairs: list[tuple[Mouth, int]]) -> tuple[Opening, ...]:
    """Openings in the order of height, y and x; networks in the order of their first opening."""
    pairs = sorted(pairs, key=lambda pair: tuple(np.round(pair[0].centre[::-1], 2)))
    order = list(dict.fromkeys(network for _, network in pairs))
    pairs.sort(key=lambda pair: order.index(pair[1]))
    return tuple(
        Opening(k, mouth, 1 + order.index(network)) for k, (mouth, network) in enumerate(pairs, 1)
    )


def _place(point: Floats) -> str:
    return "({:.2f}, {:.2f}, {:.2f})".format(*(np.round(point, 2) + 0.0))
