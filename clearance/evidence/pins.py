"""Gauge pins: how deep one goes into a mouth, in the nominal and in the predicted part.

In: a mouth, the walls behind it, the predicted part. Out: `GaugePin`s.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely

from clearance.geometry.planes import Plane
from clearance.geometry.soup import Box, Soup, meeting
from clearance.kernels.compiler import kernel
from clearance.kernels.vectors import Floats
from clearance.passages.way import moved_mouth
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Predicted
from clearance.result import GaugePin

PIN_STEP_MM = 0.1
"""Gauge pins are taken in steps of a tenth, and a tenth smaller than the mouth."""
THINNER, THINNEST = 5, 10
"""Where the largest pin tells nothing: thinner ones in such steps, down to this, in tenths."""
READING_MM = 0.2
"""Two depths of a pin that differ by less are not told apart; common practice, no source."""
PIN_LENGTH_MM = 50.0
"""Length of a plain gauge pin; common practice, from memory."""
SQUARE_DEG = 0.01
"""A bore that leans less against its mouth stands square to it: its axis is read off facets."""
SAID_DEG = 0.5
"""From this lean on it is said that the pin does not stand square."""
SIDES = 32
"""Sides of the prism that stands for a pin."""


def held(off_normal_deg: float) -> str:
    """How a pin is held, in words; empty where it stands square to the mouth."""
    if off_normal_deg < SAID_DEG:
        return ""
    return f"along the bore, {off_normal_deg:.0f} deg off square"


def tip(mouth: Mouth, pin: GaugePin) -> Floats | None:
    """Where a pin's end stands in the predicted part, (3,) mm; None where it goes through.

    Right as long as the mouth stands where it did.
    """
    entry = Entry.of(mouth)
    return None if pin.stops_at_mm is None else entry.origin + pin.stops_at_mm * entry.inward


def gauge_pins(
    mouth: Mouth, predicted: Predicted, walls: Soup, nominal_walls: Soup, whole: Predicted
) -> tuple[GaugePin, ...]:
    """The largest pin that enters a mouth, and the thickest that tells the two parts apart.

    A pin is pushed along the bore's axis. It enters if nominally it goes in by half its diameter
    at least: a chamfer alone does not take it. `walls` and `nominal_walls` are the triangles that
    bound the void behind the mouth, `whole` is the predicted part over all of it. Depths are along
    the pin from the mouth's closing surface; None where it goes through, 0 where stray metal in
    front of the mouth keeps it out. Empty where no pin enters; one pin where it is the largest
    that tells, or none does.
    """
    entry = Entry.of(mouth)
    here = entry.moved(moved_mouth(predicted, mouth).centre - mouth.centre)
    nominal, now = Straight.inward(entry, nominal_walls), Straight.inward(here, walls)
    before = _before(here, whole)

    def enters(tenths: int) -> bool:
        diameter = tenths * PIN_STEP_MM
        stop = nominal.stop(0.5 * diameter)
        return stop is None or stop >= 0.5 * diameter

    low, high = 0, int(2.0 * entry.radius / PIN_STEP_MM + 1e-9)  # `high` is too large
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if enters(middle) else (low, middle)
    if low == 0:
        return ()
    largest = _pin(entry, low, now, nominal, before)
    if largest.tells_apart:
        return (largest,)
    sizes = range(THINNER * ((low - 1) // THINNER), THINNEST - 1, -THINNER)
    thinner = (_pin(entry, tenths, now, nominal, before) for tenths in sizes)
    telling = next((pin for pin in thinner if pin.tells_apart), None)
    return (largest,) if telling is None else (largest, telling)


def _pin(
    entry: Entry, tenths: int, now: Straight, nominal: Straight, before: Before | None
) -> GaugePin:
    diameter = round(tenths * PIN_STEP_MM, 1)
    stop, nominally = now.stop(0.5 * diameter), nominal.stop(0.5 * diameter)
    if before is not None and before.keeps_out(0.5 * diameter):
        stop = 0.0
    if stop is None or nominally is None:
        apart = 0.0 if stop is nominally else math.inf
    else:
        apart = abs(stop - nominally)
    tells = apart >= READING_MM
    x, y, z = (float(value) for value in entry.inward)
    return GaugePin(
        entry.name,
        diameter,
        stop,
        nominally,
        tells,
        None if tells else apart,
        direction=(x, y, z),
        off_normal_deg=entry.off_normal_deg,
    )


@dataclass(frozen=True, eq=False, slots=True)
class Entry:
    """Where and which way a pin is pushed into a mouth, and the largest circle seen that way."""

    name: str
    origin: Floats
    inward: Floats
    radius: float
    off_normal_deg: float

    @classmethod
    def of(cls, mouth: Mouth, square: bool = False) -> Entry:
        """Along the bore; `square`: square to the mouth, however the bore leans."""
        cosine = float(mouth.axis @ mouth.plane.normal)
        sine = float(np.linalg.norm(np.cross(mouth.axis, mouth.plane.normal)))
        off = math.degrees(math.atan2(sine, cosine))
        if square or off < SQUARE_DEG:
            inward = -mouth.plane.normal
            return cls(mouth.name, mouth.deepest, inward, mouth.inscribed_radius, 0.0)
        across = Plane.through(mouth.entry, mouth.axis)
        seen = shapely.transform(
            mouth.polygon, lambda at: across.to_plane(mouth.plane.to_space(at))
        )
        middle = shapely.Point(0.0, 0.0)
        radius = float(seen.boundary.distance(middle)) if seen.contains(middle) else 0.0
        return cls(mouth.name, mouth.entry, -mouth.axis, radius, off)

    def takes(self, diameter: float) -> bool:
        """Whether a pin is no wider than the mouth; of a wider one `Straight` tells nothing."""
        return 0.5 * diameter <= self.radius

    def moved(self, step: Floats) -> Entry:
        """The same where the mouth lies in the predicted part."""
        return replace(self, origin=self.origin + step)


@dataclass(frozen=True, eq=False, slots=True)
class Straight:
    """A straight way from a mouth, and the walls that a pin can meet there."""

    origin: Floats
    frame: Floats
    walls: Soup

    @classmethod
    def inward(cls, entry: Entry, walls: Soup) -> Straight:
        """The way that a pin is pushed."""
        return cls.along(entry.inward, entry, walls)

    @classmethod
    def along(cls, direction: Floats, entry: Entry, walls: Soup) -> Straight:
        """The way from a mouth in any direction."""
        axes = Plane.through(entry.origin, direction)
        frame = np.stack([axes.u, axes.v, axes.normal])
        reach = entry.radius / np.cos(np.pi / SIDES)
        return cls(entry.origin, frame, walls[_beside(walls, entry.origin, frame, reach)])

    def stop(self, radius: float) -> float | None:
        """Depth at which a flat-ended pin meets metal; None if it never does."""
        depth = float(_first_contact(self.walls, self.origin, self.frame, radius))
        return depth if np.isfinite(depth) else None


@dataclass(frozen=True, eq=False, slots=True)
class Before:
    """The way straight out from a mouth: stray metal there, and the part's own."""

    stray: Straight
    part: Straight

    def keeps_out(self, radius: float) -> bool:
        """Stray metal stands where a pin would be held; within the part's metal it adds none."""
        stray, part = self.stray.stop(radius), self.part.stop(radius)
        if stray is None or stray > PIN_LENGTH_MM:
            return False
        return part is None or stray < part


