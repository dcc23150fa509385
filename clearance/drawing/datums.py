"""Where a place lies from the part's own edges and faces: what a machinist can touch off.

In: the part's triangles, as it stands after the event. Out: `Datums`, and words. Coordinates of the
mesh are of no use at the machine where nothing on the part shows their origin.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearance.verdict.numbers import near
from clearance.verdict.prepared import Checked

WITHIN_MM = 0.05
"""A facet so near to an extent lies in its face."""
SQUARE = 0.9998
"""It is level or upright within a degree."""
LEAST_MM2 = 4.0
"""A smaller face is none to touch off from."""
NAMES = ("x", "y", "z")

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Datums:
    """Extents of a part along x, y and z, mm, and the area of the flat face at each.

    Attributes
    ----------
    low, high : (x, y, z)
    low_mm2, high_mm2 : (x, y, z)
    """

    low: tuple[float, ...]
    high: tuple[float, ...]
    low_mm2: tuple[float, ...]
    high_mm2: tuple[float, ...]

    def along(self, axis: int, at: float) -> str:
        """How far a coordinate lies from the flat face at an extent, the nearer of two flat ones.

        Where neither has a face, from the lowest, which is then said to be no face.
        """
        ends = [(at - self.low[axis], "lowest", self.low_mm2[axis]),
                (self.high[axis] - at, "highest", self.high_mm2[axis])]  # fmt: skip
        flat = [end for end in ends if end[2] >= LEAST_MM2]
        far, which, _ = min(flat or ends[:1])
        kind = "face" if flat else "point, no flat face there"
        return f"{near(far)} mm from the {which} {NAMES[axis]} {kind}"

    @property
    def is_round(self) -> bool:
        """Neither along x nor along y it has a flat side to touch off from."""
        return max(*self.low_mm2[:2], *self.high_mm2[:2]) < LEAST_MM2

    def plan(self, at: Sequence[float] | Floats) -> str:
        """A place in plan from the flat sides; of a part without any from its middle."""
        if not self.is_round:
            return " and ".join(self.along(axis, float(at[axis])) for axis in (0, 1))
        middle = [0.5 * (self.low[axis] + self.high[axis]) for axis in (0, 1)]
        x, y = float(at[0]) - middle[0], float(at[1]) - middle[1]
        turn = math.degrees(math.atan2(y, x)) % 360.0
        return (
            f"{near(math.hypot(x, y))} mm from the middle of its outside, at {near(turn, 1)} deg "
            "from +x to +y, which has to be marked on it"
        )

    def of(self, at: Sequence[float]) -> str:
        """A place from the part's faces, in words."""
        return f"{self.plan(at)}; {self.along(2, float(at[2]))}"

    def height(self, z: float) -> str:
        """A height from both ends of the part, for a caliper."""
        low, high = z - self.low[2], self.high[2] - z
        return f"{near(low)} mm above its lowest face, {near(high)} mm below its top"


def datums(triangles: NDArray[np.float32]) -> Datums:
    """Extents, and how much flat face there is at each.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
    """
    soup = triangles.astype(np.float64)
    low, high = soup.min((0, 1)), soup.max((0, 1))
    side = np.cross(soup[:, 1] - soup[:, 0], soup[:, 2] - soup[:, 0])
    size = np.linalg.norm(side, axis=1)
    areas: list[list[float]] = [[], []]
    for axis in range(3):
        for found, extent, way in ((areas[0], low, -1.0), (areas[1], high, 1.0)):
            there = (np.abs(soup[:, :, axis] - extent[axis]) < WITHIN_MM).all(1)
            there &= way * side[:, axis] > SQUARE * size
            found.append(0.5 * float(size[there].sum()))
    return Datums(_plain(low), _plain(high), tuple(areas[0]), tuple(areas[1]))


def of_part(checked: Checked) -> Datums:
    """Datums of the part as the event left it, heights above the platform.

    Where what lies above the event stands aside, the sides are those of what lies below it. Stray
    rims that stand out of a side are no face.
    """
    soup, events = checked.bodies.part, checked.unknowns.variants[0].events or ()
    known = datums(soup)
    top = np.array([0.0, 0.0, known.high[2]])
    grown = float(checked.whole.predict(events).moved(top)[2]) - known.high[2] if events else 0.0
    shifted = [event.bottom for event in events if event.shift != (0.0, 0.0)]
    if shifted:
        below = soup[(soup[..., 2] <= min(shifted)).all(1)]
        if len(below):
            foot = datums(below)
            known = Datums(
                (*foot.low[:2], known.low[2]),
                (*foot.high[:2], known.high[2]),
                (*foot.low_mm2[:2], known.low_mm2[2]),
                (*foot.high_mm2[:2], known.high_mm2[2]),
            )
    z = checked.platform_z
    return replace(
        known,
        low=(*known.low[:2], known.low[2] - z),
        high=(*known.high[:2], known.high[2] + grown - z),
    )


def _plain(values: Floats) -> tuple[float, ...]:
    return tuple(float(v) for v in values)
