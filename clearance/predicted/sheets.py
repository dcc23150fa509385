"""Outlines and bodies of sheets, kept from height to height.

In: the gates of a slab, and the sections that they stand for. Out: their outline, and the body
between two heights. A sheet that is looked at at many heights has the same slices at all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import RLock
from typing import Any, NamedTuple

from clearance.geometry.soup import Soup, moved_shape, stretched, unit_extruded
from clearance.predicted.stray import Gate, rounded

MOST_SHEETS = 64
"""Sheets that are kept, those asked for last."""

Section = Callable[[str, float, bool], Any]
"""Metal of a body just below or just above a height."""


class Sheet(NamedTuple):
    """What some gates make metal.

    Attributes
    ----------
    outline : shapely geometry
    unit : (T, 3, 3) ndarray of float32
        Drawn out from 0 to 1.
    """

    outline: Any
    unit: Soup

    def between(self, low: float, high: float) -> Soup:
        """Faces and walls between two heights."""
        return stretched(self.unit, low, high)


class Sheets:
    """Those of one window, asked for by several threads."""

    def __init__(self) -> None:
        self._kept: dict[tuple[Gate, ...], Sheet] = {}
        self._lock = RLock()

    def of(self, metal: Section, gates: tuple[Gate, ...]) -> Sheet:
        """What some gates make metal; the outline is the asker's own."""
        import shapely

        key = tuple(dict.fromkeys(gates))
        with self._lock:
            found = self._kept.pop(key, None)
            if found is None:
                shapes = [moved_shape(metal(g.body, g.z, g.above), rounded(g.shift)) for g in key]
                outline = shapely.union_all(shapes)
                found = Sheet(outline, unit_extruded(outline))
            self._kept[key] = found  # the one asked for last stands last
            if len(self._kept) > MOST_SHEETS:
                del self._kept[next(iter(self._kept))]
        return found._replace(outline=shapely.force_2d(found.outline))