def _before(entry: Entry, whole: Predicted) -> Before | None:
    """What stands before a mouth of the predicted part; None without stray metal there."""
    out = -entry.inward
    ends = np.stack([entry.origin, entry.origin + PIN_LENGTH_MM * out])
    box = Box(ends.min(0) - entry.radius, ends.max(0) + entry.radius)
    soups = whole.stray_near(box)
    if not soups:
        return None
    stray = meeting(np.concatenate(soups), box)
    return Before(
        Straight.along(out, entry, stray), Straight.along(out, entry, whole.bare_surface(box))
    )


@kernel
def _beside(triangles, origin, frame, reach):  # type: ignore[no-untyped-def]
    """Which triangles lie ahead of a plane and meet a square of half width `reach` in it."""
    kept = np.zeros(triangles.shape[0], np.bool_)
    low, high = np.empty(3), np.empty(3)
    for f in range(triangles.shape[0]):
        for a in range(3):
            low[a], high[a] = np.inf, -np.inf
        for v in range(3):
            for a in range(3):
                p = 0.0
                for b in range(3):
                    p += frame[a, b] * (triangles[f, v, b] - origin[b])
                low[a], high[a] = min(low[a], p), max(high[a], p)
        kept[f] = (
            high[2] >= 0.0
            and low[0] <= reach
            and high[0] >= -reach
            and low[1] <= reach
            and high[1] >= -reach
        )
    return kept


@kernel
def _first_contact(triangles, origin, frame, radius):  # type: ignore[no-untyped-def]
    """Least depth, from 0 on, at which a soup comes within a pin's radius of its axis.

    The pin is taken as the prism of `SIDES` sides around it: it stops a little early.
    """
    first = np.inf
    turn = 2.0 * np.pi / SIDES * np.arange(SIDES)
    cosine, sine = np.cos(turn), np.sin(turn)
    corner = radius / np.cos(np.pi / SIDES)
    p = np.empty((3 + SIDES, 3))
    q = np.empty((3 + SIDES, 3))
    for f in range(triangles.shape[0]):
        near, far = np.inf, -np.inf
        for v in range(3):
            for a in range(3):
                p[v, a] = 0.0
                for b in range(3):
                    p[v, a] += frame[a, b] * (triangles[f, v, b] - origin[b])
            near, far = min(near, p[v, 2]), max(far, p[v, 2])
        if far < 0.0 or near >= first:
            continue
        if min(p[0, 0], p[1, 0], p[2, 0]) > corner or max(p[0, 0], p[1, 0], p[2, 0]) < -corner:
            continue
        if min(p[0, 1], p[1, 1], p[2, 1]) > corner or max(p[0, 1], p[1, 1], p[2, 1]) < -corner:
            continue
        m = 3
        for side in range(SIDES):
            x, y = cosine[side], sine[side]
            n = 0
            for v in range(m):
                w = v + 1 if v + 1 < m else 0
                dv = radius - x * p[v, 0] - y * p[v, 1]
                dw = radius - x * p[w, 0] - y * p[w, 1]
                if dv > 0.0:
                    q[n, 0], q[n, 1], q[n, 2] = p[v, 0], p[v, 1], p[v, 2]
                    n += 1
                if (dv > 0.0) != (dw > 0.0):
                    for a in range(3):
                        q[n, a] = p[v, a] + dv / (dv - dw) * (p[w, a] - p[v, a])
                    n += 1
            m = n
            if m == 0:
                break
            p, q = q, p
        for v in range(m):
            if 0.0 <= p[v, 2] < first:
                first = p[v, 2]
    return first
