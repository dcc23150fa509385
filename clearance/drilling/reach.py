"""Reach: whether straight drills reopen a passage, as a plan that has been re-checked.

In: a passage's check and its verdict. Out: `Reached`, a `Rework` or the reason why
there is none. What a plan leads to is read off the same check, run again on the part
less the drilled bores; a plan that fails there is never proposed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from clearance.drilling import bore as bores
from clearance.drilling.bore import Bore
from clearance.drilling.drill_length import CLAMPED_DIAMETERS, Practice, not_at_hand, reach_limit
from clearance.drilling.drills import SHOP, Drill, drills, h8_lower, point_length
from clearance.drilling.obstacles import in_the_way
from clearance.drilling.recheck import Recheck
from clearance.drilling.strokes import Miss, Reached, Stroke, covering
from clearance.drilling.widest_line import Region, Widest, widest_line
from clearance.geometry import box_tree
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Box, Soup
from clearance.heights import place
from clearance.kernels.vectors import Floats
from clearance.passages.crossings import Crossing
from clearance.passages.stoppers import pieces_at
from clearance.passages.way import moved_mouth
from clearance.ports.mouth import Mouth
from clearance.predicted.part import NOMINAL
from clearance.result import State
from clearance.verdict.graph import cheapest, on_way
from clearance.verdict.one_variant import Crossed, Judged
from clearance.verdict.passage import PassageCheck

OVERRUN_MM = 0.5
"""How far the full diameter passes the far face of a sheet: common practice, no source."""
SIDES = 96
"""Sides of the polyhedra that stand for a drilled bore."""
TOLERANCE_MM = 0.02
"""The widest straight line is sought within this."""
MOST_SIZES = 8
"""Drill diameters tried, each a little larger, where the re-check refuses the smallest."""
MOST_CELLS = 10_000
"""Cells of a search for a line: ten times what it takes unless the sheet lies in the mouth itself.

