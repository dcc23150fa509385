"""The nominal part where it stands after the events, as a solid.

In: the nominal solid, events. Out: solids, from the words of the design alone (docs/method.md).
"""

from __future__ import annotations

import manifold3d as m3
import numpy as np

from clearance.predicted.slabs import Event, rounded
from clearance.verdict.solids import OVERLAP_MM, Floats, level_slab, united


def standing(nominal: m3.Manifold, events: tuple[Event, ...], beside: bool = True) -> m3.Manifold:
    """The part where it stands after the events, without stray metal; gaps count as metal.

    beside : bool
        Also where the part stands on one side of a gap only: nothing but stray metal can lie there.
    """
    pieces: list[m3.Manifold] = []
    foot, lift, shift = -np.inf, 0.0, np.zeros(2)
    for event in events:
        moved = shift + np.array(event.shift)
        grown = lift + event.rise
        if event.rise == 0.0 and (moved == shift).all():
            continue  # the part goes on as it is
        pieces.append(_between(nominal, foot, event.bottom, lift, shift))
        foot = event.bottom
        if event.rise != 0.0:
            ends = (event.bottom - lift, event.top - grown)
            below, above = (outline(nominal, z, moved) for z in ends)
            gap = below + above if beside else below ^ above
            pieces.append(level_slab(gap, event.bottom, event.top))
            foot = event.top
        lift, shift = grown, moved
    pieces.append(_between(nominal, foot, np.inf, lift, shift))
    return united(pieces)


def outline(body: m3.Manifold, z: float, moved: Floats) -> m3.CrossSection:
    """A level section of a solid, moved in plan."""
    return body.slice(z).translate((float(moved[0]), float(moved[1])))


def _between(
    nominal: m3.Manifold, low: float, high: float, lift: float, shift: Floats
) -> m3.Manifold:
    """The nominal part between two predicted heights, moved."""
    moved = nominal.translate((float(shift[0]), float(shift[1]), lift))
    if np.isfinite(low):
        moved = moved.trim_by_plane((0.0, 0.0, 1.0), low)
    if np.isfinite(high):
        moved = moved.trim_by_plane((0.0, 0.0, -1.0), -(high + OVERLAP_MM))
    return moved


def moves(events: tuple[Event, ...]) -> Floats:
    """How far each piece of the part is moved, (K, 3) mm, the lowest first; see `slabs.offset`."""
    found = [np.zeros(3)]
    for event in events:
        found.append(found[-1] + (*event.shift, event.rise))
    return np.array([(*rounded((x, y)), z) for x, y, z in found])
