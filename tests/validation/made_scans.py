"""A part whose scans are made by script, and how they are judged: one table of scenes.

In: what is drawn (radius of the bore, a sheet, pose, blur, noise). Out: the scan laid on the part
and its passage as measured. `test_made_scans.py` draws scenes, docs/validation.md has some rows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import make
import numpy as np
import scans
import shapes

from clearance.api import examine
from clearance.case.read import read_case
from clearance.scanned.measured import measured, scanned
from clearance.scanned.registration import registered

LOW, HIGH = (0.0, 0.0, 0.0), (8.0, 7.0, 6.0)
NOTCH = ((6, 5, 4), (9, 8, 7))
VOXEL, SHEET = 0.25, 3.0
BANDS = ((SHEET - 0.6, SHEET + 0.9),)


def part() -> Any:
    """As drawn: a block with a notch, which no turn and no mirror maps on itself, and a bore."""
    bore = shapes.bore([3, 3, -1], [3, 3, 7], 1.5)
    return shapes.block(LOW, HIGH) - bore - shapes.block(*NOTCH)


@dataclass(frozen=True)
class Scene:
    """One scan: a bore of `radius`, shut by a sheet `thick` mm if there is one.

    Its upper piece stands `step` aside along x; `pose` are further keys of `scans.scan`.
    """

    radius: float
    thick: float = 0.0
    step: float = 0.0
    pose: dict[str, Any] = field(default_factory=dict)

    def distance(self, points: Any) -> Any:
        """To the metal as built."""
        aside = np.array([self.step, 0.0, 0.0])
        low, high = self._piece(points), self._piece(points - aside)
        metal = np.where(points[..., 2] < SHEET, low, high) if self.step else low
        if not self.thick:
            return metal
        z = points[..., 2]
        slab = np.maximum(SHEET - z, z - SHEET - self.thick)
        plug = scans.rod(points, (3, 3, 0), (0, 0, 1), self.radius + 0.2)
        return np.minimum(metal, np.maximum(slab, plug))

    def _piece(self, points: Any) -> Any:
        metal = np.maximum(scans.block(points, LOW, HIGH), -scans.block(points, *NOTCH))
        return np.maximum(metal, -scans.rod(points, (3, 3, 0), (0, 0, 1), self.radius))

    def soup(self) -> Any:
        """Its scan."""
        return scans.scan(self.distance, LOW, HIGH, **{"voxel": VOXEL, **self.pose})


def drawn(folder: Path, event: bool) -> tuple[Any, Any]:
    """The part as drawn, checked once, with or without an event that may leave a sheet."""
    passage = make.passage([3, 3, 0], [3, 3, 6], 1.5, 2.4)
    stray = [make.plane(SHEET, 1, penetration=0.1)] if event else []
    scan = {"mesh": "part.stl", "uncertainty": 0.08, "placed": True}
    path = make.write_case(folder, part(), passage, stray, scan=scan)
    return examine(replace(read_case(path), scan=None), verify=False), read_case(path)


def judged(of: tuple[Any, Any], soup: Any) -> tuple[Any, Any]:
    """A scan laid on the part, and its passage as measured."""
    examined, case = of
    checked = replace(examined.checked, case=case)
    laid = registered(soup, checked.bodies.part, BANDS if case.stray else (), placed=True)
    found = scanned(measured(checked, laid), examined.checks[0], examined.result.passages[0])
    return laid, found


POSE = {"rotation": scans.turned([1, 2, 3], 2.5), "shift": np.array([0.2, -0.3, 0.1])}
FINE = {**POSE, "voxel": 0.2, "blur": 0.7, "noise": 0.02}
FAR = scans.turned([1, 2, 3], 37.0)
TURNED = Scene(1.5, step=0.15, pose={**FINE, "rotation": FAR})
SLIGHTLY = Scene(1.5, pose=FINE)
NARROW = Scene(1.3, pose={**POSE, "blur": 0.8, "noise": 0.03})
WIDE = Scene(1.65, pose={**POSE, "blur": 0.6, "noise": 0.01})
THIN = Scene(1.5, thick=0.08, pose={**POSE, "blur": 0.8, "noise": 0.02})
SHUT = Scene(1.5, thick=0.5, pose={**POSE, "blur": 0.6, "noise": 0.02})
STEP_MM = 0.15

SPOILT: dict[str, Callable[[Any], Any]] = {
    "0.4 % too large": lambda soup: soup * np.float32(1.004),
    "1 % too large": lambda soup: soup * np.float32(1.01),
    "in inches": lambda soup: soup / np.float32(25.4),
    "a mirror image": lambda soup: np.ascontiguousarray(
        (soup * np.float32([-1, 1, 1]) + np.float32([8, 0, 0]))[:, ::-1]
    ),
}
