"""Reach: whether straight drills reopen a passage, as a plan that has been re-checked.

In: a passage's check and its verdict. Out: `Reached`, a `Rework` or the reason why
there is none. What a plan leads to is read off the same check, run again on the part
less the drilled bores; a plan that fails there is never proposed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearance import bore as bores
from clearance import distance
from clearance.bore import Bore
from clearance.crossings import Crossing
from clearance.drilled import Drilled
from clearance.drills import (
    Drill,
    Practice,
    drills,
    h8_lower,
    not_at_hand,
    point_length,
    reach_limit,
    run_out,
)
from clearance.graph import cheapest
from clearance.passage_check import Crossed, Judged, PassageCheck
from clearance.passages import moved_mouth, pieces_at
from clearance.ports import Mouth
from clearance.possible import bounding
from clearance.predicted import NOMINAL, Box, Soup, extruded, meeting
from clearance.result import Drilling, Rework, State
from clearance.sections import Plane
from clearance.straight import Region, Widest, widest_line

OVERRUN_MM = 0.5
"""How far the full diameter passes the far face of a sheet: common practice, no source."""
SIDES = 96
"""Sides of the polyhedra that stand for a drilled bore."""
CLAMPED_DIAMETERS = 2.5
"""Shank that the holder needs, over the diameter: common practice, no source."""
HOLDER_MM = 150.0
"""Length of the holder and what is behind it."""
TOLERANCE_MM = 0.02
"""The widest straight line is sought within this."""
MOST_SIZES = 8
"""Drill diameters tried, each a little larger, where the re-check refuses the smallest."""
MOST_CELLS = 10_000
"""Cells of a search for a line: ten times what it takes unless the sheet lies in the mouth itself.

There the line's two ends may be the same point, any direction is a line, and no bound is of use.
"""
NEAR_MM = 15.0
"""Voids farther from a cut wall than this are not looked for."""
FACING = math.cos(math.radians(45.0))
"""A mouth whose normal is nearer to straight down than 45 degrees faces the platform."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Reached:
    """What drilling can do for one passage.

    Attributes
    ----------
    rework : Rework or None
    why_not : str
        The nearest miss, in words; empty if there is a plan.
    whole_interval : bool
        The plan works whatever is true of what is not known of the event.
    faces_platform : bool
        Only mouths that face the platform could be entered.
    ruled_out : bool
        There is a plan, or no straight line wide enough for a drill; False where a search ended
        before that was clear.
    bores : tuple of Bore
        What the plan takes out, in the first variant.
    after : Judged or None
        The re-check in the first variant.
    """

    rework: Rework | None
    why_not: str
    whole_interval: bool = True
    faces_platform: bool = False
    ruled_out: bool = True
    bores: tuple[Bore, ...] = ()
    after: Judged | None = None


@dataclass(frozen=True, eq=False)
class _Stroke:
    """One drill on one line."""

    opening: str
    order: int
    target: int
    clears: tuple[int, ...]
    line: Widest
    drill: Drill
    depth: float  # full diameter, from the entry, mm
    overrun: float
    bore: Bore

    @property
    def margin(self) -> float:
        """Wall margin, mm; negative where the wall is cut."""
        return self.line.radius - 0.5 * self.drill.diameter

    def key(self) -> tuple[float, ...]:
        """Not cutting first, then more sheets at once, most margin, shortest drill, port order."""
        cuts = 0.0 if self.margin >= 0.0 else 1.0
        return (cuts, -len(self.clears), -round(self.margin, 3), self.drill.overall, self.order)


@dataclass(frozen=True)
class _Miss:
    """A line or drill that does not do, and how near it comes (larger is nearer)."""

    nearness: float
    words: str


