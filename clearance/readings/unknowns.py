"""What no reading tells by itself and all heights of one part share: packing, melt depth, cooling.

In: the ranges of the case. Out: nodes of packing and melt depth with their weights, and the range
of cooling, whose integral has a closed form. Every value within a range counts alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.case.materials import ALLOYS
from clearance.case.powder_bed import PACKING, recess
from clearance.case.read import Case, expansion_of

Floats = NDArray[np.float64]

NODES = 8
"""Nodes of a range over which a reading moves by few of its uncertainties."""
FEW_U = 5.0
"""So few; beyond it there is a node for each uncertainty."""
MOST_NODES = 200
"""Nodes of a range at most: finer than a two-hundredth of it no length is told."""
MOVED = (
    "rim_top",
    "rim_bottom",
    "rim_thickness",
    "growth",
    "sheet_top",
    "sheet_bottom",
    "part_height",
)
"""Kinds of reading that packing and melt depth move."""
MEASURED_COOLED_K = (0.0, 150.0)
"""How far parts cool from building to measuring, where nothing is given: an assumption."""


@dataclass(frozen=True, eq=False)
class Unknowns:
    """One value of each holds for the whole part.

    Attributes
    ----------
    packing : (Q,) ndarray
        Density of the powder bed over the solid's.
    depth : (Q,) ndarray
        Where the melt depth lies in its range, 0 to 1.
    weight : (Q,) ndarray
        Of the nodes; their sum is 1.
    kelvin : (float, float), K
        How far the part has cooled since it was built.
    per_mm_kelvin : float, 1/K
        Thermal expansion; the largest of the known alloys' where the part's is not known.
    """

    packing: Floats
    depth: Floats
    weight: Floats
    kelvin: tuple[float, float]
    per_mm_kelvin: float

    @classmethod
    def of(cls, case: Case) -> Unknowns:
        """From a case: the widest of its stray sheets' ranges of packing."""
        low = min((s.packing_low for s in case.stray if s.mesh is None), default=PACKING[0])
        high = max((s.packing_high for s in case.stray if s.mesh is None), default=PACKING[1])
        same_depth = all(s.penetration_low == s.penetration_high for s in case.stray)
        deepest = max((s.penetration_high for s in case.stray), default=0.0)
        depths = max((s.penetration_high - s.penetration_low for s in case.stray), default=0.0)
        layer, u = case.part.layer_thickness, _finest_u(case)
        moved = recess(layer, low) - recess(layer, high) + (high - low) * deepest
        packing, first = _nodes(low, high, moved / u)
        depth, second = _nodes(0.0, 0.0 if same_depth else 1.0, depths / u)
        expansion = expansion_of(case.part)
        if expansion is None:
            expansion = max(alloy.expansion_1e6_k for alloy in ALLOYS)
        return cls(
            np.repeat(packing, len(depth)),
            np.tile(depth, len(packing)),
            np.outer(first, second).ravel(),
            case.part.measured_cooled or MEASURED_COOLED_K,
            expansion * 1e-6,
        )

    @property
    def count(self) -> int:
        """Number of nodes."""
        return len(self.weight)


def _finest_u(case: Case) -> float:
    """Least uncertainty of a length that these unknowns move, mm; infinite without one."""
    return min((r.u for r in case.reading if r.u and r.kind in MOVED), default=np.inf)


def _nodes(low: float, high: float, moved_u: float) -> tuple[Floats, Floats]:
    """Nodes and weights of the mean over a range; both ends are among them.

    `moved_u`: over the range a reading moves by about so many of its uncertainties. Where that is
    many, what a reading allows is a narrow part of the range, which must not fall between nodes.
    """
    if high <= low:
        return np.array([low]), np.array([1.0])
    if moved_u <= FEW_U:
        return low + (high - low) * np.linspace(0.0, 1.0, NODES), np.array(_newton_cotes())
    half = int(np.ceil(min(moved_u, MOST_NODES) / 2.0))
    weight = np.ones(2 * half + 1)  # Simpson's rule
    weight[1:-1:2], weight[2:-1:2] = 4.0, 2.0
    return np.linspace(low, high, len(weight)), weight / weight.sum()


def _newton_cotes() -> Sequence[float]:
    """Weights of the closed rule on eight nodes: exact up to the seventh power."""
    numbers = (751, 3577, 1323, 2989, 2989, 1323, 3577, 751)
    return [number / 17280.0 for number in numbers]


def assumptions(case: Case) -> tuple[str, ...]:
    """What is assumed of heights where the case is silent, in words; none without readings."""
    said = []
    if not case.reading:
        return ()
    if case.part.measured_cooled is None:
        low, high = MEASURED_COOLED_K
        said.append(
            f"[part]: measured_cooled is not given: since it was built the part has cooled by "
            f"{low:g} to {high:g} K when its heights were read"
        )
    if expansion_of(case.part) is None:
        largest = max(alloy.expansion_1e6_k for alloy in ALLOYS)
        said.append(
            f"[part]: no thermal expansion is known: for heights that were read {largest:g}e-6/K, "
            "the largest of the program's alloys"
        )
    return tuple(said)
