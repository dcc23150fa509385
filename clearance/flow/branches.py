"""Ways beside one another: where they part, where they meet, and what of each is a tube of its own.

In: a predicted part and one way through it. Out: blocks of the way's stretches, each with the legs
that lie beside one another there. Which sections part inlet from outlet is read off the columns;
that each leg is open is proven by exact distances.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.columns import ways
from clearance.columns.cast import cast
from clearance.columns.runs import Runs, unite
from clearance.columns.voids import label, run_at, runs_at_points
from clearance.flow.course import MOST_PIECES, SPACING, TILT, Course, Floats, Line, Section
from clearance.geometry import box_tree, distance, polylines, routes, segments
from clearance.geometry.soup import extruded
from clearance.passages.crossings import Crossing
from clearance.passages.search import Search
from clearance.passages.stoppers import seeds
from clearance.passages.way import enters, moved_mouth
from clearance.passages.window_cells import Cells
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Predicted
from clearance.system.once import once

MOST_LEGS = 24
"""Legs sought in one block."""
MOST_CELLS = 20_000_000
"""Cells that further ways are sought in."""
CLOSER, MOST_IN_LEG = 0.5, 24
"""Stretches of a leg are about so many diameters long, and no more than that."""
ALIKE = 1.1
"""Sections that differ by less count as equal: then the one in the middle of a leg is shut."""
TRIES = 4
"""Routes tried before a further way is left unproven."""
MARGIN_MM = 1e-3
"""How far beside a sheet sections may be taken."""
BESIDE = 1.5
"""So many diameters along the way from a sheet there is room as in the bore."""
NEAR = 4.0
"""So many diameters along the way from where it crosses a sheet, it may come near it."""
FLAT = 3.0
"""Level section over that square to the way, or a circle in it: a sheet lies along the passage."""
WHOLE = 1.0 - 1e-6
"""Open fraction from which what is lacking is rounding."""


@dataclass(frozen=True, eq=False)
class Leg:
    """One of several ways beside one another, from where they part to where they meet.

    `first`, `last`: stretches between whose narrowest sections it is a tube, so that the same flow
    passes both; that of the whole block passes the sections of all of its legs, and nothing else.
    """

    course: Course
    first: int
    last: int


@dataclass(frozen=True, eq=False)
class Block:
    """Stretches `first` to `last` of a way, where others lie beside it: its legs, or none known."""

    first: int
    last: int
    legs: tuple[Leg, ...] = ()


@dataclass(eq=False)
class Void:
    """The void of one predicted part between two mouths.

    Attributes
    ----------
    inlet, outlet : Mouth
        In the nominal part.
    crossings : tuple of Crossing
        Those of this part.
    """

    predicted: Predicted
    search: Search
    inlet: Mouth
    outlet: Mouth
    crossings: tuple[Crossing, ...] = ()
    _lids: dict[Section, Runs] = field(default_factory=dict)

    # ---- sections ------------------------------------------------------------------------------

    def course(
        self, route: Floats, least_mm: float, spacing: float = SPACING, most: int = MOST_PIECES
    ) -> Course:
        """Sections and bends along a route; `least_mm`: of the diameter that spaces them."""
        least_mm = max(least_mm, 2.0 * self.predicted.grid.pitch_mm)
        line = Line.along(route, self.search.tree, least_mm)
        met = [crossing for crossing, _ in self.met(line)]
        return Course.along(
            self.predicted,
            line,
            spacing=spacing,
            most=most,
            rooms=self._rooms(line),
            level=self._level(line, met),
        )

    def met(self, line: Line) -> list[tuple[Crossing, int]]:
        """Crossings that a way leads across, and where: they count by themselves.

        Of others the sections tell: where a sheet lies along the way, or beside a bend.
        """
        found, near = [], math.ceil(BESIDE * line.diameter_mm / line.step_mm)
        for crossing in self.crossings:
            place = enters(line.places, crossing)
            if place is None or crossing.open_area_mm2 >= WHOLE * crossing.nominal_area_mm2:
                continue
            n = int(np.argmin(np.linalg.norm(line.places - place, axis=1)))
            around = line.places[max(n - near, 0) : n + near + 1]
            room = float(distance.distances(self._bare, around).max())
            level = crossing.nominal_area_mm2 <= FLAT * math.pi * room**2
            if level and FLAT * abs(float(line.directions[n, 2])) >= 1.0:
                found.append((crossing, n))
        return found

    def _rooms(self, line: Line) -> list[Floats]:
        """Room to all metal, and to the bare walls beside sheets that count by themselves.

        Infinite where a section would cut such a sheet: none is taken there.
        """
        met = self.met(line)
        level = self._level(line, [crossing for crossing, _ in met])
        within = [np.where(level, line.room_mm, np.inf)] if level.any() else []
        if not met:
            return [line.room_mm, *within]
        z, off = line.places[:, 2], np.zeros(len(line.places), np.bool_)
        bare = distance.distances(self._bare, line.places)
        flat = np.sqrt(np.maximum(1.0 - line.directions[:, 2] ** 2, 0.0))
        beside = math.ceil(BESIDE * line.diameter_mm / line.step_mm)
        for crossing, n in met:
            wide = 2.0 * float(bare[max(n - beside, 0) : n + beside + 1].max())
            reach = wide * (flat + 1.5 * TILT) + MARGIN_MM
            near = np.abs(np.arange(len(z)) - n) * line.step_mm < NEAR * line.diameter_mm
            off |= near & (z > crossing.low - reach) & (z < crossing.high + reach)
        return [np.where(off, np.inf, room) for room in (line.room_mm, bare)] + within

    def _level(self, line: Line, met: Sequence[Crossing]) -> NDArray[np.bool_]:
        """Places within the sheet of a crossing that does not count by itself.

        A section that slants to a thin sheet misses how narrow it is: there a level one tells too.
        """
        z, level = line.places[:, 2], np.zeros(len(line.places), np.bool_)
        for crossing in self.crossings:
            if crossing not in met and crossing.open_area_mm2 < crossing.nominal_area_mm2:
                reach = 0.5 * line.step_mm
                within = (z > crossing.low - reach) & (z < crossing.high + reach)
                if within.any():
                    around = crossing.footprint.buffer(line.step_mm)
                    within &= shapely.contains_xy(around, line.places[:, 0], line.places[:, 1])
                level |= within
        return level

    @once
    def _bare(self) -> box_tree.Tree:
        return box_tree.build(self.predicted.bare_surface(self.predicted.window.box))

    # ---- what sections part --------------------------------------------------------------------

    def parts(self, sections: Sequence[Section], place: Floats | None = None) -> bool:
        """Whether sections, shut, part the inlet from the outlet; or a place from both."""
        if any(section.outline is None for section in sections):
            return False
        filled = self.predicted.closed
        for section in sections:
            filled = unite(filled, self._lid(section))
        piece = label(filled, self.predicted.grid)
        inlet, outlet = (self._behind(filled, piece, mouth) for mouth in (self.inlet, self.outlet))
        if place is None:
            return bool(inlet and outlet) and not inlet & outlet
        run = run_at(filled, self.predicted.grid, place)
        return run is not None and int(piece[run]) not in {0} | inlet | outlet

    def _behind(self, filled: Runs, piece: NDArray[np.int32], mouth: Mouth) -> set[int]:
        """All pieces of void just inside a mouth: a sheet that runs out of it divides it."""
        places = seeds(moved_mouth(self.predicted, mouth), self.predicted.grid.pitch_mm)
        runs = runs_at_points(filled, self.predicted.grid, places)
        return set(np.unique(piece[runs[runs >= 0]]).tolist())

    def _lid(self, section: Section) -> Runs:
        if section not in self._lids:
            pitch = self.predicted.grid.pitch_mm
            lid = extruded(shapely.buffer(section.outline, 0.6 * pitch), -1.5 * pitch, 1.5 * pitch)
            flat = lid.reshape(-1, 3).astype(np.float64)
            placed = section.plane.to_space(flat[:, :2]) + flat[:, 2:] * section.plane.normal
            soup = np.ascontiguousarray(placed.reshape(-1, 3, 3).astype(np.float32))
            self._lids[section] = cast(soup, self.predicted.grid).metal
        return self._lids[section]

    # ---- legs ----------------------------------------------------------------------------------

    def whole(self, course: Course) -> list[bool]:
        """Of each stretch whether all of the flow passes it: shut, it parts inlet from outlet."""
        return [self.parts([section]) for section in course.narrow]

    def blocks(self, course: Course, whole: Sequence[bool], least_mm: float) -> list[Block]:
        """Rows of stretches that not all of the flow need pass, with what lies beside them."""
        edges = np.flatnonzero(np.diff(np.concatenate([[True], whole, [True]]).astype(np.int8)))
        found = []
        for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            legs = self._legs(course, first, end - 1, least_mm)
            found.append(Block(first, end - 1, tuple(legs)))
        return found

    def _legs(self, course: Course, first: int, last: int, least_mm: float) -> list[Leg]:
        """All legs from the section before the block to the one behind it, or none."""
        before, after = self._ends_of(course, first, last)
        places = course.line.places
        start = course.lids[first - 1] if first else 0
        end = course.lids[last + 1] if last + 1 < len(course.lids) else len(places) - 1
        route: Floats | None = places[start : end + 1]
        shut: list[tuple[Course, int]] = []
        while True:
            if route is None or polylines.lengths(route)[-1] <= self.predicted.grid.pitch_mm:
                return []  # none was found, or it is too short to have sections
            found = self.course(route, least_mm, CLOSER, MOST_IN_LEG)
            lid = self._to_shut(found)
            if lid is None:
                return []
            shut.append((found, lid))
            lids = [one.narrow[k] for one, k in shut]
            if self.parts(lids):
                break
            route = None if len(shut) == MOST_LEGS else self._further(before, after, lids)
        legs = [self._tube(one, k) for one, k in shut]
        return [] if len(legs) < 2 or any(leg.first == leg.last for leg in legs) else legs

    def _ends_of(
        self, course: Course, first: int, last: int
    ) -> tuple[Section | None, Section | None]:
        before = course.narrow[first - 1] if first else None
        after = course.narrow[last + 1] if last + 1 < len(course.narrow) else None
        return before, after

    def _to_shut(self, course: Course) -> int | None:
        """Stretch to shut: of the narrowest that not all of the flow passes the middle one."""
        areas = np.array([section.least_mm2 for section in course.narrow])
        rank = np.ceil(np.log(areas / areas.min()) / np.log(ALIKE) - 1e-9)
        aside = np.abs(np.arange(len(areas)) - self._middle(rank))
        for k in np.lexsort((aside, rank)):
            if course.narrow[k].outline is not None and not self.parts([course.narrow[k]]):
                return int(k)
        return None

    @staticmethod
    def _middle(rank: Floats) -> float:
        return float(np.median(np.flatnonzero(rank <= 1.0)))

    def _tube(self, course: Course, shut: int) -> Leg:
        """How far to both sides of a stretch the leg has no other way in or out."""

        def is_tube(a: int, b: int) -> bool:
            inner = course.line.places[course.lids[a] : course.lids[b] + 1]
            clear = 2.0 * self.predicted.grid.pitch_mm
            ends = (course.narrow[a], course.narrow[b])
            free = [
                place
                for place in inner
                if min(abs(float(end.plane.signed(place[None])[0])) for end in ends) > clear
            ]
            return bool(free) and self.parts(ends, free[len(free) // 2])

        def farthest(step: int, end: int) -> int:
            low, high = 0, abs(end - shut)  # so far it is one, farther than that it is not
            while low < high:
                middle = (low + high + 1) // 2
                at = sorted((shut, shut + step * middle))
                low, high = (middle, high) if is_tube(at[0], at[1]) else (low, middle - 1)
            return shut + step * low

        return Leg(course, farthest(-1, 0), farthest(1, len(course.narrow) - 1))

    # ---- further ways --------------------------------------------------------------------------

    @once
    def _cells(self) -> Cells:
        box, pitch = self.predicted.window.box, self.predicted.grid.pitch_mm
        cells = float(np.prod(box.high - box.low)) / pitch**3
        return replace(self.search.cells, every=max(1, int(np.ceil(np.cbrt(cells / MOST_CELLS)))))

    def _further(
        self, before: Section | None, after: Section | None, shut: Sequence[Section]
    ) -> Floats | None:
        """A proven route from one section to another, or from a mouth, through none of those shut.

        All sections and mouths count as shut, but for the sides where the route begins and ends.
        """
        cells = self._cells
        p = cells.pitch_mm
        passable = cells.passable.copy()

        def near(section: Section, low: float, high: float, grow: float) -> NDArray[np.int64]:
            return cells.near_plate(section.plane, section.outline, low, high, grow)

        for section in shut:
            passable.ravel()[near(section, -p, p, p)] = 0
        starts = cells.behind(self.search.inlet)
        ends = cells.behind(self.search.outlet)
        if before is not None:
            passable.ravel()[near(before, -2.0 * p, -0.01 * p, p)] = 0
            starts = near(before, 0.0, 1.5 * p, 0.0)
        if after is not None:
            passable.ravel()[near(after, 0.01 * p, 2.0 * p, p)] = 0
            ends = near(after, -1.5 * p, 0.0, 0.0)
        for _ in range(TRIES):
            index, _least = ways.widest_route(cells.radius, passable, starts, ends)
            if len(index) == 0:
                return None
            route = cells.centres(index)
            if before is None:
                route = np.concatenate(
                    [self.search.start(self.search.inlet, route[0])[None], route]
                )
            if after is None:
                route = np.concatenate(
                    [route, self.search.start(self.search.outlet, route[-1])[None]]
                )
            route, where = self._proven(route, p, shut)
            if where is None:
                return route
            passable.ravel()[cells.within(where - 1.5 * p, where + 1.5 * p)] = 0
        return None

    def _proven(
        self, route: Floats, pitch: float, shut: Sequence[Section]
    ) -> tuple[Floats, Floats | None]:
        """A route, in mid-void if it passes nothing shut there, and where it meets metal."""
        tree = self.search.tree
        bound, where = segments.certified_clearance(tree, route)
        if bound <= 0.0:
            return route, where
        wide, bound, _ = routes.widen(tree, route, spacing_mm=2.0 * pitch, rounds=10)
        passes = bound > 0.0 and not any(_meets(wide, section) for section in shut)
        return (wide if passes else route), None


def _meets(route: Floats, section: Section) -> bool:
    """Whether a route leads through a section."""
    off = section.plane.signed(route)
    across = np.flatnonzero((off[:-1] <= 0.0) != (off[1:] <= 0.0))
    share = off[across] / (off[across] - off[across + 1])
    places = route[across] + share[:, None] * (route[across + 1] - route[across])
    xy = section.plane.to_plane(places)
    return bool(shapely.contains_xy(section.outline, xy[:, 0], xy[:, 1]).any())
