"""What every reading should be after an event, quick enough for ten thousand of them.

In: a prepared case; for each question the events of one part and a [[reading]]. Out: a
`Prediction`. By level sections alone; what events share is worked out once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clearance.case.powder_bed import recess, sheet_recess
from clearance.case.readings import Kind, ReadingTable
from clearance.disposition.gather import LEAST_RIM_MM
from clearance.evidence.balls import limits
from clearance.evidence.signs import LEAST_OVERHANG_MM, step_mm
from clearance.predicted.part import NOMINAL, Predicted
from clearance.predicted.slabs import Event
from clearance.readings.added_volume import AddedVolume
from clearance.readings.faces import Between, SheetFaces, growth
from clearance.readings.go_no_go import ball, pin
from clearance.readings.logged import layers_logged
from clearance.readings.photos import photo
from clearance.readings.pins import Pins
from clearance.readings.prediction import (
    Absent,
    Measured,
    Prediction,
    Untold,
    yes_or_no,
)
from clearance.readings.rims import Rim, Rims
from clearance.readings.shapes import Names
from clearance.readings.sisters import sisters_mean
from clearance.readings.unknowns import Unknowns
from clearance.readings.voids import Opening, Voids
from clearance.result import Result
from clearance.verdict.numbers import NAMEWORTHY
from clearance.verdict.prepared import Checked

Floats = NDArray[np.float64]
Events = tuple[Event, ...]

RIMS = ("rim_seen", "rim_top", "rim_bottom", "rim_thickness", "rim_width")
OF_A_SHEET = (*RIMS, "step", "growth", "sheet_top", "sheet_bottom")
"""Kinds that are of one sheet's slices."""
NO_LOSS = "sections alone give no pressure loss"
OF_A_MESH = "the stray metal is given as a mesh, not as slices"
SAME_MM = 1e-6
"""Heights that lie closer are one."""


