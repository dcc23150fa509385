"""Whether stray layers have changed a part that they neither lift nor set aside.

In: the nominal part in a window, and events. Out: yes or no, by exact sections: columns may
pass beside a rim that is narrower than their distance.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from clearance.geometry.level_faces import same_height_mm
from clearance.passages.crossings import with_vertex_between
from clearance.predicted.part import Events, Predicted, Window
from clearance.predicted.slabs import slabs

ROUNDING_MM = 1e-4
"""Narrower rims are rounding of the mesh's coordinates (at least four steps of float32)."""

MOST_LEVELS = 200
"""Heights looked at within one layer; where there are more, the part counts as affected."""


def changed(window: Window, events: Events) -> bool:
    """Whether slices add metal anywhere, or leave some out.

    Within each layer of each sheet what was melted is compared with the part at both faces of
    that layer, and between them where the part has vertices there, over the
    whole window: what stands into a void, out of the side, or is missing.

    Parameters
    ----------
    window : Window
        Over the whole part.
    events : tuple of Event or None
        None of which lifts or moves the part.
    """
    predicted = Predicted(window, events or (), None)
    farthest = np.float32(np.abs(window.bodies.bounds).max())
    rounding = max(ROUNDING_MM, 4.0 * float(np.spacing(farthest)))
    for slab in slabs(predicted.events, loose=True):
        if not slab.gates:
            continue
        slices = predicted.stray_outline(slab)
        within = _within(window, slab.low, slab.high)
        if len(within) > MOST_LEVELS:
            return True  # not proven
        levels = [(slab.low, True), (slab.high, False), *((z, False) for z in within)]
        for z, above in levels:
            part = window.metal("part", z, above)
            melted = slices if slab.lift is None else shapely.union(slices, part)
            if _wider(shapely.symmetric_difference(melted, part), rounding):
                return True
    return False


def _within(window: Window, low: float, high: float) -> list[float]:
    """Heights between two faces that show what lies wholly between them.

    Halfway between the heights of vertices, where the part has any there.
    """
    z = np.unique(with_vertex_between(window.bodies.part, low, high)[..., 2].astype(np.float64))
    z = z[(z > low + same_height_mm(low)) & (z < high - same_height_mm(high))]
    edges = np.array([low, *z, high]) if len(z) else np.empty(0)
    return [float(at) for at in 0.5 * (edges[1:] + edges[:-1])]


def _wider(shape: Any, width_mm: float) -> bool:
    """Whether any place of a figure is wider than that."""
    return not shapely.buffer(shape, -0.5 * width_mm, join_style="mitre").is_empty
