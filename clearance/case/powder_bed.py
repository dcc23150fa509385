"""How much powder lies under a layer, and how much of it the layer surely melts.

In: layer thickness, packing, melt depth, cooling. Out: depths in mm. Pure numbers of the
process; where in the part powder stays is left to `predicted` and `evidence`.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Values = TypeVar("Values", float, NDArray[np.float64])
"""One number, or many."""

PACKING = (0.45, 0.6)
"""Density of the powder bed over that of the solid, least and most, where nothing is given.

An assumption. 0.5 and 0.6 are assumed and 0.38 to 0.6 reported in what Mahmoodkhani et al.,
Progress in Additive Manufacturing 4 (2019) 109, collect in their introduction.
"""


def recess(layer: float, packing: Values) -> Values:
    """How far the solid lies below the counted face of its layer, mm.

    A layer of loose powder of depth d melts to a solid of depth packing times d. Each layer
    is spread up to its counted face, over a solid that lies s below the counted face under
    it; so s' = (1 - packing)(s + layer), which tends to layer (1 - packing) / packing.

    Parameters
    ----------
    layer : float, mm
        Layer thickness.
    packing : float
        Density of the powder bed over that of the solid, above 0, below 1.

    Examples
    --------
    >>> round(recess(0.05, 0.5), 6), round(recess(0.05, 0.6), 6)
    (0.05, 0.033333)
    """
    return layer * (1.0 - packing) / packing


def sheet_recess(layer: float, packing: Values, penetration: Values, count: int) -> Values:
    """How far the top of a sheet melted over loose powder lies below its counted face, mm.

    The first layer melts the powder down to its melt depth p below it: s1 = (1 - packing)
    (layer + p); each further one follows as under `recess`, s' = (1 - packing)(s + layer).

    Parameters
    ----------
    layer : float, mm
    packing, penetration : float or ndarray
        Density of the bed over the solid's; melt depth into loose powder, mm.
    count : int
        Layers of the sheet.

    Examples
    --------
    >>> [round(n * 50 - sheet_recess(50.0, 0.5, 100.0, n)) for n in (1, 2, 3, 4)]
    [-25, 38, 94, 147]
    """
    low = penetration
    for _ in range(count):
        low = (1.0 - packing) * (low + layer)
    return low


def shrinkage(height: float, cooled: float, expansion_1e6_k: float) -> float:
    """How far the top of what stands has sunk while it cooled, mm.

    Parameters
    ----------
    height : float, mm
        Above the platform.
    cooled : float, K
    expansion_1e6_k : float, 1e-6/K

    Examples
    --------
    >>> round(shrinkage(31.2, 150.0, 16.5), 4)
    0.0772
    """
    return height * cooled * expansion_1e6_k * 1e-6


def welded(penetration: float, recess_mm: float, shrunk: float = 0.0) -> float:
    """How far below its counted face a layer melts at least what lies there, mm.

    Parameters
    ----------
    penetration : float, mm
        Melt depth below the layer's counted face, the least.
    recess_mm, shrunk : float, mm
        How far the solid below lies under its counted face, the most: packing and cooling.
    """
    return max(0.0, penetration - recess_mm - shrunk)


def joint_gap(penetration: float, recess_mm: float, shrunk: float) -> float:
    """Powder that may be left under the first layer after the stop, mm; parameters as `welded`.

    Without cooling that layer is one as any other, and those weld: only what the part has
    shrunk can be left.
    """
    return max(0.0, min(shrunk, recess_mm + shrunk - penetration))
