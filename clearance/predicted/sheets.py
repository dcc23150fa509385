"""Outlines and bodies of sheets, kept from height to height.

In: the gates of a slab, and the sections that they stand for. Out: their outline, and the body
between two heights. A sheet that is looked at at many heights has the same slices at all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import RLock
from typing import Any

from clearance.geometry.soup import Soup, moved_shape, stretched, unit_extruded
from clearance.predicted.slabs import Gate, rounded
from clearance.system.once import once

MOST_SHEETS = 64
"""Sheets that are kept, those asked for last."""

Section = Callable[[str, float, bool], Any]
"""Metal of a body just below or just above a height."""


class Sheet:
    """What some gates make metal.

    Triangles are worked out when a body is first asked for: many events are asked for their
    outline alone.
    """

    def __init__(self, outline: Any):
        self._outline = outline

    @property
    def outline(self) -> Any:
        """Outline (shapely), the asker's own."""
        import shapely

        return shapely.force_2d(self._outline)

    @once
    def unit(self) -> Soup:
        """Drawn out from 0 to 1, (T, 3, 3) float32."""
        return unit_extruded(self.outline)

    def between(self, low: float, high: float) -> Soup:
        """Faces and walls between two heights."""
        return stretched(self.unit, low, high)


class Sheets:
    """Those of one window, asked for by several threads."""

    def __init__(self) -> None:
        self._kept: dict[tuple[Gate, ...], Sheet] = {}
        self._lock = RLock()

    def of(self, metal: Section, gates: tuple[Gate, ...]) -> Sheet:
        """What some gates make metal."""
        import shapely

        key = tuple(dict.fromkeys(gates))
        with self._lock:
            found = self._kept.pop(key, None)
            if found is None:
                shapes = [moved_shape(metal(g.body, g.z, g.above), rounded(g.shift)) for g in key]
                found = Sheet(shapely.union_all(shapes))
            self._kept[key] = found  # the one asked for last stands last
            if len(self._kept) > MOST_SHEETS:
                del self._kept[next(iter(self._kept))]
        return found