class Reach:
    """The search for a plan for one passage in its first variant."""

    def __init__(self, check: PassageCheck, crossed: Sequence[Crossed], explain: bool = True):
        """Without `explain` a line that is too narrow need not be the widest that there is."""
        self.check = check
        self.crossed = crossed
        self.explain = explain
        self.first = crossed[0]
        self.case = check.checked.case
        self.predicted = check.predicted(self.first.variant.events, check.checked.pitch_mm)
        self.practice = Practice(max_length_to_diameter=self.case.drilling.max_length_to_diameter)
        self.misses: list[_Miss] = []
        self.ruled_out = True

    def reached(self) -> Reached:
        """Find a plan and re-check it, or say why there is none."""
        failing = self._failing()
        if not failing:
            return Reached(None, "no crossing keeps the passage from conforming")
        openings, facing = self._openings()
        if not openings:
            return Reached(None, self._closed_words(facing), faces_platform=bool(facing))
        targets = cheapest(self.first.graph, set(failing)) or failing
        sizes = self._sizes()
        refused: Reached | None = None
        for least in sorted({drill.diameter for drill in sizes})[:MOST_SIZES]:
            larger = [drill for drill in sizes if drill.diameter >= least]
            strokes = [s for n in targets for s in self._strokes(openings, n, targets, larger)]
            plan = _covering(strokes, targets)
            if plan is None:
                break
            found = self._rechecked(plan)
            if found.rework is not None:
                return found
            # A drill no wider than the requirement may leave a step that the ball cannot pass.
            refused = refused or found
        return refused or Reached(
            None, self._why_not(), faces_platform=bool(facing), ruled_out=self.ruled_out
        )

    def _failing(self) -> list[int]:
        least = self.check.passage.min_open_fraction or 0.0
        return [
            n
            for n, c in enumerate(self.first.crossings)
            if c.circle_mm < self.check.required or c.open_fraction < least
        ]

    # ---- where from ------------------------------------------------------------------------

    def _openings(self) -> tuple[list[tuple[str, Mouth]], list[str]]:
        """Mouths of the same nominal void that can be entered, own ports first; and those not."""
        void = self.check.predicted(NOMINAL, self.check.checked.pitch_mm).possible
        pitch = self.check.checked.pitch_mm
        own = pieces_at(void, self.check.inlet, pitch)
        ports = [("inlet", self.check.inlet), ("outlet", self.check.outlet)]
        ports += [
            (name, mouth)
            for name, mouth in self.check.checked.mouths.items()
            if mouth is not self.check.inlet
            and mouth is not self.check.outlet
            and pieces_at(void, mouth, pitch) & own
        ]
        entered, facing = [], []
        for name, mouth in ports:
            if self.case.state.on_platform and mouth.plane.normal[2] < -FACING:
                facing.append(name)
            else:
                entered.append((name, moved_mouth(self.predicted, mouth)))
        return entered, facing

    @staticmethod
    def _closed_words(facing: list[str]) -> str:
        return (
            f"the part stands on its platform and every opening of the passage faces it "
            f"({', '.join(facing)}): take it off first"
        )

    # ---- lines and drills ------------------------------------------------------------------

    def _strokes(
        self,
        openings: list[tuple[str, Mouth]],
        target: int,
        targets: list[int],
        sizes: list[Drill],
    ) -> Iterator[_Stroke]:
        """Drills that reach one crossing, the best of each opening."""
        for order, (name, mouth) in enumerate(openings):
            line = self._line(mouth, self.first.crossings[target], sizes[0])
            if line is None or not self._wide_enough(name, line, target, sizes[0]):
                continue
            found = [self._stroke(name, order, line, target, targets, drill) for drill in sizes]
            usable = [stroke for stroke in found if stroke is not None]
            if usable:
                yield min(usable, key=_Stroke.key)

    def _sizes(self) -> list[Drill]:
        """Drills whose lower limit of size still meets the requirement, smallest first."""
        at_hand = drills(self.case.drilling.series, self.case.drilling.drills)
        shape = math.cos(math.pi / SIDES)  # the re-check's polyhedron is a little smaller
        return [
            d
            for d in at_hand
            if d.diameter + h8_lower(d.diameter) >= self.check.required
            and d.diameter * shape >= self.check.required + 1e-3
        ]

    def _line(self, mouth: Mouth, crossing: Crossing, drill: Drill) -> Widest | None:
        middle = 0.5 * (crossing.low + crossing.high)
        if crossing.footprint.is_empty:
            return None
        start = Region(mouth.plane, mouth.polygon)
        end = Region(Plane.level(middle), crossing.footprint)
        ends = np.array([mouth.centre, crossing.centre_mm])
        beyond = self._beyond(crossing, _unit(ends[1] - ends[0]), drill)
        if not math.isfinite(beyond):
            self.misses.append(_Miss(0.0, "an opening lies level with the sheet"))
            return None
        # The search takes the line's end for a half ball; a point is 0.4 r shorter.
        beyond = max(beyond - 0.2 * drill.diameter, 0.0)
        box = self._hull(mouth, crossing, drill.diameter + beyond)
        own = mouth in (self.check.inlet, self.check.outlet)
        if own and self.predicted.in_place:
            # A line that never meets the walls of its own void stays in it.
            nominal = self.check.predicted(NOMINAL, self.check.checked.pitch_mm)
            tree = self.check.search(nominal, []).tree
        else:
            tree = distance.build(self.predicted.bare_surface(box))
        need = 0.5 * drill.diameter - self.case.drilling.wall_allowance
        return widest_line(
            tree, start, end, enough_mm=max(need, 1e-3), tolerance_mm=TOLERANCE_MM,
            beyond_mm=beyond, most_cells=MOST_CELLS, explain=self.explain,
        )  # fmt: skip

    @staticmethod
    def _hull(mouth: Mouth, crossing: Crossing, grow: float) -> Box:
        rim = mouth.plane.to_space(np.array(mouth.polygon.exterior.coords))
        x0, y0, x1, y1 = crossing.footprint.bounds
        low = np.minimum(rim.min(0), [x0, y0, crossing.low])
        high = np.maximum(rim.max(0), [x1, y1, crossing.high])
        return Box(low, high).grown(grow)

    def _beyond(self, crossing: Crossing, direction: Floats, drill: Drill) -> float:
        """From the sheet's middle, along the line, to where the full diameter has passed it."""
        rise = abs(float(direction[2]))
        if rise < 1e-3:
            return math.inf
        slant = math.sqrt(max(1.0 - rise * rise, 0.0)) / rise
        half = 0.5 * (crossing.high - crossing.low)
        return half / rise + 0.5 * drill.diameter * slant + OVERRUN_MM

    def _wide_enough(self, name: str, line: Widest, target: int, drill: Drill) -> bool:
        need = 0.5 * drill.diameter - self.case.drilling.wall_allowance
        if line.radius >= need:
            return True
        at = ", ".join(f"{x:.1f}" for x in line.metal)
        doubt = "" if line.bound < need else "; the search ended before a wider one was ruled out"
        self.ruled_out &= not doubt
        self.misses.append(
            _Miss(
                line.radius / max(need, 1e-9),
                f"from the {name} the widest straight line to the sheet at "
                f"z {self.first.crossings[target].height_mm:.2f} mm has {2.0 * line.radius:.2f} mm "
                f"clear, {2.0 * need:.2f} needed: the wall at ({at}) mm is in the way{doubt}",
            )
        )
        return False

    def _stroke(
        self, name: str, order: int, line: Widest, target: int, targets: list[int], drill: Drill
    ) -> _Stroke | None:
        """One drill on a line, or None with the reason noted."""
        margin = line.radius - 0.5 * drill.diameter
        if margin < -self.case.drilling.wall_allowance:
            return None
        beyond = self._beyond(self.first.crossings[target], line.direction, drill)
        if not math.isfinite(beyond):
            self.misses.append(_Miss(0.0, f"from the {name} a line runs level with the sheet"))
            return None
        depth = float(np.linalg.norm(line.end - line.start)) + beyond
        bore = self._bore(line, drill, depth)
        hindrance = self._hindrance(name, line, drill, depth, bore, margin)
        if hindrance is not None:
            self.misses.append(_Miss(1.0 + 1.0 / (1.0 + drill.diameter), hindrance))
            return None
        clears = tuple(n for n in targets if n == target or self._cleared(n, bore))
        return _Stroke(name, order, target, clears, line, drill, depth, OVERRUN_MM, bore)

    def _bore(self, line: Widest, drill: Drill, depth: float) -> Bore:
        """What the drill takes away, begun well outside the mouth."""
        outside = 2.0 * drill.diameter + 5.0
        return Bore(
            line.start - outside * line.direction,
            line.direction,
            0.5 * drill.diameter,
            outside + depth,
            point_length(drill.diameter),
            SIDES,
        )

    def _cleared(self, n: int, bore: Bore) -> bool:
        """Whether a bore opens another crossing with its full section as well."""
        crossing = self.first.crossings[n]
        for z in (crossing.low, crossing.high):
            section = bores.section(bore, Plane.level(z))
            rise = abs(float(bore.direction[2]))
            if rise < 1e-3 or section.area < 0.98 * math.pi * bore.radius**2 / rise:
                return False
            if not crossing.footprint.buffer(self.case.drilling.wall_allowance + 0.05).contains(
                section
            ):
                return False
        return True

    # ---- what stands in the way ------------------------------------------------------------

    def _hindrance(
        self, name: str, line: Widest, drill: Drill, depth: float, bore: Bore, margin: float
    ) -> str | None:
        limit = reach_limit(drill, depth, practice=self.practice)
        if limit is not None:
            return f"from the {name}: {limit.words}{self._other_series(drill, depth)}"
        if margin >= 0.0:
            around = replace(bore, around=True, radius=bore.radius - 1e-4)
            inner = self._inside(around, line)
            if len(bores.meeting(inner, around)):
                return f"from the {name} the point of {drill.words} meets the wall behind the sheet"
        return self._holder(name, line, drill, depth)

    def _inside(self, bore: Bore, line: Widest) -> Soup:
        """Metal of the part around a bore, the mouth's rim left out of it."""
        ends = np.array([line.start, bore.tip])
        box = Box(ends.min(0), ends.max(0)).grown(bore.radius + 1.0)
        return self.predicted.bare_surface(box)

    def _other_series(self, drill: Drill, depth: float) -> str:
        longer = not_at_hand(
            drill.diameter, depth, self.case.drilling.series, practice=self.practice
        )
        if longer is None:
            return ""
        return f"; {longer.series} ({longer.overall:g} mm) is not in [drilling] series"

    def _holder(self, name: str, line: Widest, drill: Drill, depth: float) -> str | None:
        """Whether the holder, and the drill in front of it, clear the part and the sheets."""
        tip = depth + point_length(drill.diameter)
        projecting = drill.overall - CLAMPED_DIAMETERS * drill.diameter
        standoff = projecting - tip  # from the entry back to the holder's face
        if standoff <= 0.0:
            return (
                f"from the {name}: {drill.words} projects {projecting:.1f} mm from its holder, "
                f"{tip:.1f} mm needed"
            )
        back = self._reach_mm()
        face = line.start - standoff * line.direction
        holder = Bore(
            face - HOLDER_MM * line.direction,
            line.direction,
            0.5 * self.case.drilling.holder_diameter + back,
            HOLDER_MM,
            0.0,
            around=True,
        )
        corners = np.array([face, face - HOLDER_MM * line.direction])
        box = Box(corners.min(0), corners.max(0)).grown(holder.radius + 1.0)
        metal = np.concatenate([self.predicted.bare_surface(box), self._sheets(box)])
        if not len(bores.meeting(metal, holder)):
            return None
        return (
            f"from the {name} the holder ({self.case.drilling.holder_diameter:g} mm) of "
            f"{drill.words} meets the part: it stands {standoff:.1f} mm off the port"
        )

    def _reach_mm(self) -> float:
        down, up = self.check.checked.reach_mm
        return float(max(np.abs(down).max(), np.abs(up).max()))

    def _sheets(self, box: Box) -> Soup:
        """Stray sheets over the whole part that a box meets."""
        whole = self.check.checked.whole.predict(self.first.variant.events)
        soups = [
            extruded(whole.sheet(slab), slab.low, slab.high)
            for slab in whole.table
            if slab.gates and slab.low <= box.high[2] and slab.high >= box.low[2]
        ]
        return meeting(np.concatenate(soups), box) if soups else np.empty((0, 3, 3), np.float32)

    # ---- the re-check ----------------------------------------------------------------------

    def _rechecked(self, plan: list[_Stroke]) -> Reached:
        taken = tuple(stroke.bore for stroke in plan)
        after = [self._after(crossed, taken) for crossed in self.crossed]
        first = after[0]
        if first.state is not State.OPEN:
            said = "; ".join(first.reasons)
            return Reached(
                None, f"a plan was found, but the re-check finds the passage {first.state}: {said}"
            )
        joined = self._joined(taken)
        if joined:
            return Reached(None, f"a plan was found, but it opens the wall to {joined}")
        cuts = any(stroke.margin < 0.0 for stroke in plan)
        rework = Rework(
            first.state.value,
            first.way.low_mm,
            tuple(self._drilling(stroke) for stroke in plan),
            cuts,
            self._wall_left(taken) if cuts else None,
        )
        whole = all(judged.state is State.OPEN for judged in after)
        return Reached(rework, "", whole_interval=whole, bores=taken, after=first)

    def _after(self, crossed: Crossed, taken: tuple[Bore, ...]) -> Judged:
        near = self.check.predicted(crossed.variant.events, self.check.checked.pitch_mm)
        drilled = Drilled(near.window, near.events, near.added, taken)
        return self.check.judge_in(drilled, crossed.variant)

    def _joined(self, taken: tuple[Bore, ...]) -> str:
        """Another circuit that the drilled part joins to this one, or an empty word."""
        drilled = Drilled(self.predicted.window, self.predicted.events, self.predicted.added, taken)
        before = self.check.predicted(NOMINAL, self.check.checked.pitch_mm).possible
        pitch = self.check.checked.pitch_mm
        own = pieces_at(before, self.check.inlet, pitch)
        mine = pieces_at(drilled.possible, moved_mouth(drilled, self.check.inlet), pitch)
        mine |= pieces_at(drilled.possible, moved_mouth(drilled, self.check.outlet), pitch)
        for name, mouth in self.check.checked.mouths.items():
            if pieces_at(before, mouth, pitch) & own or not self._seen(mouth):
                continue
            if pieces_at(drilled.possible, moved_mouth(drilled, mouth), pitch) & mine:
                return name
        return ""

    def _seen(self, mouth: Mouth) -> bool:
        box = self.predicted.window.box
        return bool((mouth.deepest >= box.low).all() and (mouth.deepest <= box.high).all())

    def _wall_left(self, taken: tuple[Bore, ...]) -> float | None:
        """Metal left between what the bores cut of the wall and any other void, mm.

        None if there is no other void within 15 mm.
        """
        nominal = self.check.predicted(NOMINAL, self.check.checked.pitch_mm)
        own = pieces_at(nominal.possible, self.check.inlet, self.check.checked.pitch_mm)
        least = math.inf
        for bore in taken:
            cut = self._cut_wall(bore)
            if not len(cut):
                continue
            box = Box(cut.min((0, 1)), cut.max((0, 1))).grown(NEAR_MM)
            near = self.predicted.bare_surface(box)
            others = bounding(nominal.possible, near, own, others=True)
            if len(others):
                edges = np.concatenate([cut[:, [0, 1]], cut[:, [1, 2]], cut[:, [2, 0]]])
                tree = distance.build(others)
                found, _, _ = distance.segment_clearances(tree, edges[:, 0], edges[:, 1])
                least = min(least, float(found.min()))
        return least if math.isfinite(least) else None

    def _cut_wall(self, bore: Bore) -> Floats:
        """The bore's own faces in metal, from a diameter behind the mouth on: there it ends anyway.

        Of the part alone where nothing has moved, else with the sheets, the cautious side.
        """
        behind = 6.0 * bore.radius + 5.0
        inner = replace(
            bore, start=bore.start + behind * bore.direction, length=bore.length - behind
        )
        moved = any(e.rise != 0.0 or e.shift != (0.0, 0.0) for e in self.predicted.events)
        events = self.predicted.events if moved else ()
        return Drilled(self.predicted.window, events, None, (inner,)).walls().astype(np.float64)

    def _drilling(self, stroke: _Stroke) -> Drilling:
        out = -stroke.line.direction
        depth = stroke.depth + point_length(stroke.drill.diameter)
        margin = stroke.margin
        return Drilling(
            crossing=stroke.target,
            also_clears=tuple(n for n in stroke.clears if n != stroke.target),
            drill_diameter_mm=stroke.drill.diameter,
            series=stroke.drill.series,
            flute_mm=stroke.drill.flute,
            overall_mm=stroke.drill.overall,
            from_=stroke.opening,
            entry_mm=_plain(stroke.line.start),
            direction=_plain(stroke.line.direction),
            depth_mm=depth,
            length_to_diameter=depth / stroke.drill.diameter,
            wall_margin_mm=max(margin, 0.0),
            wall_cut_mm=max(-margin, 0.0),
            overrun_mm=stroke.overrun,
            # Tilted about its entry by a, the drill's end moves by depth x tan a at most.
            tilt_tolerance_deg=math.degrees(math.atan(max(margin, 0.0) / depth)),
            tilt_from_z_deg=math.degrees(math.acos(min(max(float(out[2]), -1.0), 1.0))),
            turn_about_z_deg=round(math.degrees(math.atan2(float(out[1]), float(out[0]))), 6) + 0.0,
            drill_tolerance_mm=-h8_lower(stroke.drill.diameter),
            run_out_mm=run_out(stroke.drill),
        )

    def _why_not(self) -> str:
        """The nearest miss of every opening, the nearest first, two at most."""
        ordered = sorted(self.misses, key=lambda miss: -miss.nearness)
        words = list(dict.fromkeys(miss.words for miss in ordered))
        if not self._sizes():
            return f"no drill at hand is large enough for {self.check.required:.2f} mm"
        return "; ".join(words[:2]) or "no straight line leads from an opening to the sheet"


def _covering(strokes: list[_Stroke], targets: list[int]) -> list[_Stroke] | None:
    """Strokes that clear every target, the best first, as few as that needs; None if some stay."""
    plan: list[_Stroke] = []
    left = set(targets)
    for stroke in sorted(strokes, key=_Stroke.key):
        if left & set(stroke.clears):
            plan.append(stroke)
            left -= set(stroke.clears)
    return None if left else sorted(plan, key=lambda stroke: stroke.target)


def _unit(vector: Floats) -> Floats:
    return vector / max(float(np.linalg.norm(vector)), 1e-12)


def _plain(at: Floats) -> tuple[float, float, float]:
    return float(at[0]), float(at[1]), float(at[2])


def needs_reach(judged: list[Judged], nominal: Judged) -> bool:
    """Whether drilling is worth looking at: the passage fails, and not by its design."""
    return nominal.state is State.OPEN and any(j.state is not State.OPEN for j in judged)
