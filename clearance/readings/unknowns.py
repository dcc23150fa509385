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
from clearance.case.powder_bed import PACKING
from clearance.case.read import Case, expansion_of

Floats = NDArray[np.float64]

NODES = 8
"""Nodes of a range: heights change by a layer or so over it, and no gauge tells a tenth of that."""
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
        packing, first = _nodes(low, high)
        depth, second = _nodes(0.0, 0.0 if same_depth else 1.0)
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


def _nodes(low: float, high: float) -> tuple[Floats, Floats]:
    """Nodes and weights of the mean over a range; both ends are among them."""
    if high <= low:
        return np.array([low]), np.array([1.0])
    at = np.linspace(0.0, 1.0, NODES)
    weight = np.array(_newton_cotes())
    return low + (high - low) * at, weight


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