There the line's two ends may be the same point, any direction is a line, and no bound is of use.
"""
SLACK_MM = 0.5
"""A line that would cut no more of the wall than this keeps a passage from scrap."""
FULLY_OPEN = 1.0 - 1e-6
"""A crossing with less of its area open is narrowed by stray metal."""
FACING = math.cos(math.radians(45.0))
"""A mouth whose normal is nearer to straight down than 45 degrees faces the platform."""


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
        self.recheck = Recheck(check, crossed)
        self.misses: list[Miss] = []

    def reached(self) -> Reached:
        """Find a plan and re-check it, or say why there is none.

        A ball has to pass every crossing whose circle is too small. Where the passage fails all
        the same, it is caught between a sheet's edge and a wall: then whatever stray metal
        narrows the way is cleared, as far as drills reach it.
        """
        narrow = self._narrow()
        partly = self._partly() | narrow
        if not partly:
            return Reached(None, "no stray metal in the passage narrows it")
        openings, facing = self._openings()
        if not openings:
            return Reached(None, self._closed_words(facing), faces_platform=bool(facing))
        found, unreached = self._cleared(openings, narrow, narrow) if narrow else (None, set())
        if (found is None or found.rework is None) and not unreached and partly != narrow:
            more, unreached = self._cleared(openings, partly, narrow)
            found = more if more is not None and more.rework is not None else found or more
        if found is not None:
            return found
        proven = [self._ruled_out(openings, n) for n in sorted(unreached)]
        return Reached(
            None,
            self._why_not(),
            faces_platform=bool(facing),
            ruled_out=bool(proven) and all(proven) and not facing,
            settled_by=self._settled_by(),
        )

    def _narrow(self) -> set[int]:
        """Crossings that a ball of the required diameter cannot pass."""
        least = self.check.passage.min_open_fraction or 0.0
        return {
            n
            for n, c in enumerate(self.first.crossings)
            if c.circle_mm < self.check.required or c.open_fraction < least
        }

    def _partly(self) -> set[int]:
        """Crossings on the way that are not fully open."""
        ways = on_way(self.first.graph)
        return {n for n in ways if self.first.crossings[n].open_fraction < FULLY_OPEN}

    def _cleared(
        self, openings: list[tuple[str, Mouth]], failing: set[int], needed: set[int]
    ) -> tuple[Reached | None, set[int]]:
        """Clear the fewest crossings that make a way, of which those `needed` must be reached.

        Returns what became of the plan, or None and the crossings that part every way and that
        no drill reaches (empty where that is not what fails).
        """
        gone: set[int] = set()
        while True:
            targets = cheapest(self.first.graph, failing, gone)
            covered = targets is None and not gone  # a sheet covers a port whole
            targets = sorted(failing) if covered else targets
            if not targets:
                return None, gone if targets is None else set()
            found, reached = self._drilled(openings, targets, needed)
            unreached = needed & set(targets) - reached
            if found is not None or not unreached:
                return found, set()
            if covered:  # which of them part every way is not known
                return None, unreached if unreached == failing else set()
            gone |= unreached

    def _drilled(
        self, openings: list[tuple[str, Mouth]], targets: list[int], needed: set[int]
    ) -> tuple[Reached | None, set[int]]:
        """A plan for some crossings, re-checked, and which of them drills reach."""
        sizes = self._sizes()
        refused: Reached | None = None
        reached: set[int] = set()
        diameters = sorted({drill.diameter for drill in sizes})
        for n, least in enumerate(diameters):
            if n == MOST_SIZES and refused is not None:
                said = f"{refused.why_not}; drills of {least:g} mm and more were not tried"
                return replace(refused, why_not=said), reached
            larger = [drill for drill in sizes if drill.diameter >= least]
            strokes = [s for n in targets for s in self._strokes(openings, n, targets, larger)]
            reached = reached.union(*(stroke.clears for stroke in strokes))
            plan = covering(strokes, targets, needed)
            if not plan:
                break
            found, larger_may_do = self.recheck.of(plan)
            # A drill no wider than the requirement may leave a step that the ball cannot pass.
            refused = found if found.rework is not None else refused or found
            if found.rework is not None or not larger_may_do:
                break
        return refused, reached

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
    ) -> Iterator[Stroke]:
        """Drills that reach one crossing, the best of each opening."""
        for order, (name, mouth) in enumerate(openings):
            line = self._line(mouth, self.first.crossings[target], sizes[0])
            if line is None or not self._wide_enough(name, line, target, sizes[0]):
                continue
            found = [self._stroke(name, order, line, target, targets, drill) for drill in sizes]
            usable = [stroke for stroke in found if stroke is not None]
            if usable:
                yield min(usable, key=Stroke.key)

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
        need = 0.5 * drill.diameter - self.case.drilling.wall_allowance
        ends = np.array([mouth.centre, crossing.centre_mm])
        beyond = self._beyond(crossing, _unit(ends[1] - ends[0]), drill)
        if not math.isfinite(beyond):
            self.misses.append(Miss(0.0, "an opening lies level with the sheet"))
            return None
        return self._widest(mouth, crossing, drill.diameter, beyond, need)

    def _widest(
        self, mouth: Mouth, crossing: Crossing, diameter: float, beyond: float, need: float
    ) -> Widest | None:
        if crossing.footprint.is_empty:
            return None
        start = Region(mouth.plane, mouth.polygon)
        end = Region(Plane.level(0.5 * (crossing.low + crossing.high)), crossing.footprint)
        # The search takes the line's end for a half ball; a point is 0.4 r shorter.
        beyond = max(beyond - 0.2 * diameter, 0.0)
        box = self._hull(mouth, crossing, diameter + beyond)
        own = mouth in (self.check.inlet, self.check.outlet)
        if own and self.predicted.in_place:
            # A line that never meets the walls of its own void stays in it.
            nominal = self.check.predicted(NOMINAL, self.check.checked.pitch_mm)
            tree = self.check.search(nominal, []).tree
        else:
            tree = box_tree.build(self.predicted.bare_surface(box))
        return widest_line(
            tree, start, end, enough_mm=max(need, 1e-3), tolerance_mm=TOLERANCE_MM,
            beyond_mm=beyond, most_cells=MOST_CELLS, explain=self.explain,
        )  # fmt: skip

    def _ruled_out(self, openings: list[tuple[str, Mouth]], target: int) -> bool:
        """Whether no straight line to a crossing is wide enough for any tool, cut wall and all.

        What would do along the lines that are is noted.
        """
        if not self.explain:
            return False
        crossing = self.first.crossings[target]
        ideal = Drill(self.check.required, math.inf, math.inf, SHOP)
        need = 0.5 * ideal.diameter
        proven = True
        for name, mouth in openings:
            toward = _unit(np.array(crossing.centre_mm) - mouth.centre)
            beyond = self._beyond(crossing, toward, ideal, overrun=0.0)
            line = None
            if math.isfinite(beyond):
                line = self._widest(mouth, crossing, ideal.diameter, beyond, need - SLACK_MM)
            if line is None:
                proven = False
            elif line.bound >= max(need - SLACK_MM, 1e-3):
                proven = False
                self._note_tool(name, line, crossing, need)
        return proven

    def _note_tool(self, name: str, line: Widest, crossing: Crossing, need: float) -> None:
        """Note which tool, and which cut of the wall, a line would take."""
        cut = need - line.radius
        if cut > SLACK_MM or line.radius <= 0.0:
            return
        beyond = self._beyond(crossing, line.direction, Drill(2.0 * need, 0.0, 0.0, SHOP))
        tip = float(np.linalg.norm(line.end - line.start)) + beyond + point_length(2.0 * need)
        if not math.isfinite(tip):
            return
        widest = f" to {2.0 * line.radius:.2f}" if cut < 0.0 else ""
        said = (
            f"a drill of {2.0 * need:.2f}{widest} mm that goes {tip:.1f} mm deep from the {name}: "
            f"{tip + 2.0 * need * self.practice.chip_room_diameters:.1f} mm of flute, "
            f"{tip + 2.0 * need * CLAMPED_DIAMETERS:.1f} mm overall ([drilling] drills)"
        )
        ratio, most = tip / (2.0 * need), self.practice.max_length_to_diameter
        if ratio > most:
            said += f", guided ([drilling] max_length_to_diameter of {ratio:.1f}, {most:g} given)"
        allowed = self.case.drilling.wall_allowance
        if cut > allowed:
            said += f"; and {cut:.2f} mm of the wall may be cut ([drilling] wall_allowance)"
        self.misses.append(Miss(min(line.radius / need, 1.0), "", said))

    @staticmethod
    def _hull(mouth: Mouth, crossing: Crossing, grow: float) -> Box:
        rim = mouth.rim
        x0, y0, x1, y1 = crossing.footprint.bounds
        low = np.minimum(rim.min(0), [x0, y0, crossing.low])
        high = np.maximum(rim.max(0), [x1, y1, crossing.high])
        return Box(low, high).grown(grow)

    def _beyond(
        self, crossing: Crossing, direction: Floats, drill: Drill, overrun: float = OVERRUN_MM
    ) -> float:
        """From the sheet's middle, along the line, to where the full diameter has passed it."""
        rise = abs(float(direction[2]))
        if rise < 1e-3:
            return math.inf
        slant = math.sqrt(max(1.0 - rise * rise, 0.0)) / rise
        half = 0.5 * (crossing.high - crossing.low)
        return half / rise + 0.5 * drill.diameter * slant + overrun

    def _wide_enough(self, name: str, line: Widest, target: int, drill: Drill) -> bool:
        need = 0.5 * drill.diameter - self.case.drilling.wall_allowance
        if line.radius >= need:
            return True
        base = self.check.checked.platform_z
        sheet_mm = self.first.crossings[target].height_mm - base
        doubt = "" if line.bound < need else "; the search ended before a wider one was ruled out"
        self.misses.append(
            Miss(
                line.radius / max(need, 1e-9),
                f"from the {name} the widest straight line to the sheet at "
                f"z {sheet_mm:.2f} mm has {2.0 * line.radius:.2f} mm clear, {2.0 * need:.2f} "
                f"needed: the wall at {place(line.metal, base)} is in the way{doubt}",
            )
        )
        return False

    def _stroke(
        self, name: str, order: int, line: Widest, target: int, targets: list[int], drill: Drill
    ) -> Stroke | None:
        """One drill on a line, or None with the reason noted."""
        margin = line.radius - 0.5 * drill.diameter
        if margin < -self.case.drilling.wall_allowance:
            return None
        beyond = self._beyond(self.first.crossings[target], line.direction, drill)
        if not math.isfinite(beyond):
            self.misses.append(Miss(0.0, f"from the {name} a line runs level with the sheet"))
            return None
        depth = float(np.linalg.norm(line.end - line.start)) + beyond
        bore = self._bore(line, drill, depth)
        clears = tuple(n for n in targets if n == target or self._opens(n, bore))
        stroke = Stroke(
            opening=name,
            order=order,
            target=target,
            clears=clears,
            line=line,
            drill=drill,
            depth=depth,
            overrun=OVERRUN_MM,
            bore=bore,
        )
        hindrance, settled_by = self._hindrance(stroke)
        if not hindrance:
            return stroke
        words = f"from the {name}{hindrance}"
        self.misses.append(Miss(1.0 + 1.0 / (1.0 + drill.diameter), words, settled_by))
        return None

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

    def _opens(self, n: int, bore: Bore) -> bool:
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

    def _hindrance(self, stroke: Stroke) -> tuple[str, str]:
        """What keeps a drill from a stroke, and what would settle it; empty if nothing does."""
        drill = stroke.drill
        limit = reach_limit(drill, stroke.depth, practice=self.practice)
        if limit is not None:
            return f": {limit.words}{self._other_series(drill, stroke.depth)}", ""
        if stroke.margin >= 0.0:
            hole = stroke.hole.bore(worst=False, first=0.0)
            around = replace(hole, radius=hole.radius - 1e-4)
            inner = self._inside(around, stroke.line)
            if len(bores.meeting(inner, around)):
                return f" the point of {drill.words} meets the wall behind the sheet", ""
        tool = stroke.tool
        if tool.standoff <= 0.0:
            words = f": {drill.words} projects {tool.standoff + tool.tip:.1f} mm from its holder"
            return f"{words}, {tool.tip:.1f} mm needed", ""
        met = in_the_way(self.check.checked, self.predicted, tool)
        return (f" {met}", self._out_of_the_way(met)) if met else ("", "")

    def _out_of_the_way(self, met: str) -> str:
        """What would settle that something stands before a port."""
        off = ", or the part off its platform" if self.case.state.on_platform else ""
        if "beside the part" in met:
            return f"whether what [part] also_melted gives still stands there{off}"
        if "holder" in met:
            return f"a longer drill or a smaller holder ([drilling] drills, holder_diameter){off}"
        return f"another way to hold or reach the part before the port{off}"

    def _inside(self, bore: Bore, line: Widest) -> Soup:
        """Metal of the part around a bore, the mouth's rim left out of it."""
        ends = np.array([line.start, bore.tip])
        box = Box.around(ends).grown(bore.radius + 1.0)
        return self.predicted.bare_surface(box)

    def _other_series(self, drill: Drill, depth: float) -> str:
        longer = not_at_hand(
            drill.diameter, depth, self.case.drilling.series, practice=self.practice
        )
        if longer is None:
            return ""
        return f"; {longer.series} ({longer.overall:g} mm) is not in [drilling] series"

    # ---- what is said ------------------------------------------------------------------------

    def _why_not(self) -> str:
        """The nearest miss of every opening, the nearest first, two at most."""
        words = list(dict.fromkeys(miss.words for miss in self._nearest() if miss.words))
        if not self._sizes():
            return f"no drill at hand is large enough for {self.check.required:.2f} mm"
        return "; ".join(words[:2]) or "no straight line leads from an opening to the sheet"

    def _settled_by(self) -> tuple[str, ...]:
        """What would do, the nearest first, three at most."""
        said = [miss.settled_by for miss in self._nearest() if miss.settled_by]
        return tuple(dict.fromkeys(said))[:3]

    def _nearest(self) -> list[Miss]:
        return sorted(self.misses, key=lambda miss: -miss.nearness)


def _unit(vector: Floats) -> Floats:
    return vector / max(float(np.linalg.norm(vector)), 1e-12)


def needs_reach(judged: list[Judged], nominal: Judged) -> bool:
    """Whether drilling is worth looking at: the passage fails, and not by its design."""
    return nominal.state is State.OPEN and any(j.state is not State.OPEN for j in judged)
