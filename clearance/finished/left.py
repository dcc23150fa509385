"""The metal that is left of the nominal part: without layers that stray ones took the place of.

In: the nominal solid, events. Out: a solid. Where the part has metal on both sides of a gap of
loose powder, the gap counts as metal: it is told as a joint.
"""

from __future__ import annotations

import manifold3d as m3
import numpy as np

from clearance.predicted.slabs import Event
from clearance.verdict.solids import Floats, level_slab, united
from clearance.verdict.standing import outline, standing

LEAST_MM3 = 1e-6
"""What lacks in no larger a volume is rounding."""


def left_of(nominal: m3.Manifold, events: tuple[Event, ...]) -> m3.Manifold:
    """What is left of a nominal part after events, in its own place: no stray metal beside it."""
    left = standing(nominal, events, beside=False)
    lift, shift = 0.0, np.zeros(2)
    for event in events:
        if event.still and (event.slices or event.spread) and not event.plane:
            lacks = _not_melted(nominal, event, lift, shift)
            left = left - lacks if lacks.volume() > LEAST_MM3 else left
        lift, shift = lift + event.rise, shift + np.array(event.shift)
    return left


def _not_melted(nominal: m3.Manifold, event: Event, lift: float, shift: Floats) -> m3.Manifold:
    """The part's own layers that an event left out, less what its wrong slices melted there.

    Of a sheet that may lie anywhere in its spread: what any of these sheets may leave out, or
    nothing where the event stands for all metal that is possible.
    """
    if event.spread and not event.sure:
        return m3.Manifold()
    low, high = event.bottom, event.top + event.spread
    own = nominal.translate((float(shift[0]), float(shift[1]), lift))
    own = own.trim_by_plane((0.0, 0.0, 1.0), low).trim_by_plane((0.0, 0.0, -1.0), -high)
    if own.is_empty():
        return own
    below, above = (outline(nominal, z - lift, shift) for z in (low, high))
    there = [level_slab(below ^ above, low, high)]
    for k, z in enumerate(() if event.spread else event.slices):
        if k not in event.unknown_slices:
            a = event.bottom + k * event.layer
            there.append(level_slab(outline(nominal, z, shift), a, a + event.layer))
    return own - united(there)
