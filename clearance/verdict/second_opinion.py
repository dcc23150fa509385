"""A second opinion on a verdict: the predicted metal once more, built as solids.

In: the nominal soup, the events, the mouths, and what was found of each passage. Out: whether
solid booleans (package manifold3d) agree. Nothing is shared with columns, sections, crossings
or routes: the events are read again from the words of the design (docs/method.md, "Second
opinion"), and void, connection and distances come from the solids alone.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d as m3
import numpy as np
import shapely

from clearance.ports.mouth import Mouth
from clearance.predicted.slabs import Event
from clearance.system.once import once
from clearance.verdict.solids import (
    APART_MM,
    LEAST_MM3,
    Floats,
    NotPossibleError,
    Soup,
    Void,
    drilled_hole,
    joined_by,
    level_slab,
    lie_apart,
    middle_of,
    nearest,
    place_within,
    solid,
    thinned,
    triangles_of,
    united,
)
from clearance.verdict.standing import outline, standing

LID_MM = 0.05
RIM_MM = 0.01
"""Thickness of the lids that close the mouths, and how far they reach into the wall."""
FACE_MM = 1e-3
"""A section just below or above a face of a sheet is taken so far from it."""


@dataclass(frozen=True, eq=False)
class Claim:
    """What is to be confirmed of one passage under one event.

    Attributes
    ----------
    inlet, outlet : Mouth
        Where they lie in the nominal part.
    blocked : bool
        The claim is that no way is left; otherwise that a ball of `low_mm` passes along `route`.
    route : (N, 3) ndarray, mm
    low_mm : float
    bores : sequence of (entry (3,), direction (3,), diameter, depth to full diameter), mm
        Drilled holes of a plan after which a way is claimed.
    cuts_wall : bool
        The plan says that the holes cut the passage's wall.
    """

    inlet: Mouth
    outlet: Mouth
    blocked: bool
    route: Floats
    low_mm: float
    bores: Sequence[tuple[Floats, Floats, float, float]] = ()
    cuts_wall: bool = False


@dataclass(frozen=True)
class Opinion:
    """What the solids say of a claim: the contradiction in words, empty if they agree."""

    contradiction: str = ""
    where_mm: tuple[float, float, float] | None = None


class Solids:
    """The nominal and the predicted part as solids.

    Parameters
    ----------
    part, melted : (F, 3, 3) ndarray of float32, mm
        `melted` begins with `part`; what follows are further closed bodies melted with it.
    overlapping : bool
        Whether shells of `melted` overlap.
    events : tuple of Event
    added : sequence of (F, 3, 3) ndarray
        Measured or drawn stray metal.
    mouths : sequence of Mouth
        All that are closed.
    smallest_way_mm : float
        A join that is narrower counts as none.
    planned : bool
        Whether plans will be asked about: their part without stray metal is then the first step.

    Raises
    ------
    NotPossibleError
        A soup is no clean solid.
    """

    def __init__(
        self,
        part: Soup,
        melted: Soup,
        overlapping: bool,
        events: tuple[Event, ...],
        added: Sequence[Soup],
        mouths: Sequence[Mouth],
        smallest_way_mm: float,
        planned: bool = False,
    ):
        self.events, self.planned = events, planned
        self.smallest_way_mm = smallest_way_mm
        self.nominal = solid(part, overlapping)
        further = melted[len(part) :]
        self._melted = self.nominal + solid(further, overlapping) if len(further) else self.nominal
        self.bare = standing(self.nominal, events)
        self._strays = [*self._sheets(), *(solid(soup, True) for soup in added)]
        self._bodies = [self.bare, *self._strays]
        self.mouths = tuple(mouths)
        self._lids = [self._prism(m, RIM_MM, 0.0, LID_MM) for m in mouths]

    # ---- the predicted part, from the words of the design --------------------------------------

    def _sheets(self) -> list[m3.Manifold]:
        """The stray sheets."""
        sheets: list[m3.Manifold] = []
        shift = np.zeros(2)
        for event in self.events:
            shift = shift + np.array(event.shift)
            sheets += self._slices(event, shift)
        return sheets

    def _slices(self, event: Event, moved: Floats) -> list[m3.Manifold]:
        """The wrong layers of an event, the melt below the first one included."""
        found = []
        for k, z in enumerate(event.slices):
            if event.plane or k in event.unknown_slices:
                x0, y0, _, x1, y1, _ = self.nominal.bounding_box()
                profile = m3.CrossSection.square((x1 - x0, y1 - y0)).translate((x0, y0))
                profile = profile.translate((float(moved[0]), float(moved[1])))
            else:
                profile = outline(self._melted, z, moved)
            low = event.bottom + k * event.layer
            deep = event.penetration if k == 0 else 0.0
            found.append(level_slab(profile, low - deep, low + event.layer))
        return found

    def moved(self, point: Floats) -> Floats:
        """Where a nominal place lies now; at a cut it goes with what lies above."""
        lift, shift = 0.0, np.zeros(2)
        for event in self.events:
            if point[2] + lift >= event.bottom:
                lift += event.rise
                shift = shift + np.array(event.shift)
        return np.array([*shift, lift])

    # ---- mouths and void -----------------------------------------------------------------------

    def _prism(self, mouth: Mouth, grow: float, low: float, high: float) -> m3.Manifold:
        """A prism on a mouth between two offsets along its outward normal, where it lies now."""
        rings = [mouth.polygon.exterior, *mouth.polygon.interiors]
        profile = m3.CrossSection(
            [np.asarray(ring.coords)[:-1] for ring in rings], m3.FillRule.EvenOdd
        ).offset(grow, m3.JoinType.Miter, 2.0)
        plane = mouth.plane
        origin = plane.origin + low * plane.normal + self.moved(mouth.centre)
        frame = np.column_stack([plane.u, plane.v, plane.normal, origin])
        return m3.Manifold.extrude(profile, high - low).transform(frame)

    @once
    def metal(self) -> m3.Manifold:
        """The predicted metal in one piece: part and stray sheets."""
        return united(self._bodies)

    @once
    def _surface(self) -> Floats:
        """Triangles of all bodies: what lies within another is metal as well."""
        return np.concatenate([triangles_of(body) for body in self._bodies])

    @once
    def _shut(self) -> m3.Manifold:
        """The part with its lids and without stray metal, which plans are held against."""
        return united([self.bare, *self._lids])

    @once
    def _void(self) -> Void:
        if self.planned:
            return Void([self._shut, *self._strays], [])
        return Void(self._bodies, self._lids)

    @once
    def _bare_void(self) -> Void:
        return Void([self._shut], [])

    @once
    def _places(self) -> dict[str, list[Floats]]:
        return self._places_behind(self._void, self.mouths)

    @once
    def _behind(self) -> dict[str, set[int]]:
        return {name: set(map(self._void.piece_at, at)) for name, at in self._places.items()}

    @once
    def _behind_bare(self) -> dict[str, set[int]]:
        # Where no stray metal is near a mouth, the same places are void without it.
        met = [
            mouth
            for mouth in self.mouths
            if not all(lie_apart(self._probe(mouth), stray) for stray in self._strays)
        ]
        places = {**self._places, **(self._places_behind(self._bare_void, met) if met else {})}
        return {name: set(map(self._bare_void.piece_at, at)) for name, at in places.items()}

    def behind(self, void: Void, mouths: Sequence[Mouth]) -> dict[str, set[int]]:
        """Numbers of the pieces just inside each mouth: several where a sheet divides it."""
        places = self._places_behind(void, mouths)
        return {name: set(map(void.piece_at, at)) for name, at in places.items()}

    def _probe(self, mouth: Mouth) -> m3.Manifold:
        """A plate just inside a mouth.

        No deeper: a sheet may lie just behind the mouth. Into the lid, or faces would coincide.
        """
        grow = -min(RIM_MM, 0.1 * mouth.inscribed_radius)
        return self._prism(mouth, grow, -APART_MM, 0.5 * LID_MM)

    def _places_behind(self, void: Void, mouths: Sequence[Mouth]) -> dict[str, list[Floats]]:
        """A place in each part of the void just inside each mouth."""
        probes = {mouth.name: self._probe(mouth) for mouth in mouths}
        found: dict[str, list[Floats]] = {name: [] for name in probes}
        # All mouths at once: looking at the whole part is what costs.
        for part in (united(list(probes.values())) - void.closed).decompose():
            if part.volume() <= LEAST_MM3:
                continue
            place = place_within(part)
            near = [name for name, probe in probes.items() if not lie_apart(probe, part)]
            for name in near:
                if len(near) == 1 or (probes[name] ^ part).volume() > LEAST_MM3:
                    found[name].append(place)
        return found

    # ---- the questions -------------------------------------------------------------------------

    def opinion(self, claim: Claim) -> Opinion:
        """Whether the solids contradict a claim.

        Raises
        ------
        NotPossibleError
            The void leaves the part elsewhere, so that solids cannot tell inside from outside.
        """
        if claim.bores:
            return self._of_plan(claim)
        if claim.blocked:
            return self._of_blocked(claim)
        return self._of_way(claim)

    def _of_blocked(self, claim: Claim) -> Opinion:
        if not self._common(claim):
            return Opinion()
        hairs_shut = Void([*self._bodies, *self._hairs()], self._lids)
        if not self._common(claim, self.behind(hairs_shut, (claim.inlet, claim.outlet))):
            return Opinion()
        return Opinion("solids join the openings of a passage that is said to be blocked")

    def _common(self, claim: Claim, behind: dict[str, set[int]] | None = None) -> set[int]:
        """Pieces of void that both mouths lie in."""
        behind = behind or self._behind
        ends = [behind[mouth.name] for mouth in (claim.inlet, claim.outlet)]
        if 0 in ends[0] | ends[1]:
            raise NotPossibleError(
                "the void reaches the outside through an opening that is not named"
            )
        return ends[0] & ends[1]

    def _hairs(self) -> list[m3.Manifold]:
        """What fills openings of the sheets that are narrower than the smallest way.

        In every layer of a sheet, and at each of its faces, where only what is open on both sides
        is a way.
        """
        found = []
        for event in self.events:
            heights = [event.bottom + k * event.layer for k in range(len(event.slices) + 1)]
            if event.slices and event.penetration > 0.0:
                heights.insert(0, event.bottom - event.penetration)
            for a, b in itertools.pairwise(heights):
                found.append(level_slab(self._narrow(self._open_at(0.5 * (a + b))), a, b))
            for z in heights:
                both = self._open_at(z - FACE_MM) ^ self._open_at(z + FACE_MM)
                found.append(level_slab(self._narrow(both), z - FACE_MM, z + FACE_MM))
        return found

    def _open_at(self, z: float) -> m3.CrossSection:
        low, high = np.array(self.metal.bounding_box()).reshape(2, 3)
        whole = m3.CrossSection.square(tuple(high[:2] - low[:2])).translate(tuple(low[:2]))
        return whole - self.metal.slice(z)

    def _narrow(self, opening: m3.CrossSection) -> m3.CrossSection:
        half = 0.5 * self.smallest_way_mm
        wide = opening.offset(-half, m3.JoinType.Round).offset(half, m3.JoinType.Round)
        # Let into the walls, so that no crack is left along them.
        return (opening - wide).offset(0.1 * half, m3.JoinType.Round)

    def _of_way(self, claim: Claim) -> Opinion:
        if not self._common(claim):
            return Opinion("solids part the openings of a passage that is said to have a way")
        left = self._left_through(claim)
        if left:
            return Opinion(f"the way that is said to be proven leaves through {left}")
        near = nearest(thinned(claim.route), self._surface, 0.5 * claim.low_mm - 2.0 * APART_MM)
        if near is not None:
            return Opinion("metal stands in the way that is said to be proven", near)
        return Opinion()

    def _left_through(self, claim: Claim) -> str:
        """Name of a mouth that the way passes elsewhere than at its ends; empty if there is none.

        Passages may share a mouth: it has a lid for each.
        """
        route = claim.route
        for mouth in self.mouths:
            off = (route - mouth.plane.origin - self.moved(mouth.centre)) @ mouth.plane.normal
            through = np.flatnonzero((off[:-1] < 0.0) != (off[1:] < 0.0))
            share = off[through] / (off[through] - off[through + 1])
            met = route[through] + share[:, None] * (route[through + 1] - route[through])
            xy = mouth.plane.to_plane(met - self.moved(mouth.centre))
            inside = shapely.contains_xy(mouth.polygon, xy[:, 0], xy[:, 1])
            ends = np.linalg.norm(met[:, None] - route[[0, -1]], axis=2).min(1) <= LID_MM
            if (inside & ~ends).any():
                return mouth.name
        return ""

    def _of_plan(self, claim: Claim) -> Opinion:
        """Whether drilled holes touch what they should not, and whether a way is left then."""
        holes = united([drilled_hole(*bore) for bore in claim.bores])
        own = self._behind_bare[claim.inlet.name] | self._behind_bare[claim.outlet.name]
        for n, piece in enumerate(self._bare_void.pieces):
            # The room outside is met where a drill enters.
            if not n or n in own or lie_apart(piece, holes):
                continue
            opened = piece ^ holes
            if opened.volume() > LEAST_MM3:
                return Opinion("a drilled hole opens another void", middle_of(opened))
        cut = holes ^ self.bare
        if not claim.cuts_wall and cut.volume() > LEAST_MM3:
            return Opinion("a drilled hole that is said to cut no wall cuts it", middle_of(cut))
        joined = joined_by(self._void.pieces, holes)
        ends = [self._behind[mouth.name] for mouth in (claim.inlet, claim.outlet)]
        if not {joined[n] for n in ends[0]} & {joined[n] for n in ends[1]}:
            return Opinion("solids part the openings also after drilling")
        return Opinion()