class Forward:
    """Answers for one part; made once, asked for any number of events.

    Examples
    --------
    `forward = Forward(checked)`, then `forward.predict(events, reading)` with `events` a tuple of
    `predicted.slabs.Event` in rising order (`()`: a build without an event), as
    `checked.unknowns.variants[n].events` has them.
    """

    def __init__(self, checked: Checked, result: Result | None = None):
        """`result`: of a check of the case; with it balls and crossings are told more closely."""
        self.checked = checked
        passages = () if result is None else result.passages
        powder = () if result is None else result.trapped_powder
        self.trapped_g = sum(p.mass_high_g or 0.0 for p in powder if p.between != ("nominal",))
        self.clear = {
            p.name: (p.clear_diameter_mm.nominal_low, p.clear_diameter_mm.nominal_high)
            for p in passages
        }
        self.crossings = {
            (p.name, number): c.centre_mm[:2]
            for p in passages
            for number, c in enumerate(p.crossings, 1)
        }
        self.counted = {p.name: len(p.crossings) for p in passages}
        self.unknowns = Unknowns.of(checked.case)
        self.layer = checked.case.part.layer_thickness
        self._rims = Rims(checked.bodies)
        self._voids, self._faces = Voids(checked), SheetFaces()
        self._pins = Pins(checked)
        self._steps: dict[tuple[object, ...], float] = {}
        self._nominal = checked.whole.predict(NOMINAL)
        self._added = AddedVolume(checked, self._nominal)
        self._last: tuple[Events, Predicted] | None = None
        self._names, self._heights, self._alike = Names(), dict[int, float](), dict[float, float]()
        self._by_kind: Mapping[Kind, Callable[[Predicted, ReadingTable], Prediction]] = {
            "rim_seen": self._rim_seen,
            "rim_top": self._rim_top,
            "rim_bottom": self._rim_bottom,
            "rim_thickness": self._rim_thickness,
            "rim_width": self._rim_width,
            "step": self._step,
            "growth": self._growth,
            "sheet_top": self._sheet_face,
            "sheet_bottom": self._sheet_face,
            "part_height": self._part_height,
            "mass": self._mass,
            "ball": self._ball,
            "pin": self._pin,
            "pressure_loss": self._pressure_loss,
            "open_area": self._open_area,
            "seen": self._seen,
            "layers_logged": lambda predicted, one: layers_logged(checked, predicted, one),
            "photo": lambda _, reading: photo(checked, None, reading),  # of the nominal part
        }

    def predict(self, events: Events, reading: ReadingTable) -> Prediction:
        """What a reading should be.

        Parameters
        ----------
        events : tuple of Event
            Everything of them fixed but the melt depth, which is unknown within its range.
        reading : ReadingTable
            Kinds are answered for the part as it is before anything is drilled.
        """
        if reading.kind == "photo":
            return photo(self.checked, events, reading)
        stray = self.checked.case.stray
        if reading.kind in OF_A_SHEET and len(stray) >= reading.event > 0:
            if stray[reading.event - 1].mesh is not None:
                return Untold(OF_A_MESH)
        return self._by_kind[reading.kind](self._part(events), reading)

    def nominal(self, reading: ReadingTable) -> Prediction:
        """What it should be of a part without any event."""
        return self._by_kind[reading.kind](self._nominal, reading)

    def _part(self, events: Events) -> Predicted:
        """The part after some events; that of the last question is kept."""
        if self._last is None or self._last[0] != events:
            added, plain = self.checked.bodies.added, tuple(map(self._plain, events))
            self._last = events, Predicted(self.checked.whole, plain, added)
        return self._last[1]

    def _plain(self, event: Event) -> Event:
        """The same event with equal slices under one height, so that each is looked at once."""
        if event.plane:
            return replace(event, slices=event.slices[:1] * len(event.slices))
        unknown = event.unknown_slices
        slices = (z if k in unknown else self._first(z) for k, z in enumerate(event.slices))
        return replace(event, slices=tuple(slices))

    def _first(self, z: float) -> float:
        """The first height asked for at which what was melted has the same section."""
        if z not in self._alike:
            name = self._names.of(self.checked.whole.metal("melted", z))
            self._alike[z] = self._heights.setdefault(name, z)
        return self._alike[z]

    # ---- heights ---------------------------------------------------------------------------

    def _same(self, value: float, per_kelvin: float = 0.0) -> Measured:
        at = np.full(self.unknowns.count, value)
        return Measured(at, at, per_kelvin)

    def _least_depth(self, event: Event) -> float:
        stray = self.checked.case.stray
        low = stray[event.stray].penetration_low if event.stray < len(stray) else event.penetration
        return min(low, event.penetration)

    def _depth(self, event: Event) -> Floats:
        """Melt depth into loose powder at each node, (Q,) mm."""
        low = self._least_depth(event)
        return low + (event.penetration - low) * self.unknowns.depth

    def _recess(self) -> Floats:
        """How far ordinary faces lie below their counted height at each node, (Q,) mm."""
        return recess(self.layer, self.unknowns.packing)

    def _sheet_recess(self, event: Event, layers: int) -> Floats:
        return sheet_recess(self.layer, self.unknowns.packing, self._depth(event), layers)

    def _above(self, z: float) -> float:
        return z - self.checked.platform_z

    def _top(self, predicted: Predicted) -> Floats:
        """Highest face of the part above the platform at each node, (Q,) mm; warm."""
        end, lift = float(self.checked.bodies.bounds[1, 2]), 0.0
        for event in predicted.events:
            if event.bottom < end + lift - SAME_MM:
                lift += event.rise
        top = self._above(end + lift) - self._recess()
        for event in predicted.events:
            if event.slices and event.top > end + lift + SAME_MM:
                on_top = self._above(event.top) - self._sheet_recess(event, len(event.slices))
                top = np.maximum(top, on_top)
        return top

    def _height(self, predicted: Predicted, warm: Floats, reading: ReadingTable) -> Measured:
        """A height above the platform as it is read, from the platform or from the top."""
        if reading.datum == "top":
            warm = self._top(predicted) - warm
        return Measured(warm, warm, self.unknowns.per_mm_kelvin * max(float(warm.mean()), 0.0))

    def _part_height(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        foot = self._above(float(self.checked.bodies.bounds[0, 2]))
        warm = self._top(predicted) - foot
        return Measured(warm, warm, self.unknowns.per_mm_kelvin * float(warm.mean()))

    # ---- rims ------------------------------------------------------------------------------

    def _event(self, predicted: Predicted, reading: ReadingTable) -> Event | None:
        wanted = reading.event - 1
        return next((event for event in predicted.events if event.stray == wanted), None)

    def _rim(self, predicted: Predicted, reading: ReadingTable) -> tuple[Event, Rim] | None:
        event = self._event(predicted, reading)
        if event is None:
            return None
        rim = self._rims.of(predicted, event, reading.direction)
        return None if rim is None else (event, rim)

    def _aside(self, predicted: Predicted, event: Event) -> float:
        """How far the part above an event stands beside the part below it, mm."""
        key = (event.bottom, event.top, event.rise, event.shift)
        if key not in self._steps:
            self._steps[key] = step_mm(predicted, event)
        return self._steps[key]

    def _no_rim(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        """Nothing to measure, where there is no step either."""
        event = self._event(predicted, reading)
        if event is None or self._aside(predicted, event) < LEAST_OVERHANG_MM:
            return Absent()
        return Untold("the event leaves a step and no rim: give it as kind 'step'")

    def _rim_seen(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        """A rim or a step: whatever stands out of the side."""
        found = self._rim(predicted, reading)
        event = self._event(predicted, reading)
        width = 0.0 if found is None else found[1].width_mm
        if event is not None:
            width = max(width, self._aside(predicted, event))
        there = True if width >= LEAST_RIM_MM else None if width > SAME_MM else False
        return yes_or_no(bool(reading.value), there, reading.detection, reading.false_call)

    def _rim_top(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        found = self._rim(predicted, reading)
        if found is None:
            return self._no_rim(predicted, reading)
        event, rim = found
        counted = self._above(event.bottom) + (rim.last + 1) * event.layer
        return self._height(predicted, counted - self._sheet_recess(event, rim.layers), reading)

    def _rim_bottom(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        found = self._rim(predicted, reading)
        if found is None:
            return self._no_rim(predicted, reading)
        event, rim = found
        counted = self._above(event.bottom) + rim.first * event.layer
        return self._height(predicted, counted - self._depth(event), reading)

    def _rim_thickness(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        found = self._rim(predicted, reading)
        if found is None:
            return self._no_rim(predicted, reading)
        event, rim = found
        most = rim.layers * event.layer + self._depth(event)
        return Measured(most - self._sheet_recess(event, rim.layers), most)

    def _rim_width(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        """Beyond the part below or above: they differ by the step."""
        found = self._rim(predicted, reading)
        event = self._event(predicted, reading)
        width = 0.0 if found is None else found[1].width_mm
        aside = 0.0 if event is None else self._aside(predicted, event)
        every = np.ones(self.unknowns.count)
        return Measured(width * every, (width + aside) * every)

    def _step(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        event = self._event(predicted, reading)
        assert reading.direction is not None
        (x, y), shift = reading.direction, (0.0, 0.0) if event is None else event.shift
        return self._same((shift[0] * x + shift[1] * y) / math.hypot(x, y))

    # ---- faces inside and beside the sheet ---------------------------------------------------

    def _growth(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        between = Between(reading.over or 0.0, reading.recesses)
        return growth(self.checked, self.unknowns, predicted.events, (reading.event - 1,), between)

    def _sheet_face(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        event = self._event(predicted, reading)
        found = None if event is None else self._faces.of(predicted, event, reading.at or ())
        if event is None or found is None:
            return Absent()
        if isinstance(found, Untold):
            return found
        (first, last), up = found, reading.kind == "sheet_top"
        warm = self._above(event.bottom) + (last + 1 if up else first) * event.layer
        low = self._sheet_recess(event, last - first + 1) if up else self._depth(event)
        told = self._height(predicted, warm - low, reading)
        more, fall = reading.recesses * self._recess(), told.per_kelvin
        if reading.over is not None:
            fall = self.unknowns.per_mm_kelvin * reading.over
        return replace(told, low=told.low - more, high=told.high - more, per_kelvin=fall)

    # ---- mass ------------------------------------------------------------------------------

    def _mass(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        density = self.checked.case.part.density_g_cm3
        if density is None:
            return Untold("weighing cannot tell: the density is not known")
        mean = sisters_mean(reading.sisters)
        if mean is None:
            return Untold("weighing cannot tell: it needs two sisters or more")
        if self.trapped_g == 0.0 and self._may_trap(predicted):
            return Untold("weighing cannot tell: how much powder the event traps is not known")
        low, high = (end * density * 1e-3 for end in self.added_mm3(predicted))
        if reading.stage == "found":  # not emptied: stray metal lies where powder would be
            low = min(low, low * (1.0 - float(self.unknowns.packing.max())))
        every = np.ones(self.unknowns.count)
        return Measured((mean + low) * every, (mean + high + self.trapped_g) * every)

    def _may_trap(self, predicted: Predicted) -> bool:
        """Whether a passage is sealed in two places, so that what lies between holds powder."""
        least = self.checked.case.grid.smallest_way
        return any(
            sum(
                one.may_seal(least)
                for _, channels in self._openings(predicted, table.name)
                for one in channels
            )
            >= 2
            for table in self.checked.case.passage
        )

    def added_mm3(self, predicted: Predicted) -> tuple[float, float]:
        """Volume that the events add, at least and at most, mm3."""
        return self._added.of(predicted, self._least_depth, self._sheet_recess)

    # ---- passages --------------------------------------------------------------------------

    def _openings(self, predicted: Predicted, passage: str) -> list[tuple[Event, list[Opening]]]:
        """For each sheet and step that meets a passage, what it leaves of its channels.

        No channel where the passage begins or ends in the sheet: what is left is not told then.
        """
        met = (
            event
            for event in predicted.events
            if (event.slices or not event.still) and self._voids.touched(passage, predicted, event)
        )
        return [(event, list(self._voids.openings(passage, predicted, event))) for event in met]

    def _ball(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        assert reading.passage is not None
        part = self.checked.case.part
        low, high = self.clear_mm(predicted, reading.passage)
        passes, stops = limits(low, high, part.build_allowance, part.mesh_tolerance)
        return ball(reading, passes, stops)

    def clear_mm(self, predicted: Predicted, passage: str) -> tuple[float, float]:
        """Bounds of the clear diameter by sections at the sheets alone, mm."""
        low, high = self.clear.get(passage, (0.0, math.inf))
        if predicted.added is not None:
            low = 0.0  # where it stands is not looked at here
        for event, channels in self._openings(predicted, passage):
            if channels and all(one.free and (event.still or one.upright) for one in channels):
                continue
            low = 0.0  # a hole beside a bend may hold a ball that fits through it
            if channels and self._must_cross(predicted, passage, event):
                high = min(high, max(one.widest_mm for one in channels))
        return low, max(low, high)

    def untouched(self, events: Events, passage: str) -> bool:
        """Whether events leave a passage as it was, its mouths and what lies before them too."""
        predicted = self._part(events)
        if predicted.added is not None or not all(event.still for event in events):
            return False
        (table,) = [one for one in self.checked.case.passage if one.name == passage]
        rims = [mouth.rim[:, 2] for mouth in self.checked.ends(table)]
        for event in events:
            low, high = event.lowest - event.layer, event.top + event.layer
            if any(rim.min() <= high and rim.max() >= low for rim in rims):
                return False
        openings = self._openings(predicted, passage)
        return all(channels and all(one.free for one in channels) for _, channels in openings)

    def _must_cross(self, predicted: Predicted, passage: str, event: Event) -> bool:
        """Whether the two ports lie on either side of a sheet: then every way goes through it."""
        (table,) = [one for one in self.checked.case.passage if one.name == passage]
        ends = [
            mouth.rim[:, 2] + predicted.moved(mouth.centre)[2] - mouth.centre[2]
            for mouth in self.checked.ends(table)
        ]
        below = [bool(z.max() < event.lowest) for z in ends]
        above = [bool(z.min() > event.top) for z in ends]
        return (below[0] and above[1]) or (below[1] and above[0])

    def _pin(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        assert reading.port is not None
        assert reading.diameter is not None
        asked = (reading.port, reading.diameter, reading.held == "square")
        if predicted is self._nominal:
            depth = self._pins.nominal(*asked)
            return pin(reading, depth, depth)
        return pin(reading, *self._pins.stop(predicted, *asked))

    def _pressure_loss(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        return Untold(NO_LOSS)

    def _open_area(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        assert reading.passage is not None
        assert reading.height is not None
        if predicted.added is not None:
            return Untold(OF_A_MESH)
        z = reading.height + self.checked.platform_z
        ends = self._without_sheet(predicted, reading.passage, z)
        full = [high for _, high in ends]
        for event, channels in self._openings(predicted, reading.passage):
            if self._near(event, z):
                # A step is one plane, beside which the passage has all its area.
                whole = not event.slices or any(event.shift)
                most = [one.nominal_mm2 if whole else one.open_mm2[1] for one in channels]
                ends = [(one.open_mm2[0], top) for one, top in zip(channels, most, strict=True)]
                ends = ends or [(0.0, area) for area in full]
        if not ends:
            return Untold("the passage has no section at that height")
        low, high = (sum(end[k] for end in ends) for k in (0, 1))
        if ends and self._voids.shares(reading.passage):  # some of it may be the other's
            low = min(end[0] for end in ends)
        every = np.ones(self.unknowns.count)
        return Measured(low * every, high * every)

    def _without_sheet(
        self, predicted: Predicted, passage: str, z: float
    ) -> list[tuple[float, float]]:
        """Areas of a passage's channels beside all sheets at a height of the steel, mm2."""
        found = []
        for counted in (z, z + self._fallen(z)):
            lift = sum(event.rise for event in predicted.events if counted > event.top)
            found.append([v.area for v in self._voids.nominal(passage, counted - lift)])
        one, other = found
        if len(one) == len(other):
            return [(min(pair), max(pair)) for pair in zip(one, other, strict=True)]
        return [(min(sum(one), sum(other)), max(sum(one), sum(other)))]

    def _fallen(self, z: float) -> float:
        """How far what was melted at a height may lie below it now that it is cold, mm."""
        return self.unknowns.per_mm_kelvin * max(self.unknowns.kelvin) * max(self._above(z), 0.0)

    def _near(self, event: Event, z: float) -> bool:
        """Whether a sheet lies at a height that was read on the steel, within a layer."""
        low = event.lowest - event.layer - self._fallen(event.lowest)
        return low <= z <= event.top + event.layer

    def _seen(self, predicted: Predicted, reading: ReadingTable) -> Prediction:
        there: bool | None
        if reading.passage is not None:
            count = self.counted.get(reading.passage)
            if count is not None and (reading.crossing or 0) > count:
                return Untold(f"the passage has no crossing {reading.crossing}, but {count}")
            there = self._narrowed(predicted, reading.passage, reading.crossing)
        else:
            assert reading.height is not None
            there = self._stray_at(predicted, reading.height + self.checked.platform_z)
        if predicted.added is not None:
            there = there or None
        return yes_or_no(bool(reading.found), there, reading.detection, reading.false_call)

    def _narrowed(self, predicted: Predicted, passage: str, crossing: int | None) -> bool | None:
        """Whether stray metal stands in a passage, or in one crossing of it."""
        shares = []
        for _, channels in self._openings(predicted, passage):
            if not channels:
                shares.append((0.0, 1.0))
                continue
            at = self.crossings.get((passage, crossing)) if crossing is not None else None
            if at is not None:
                channels = [min(channels, key=lambda one: math.dist(one.middle, at))]
            shares += [(1.0, 1.0) if one.free else one.share for one in channels]
        if any(high < NAMEWORTHY for _, high in shares):
            return True
        return None if any(low < NAMEWORTHY for low, _ in shares) else False

    def _stray_at(self, predicted: Predicted, z: float) -> bool | None:
        """Whether stray metal stands in a void or out of the side at a height."""
        names = [table.name for table in self.checked.case.passage]
        for event in predicted.events:
            if not event.slices or not self._near(event, z):
                continue
            one = Predicted(self.checked.whole, (event,), None)
            if any(self._narrowed(one, name, None) for name in names):
                return True
            return True if self._rims.of(one, event) is not None else None
        return False
