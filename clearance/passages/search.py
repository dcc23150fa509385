"""Passages: is a ball's way from inlet to outlet proven, disproven, or neither, and how wide is it.

In: the predicted part in a window, the two mouths of a passage and its crossings.
Out: a `Way` with a proven bracket on the clear diameter. The lower bound is a
route with exact distances; the upper bound are sections that every route has to
pass. Source of both: docs/method.md, "The bracket".
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from clearance.columns import ways
from clearance.errors import GridError
from clearance.passages.crossings import Crossing
from clearance.passages.lower_bound import LowerBound
from clearance.passages.upper_bound import BESIDE, UpperBound
from clearance.passages.way import NO_ROUTE, Floats, Way
from clearance.passages.window_cells import MOST_CELLS

MOST_WINDOW = 3_000_000_000
"""Cells of a window at the pitch itself at most: its columns and squares have to fit."""
ROOMY = 8.0
"""Cells are first taken so large that a ball of the mouth's size is so many in radius."""


class Search(LowerBound, UpperBound):
    """The way between two mouths in one predicted part."""

    def forget_cells(self) -> None:
        """Give back the memory of the cells; they are worked out again if a way is asked for."""
        self.cells = replace(self.cells)

    def way(
        self,
        closed: tuple[Crossing, ...] = (),
        enough_mm: float = np.inf,
        hint: Way | None = None,
    ) -> Way:
        """Bracket the widest way that uses none of the crossings in `closed`.

        `enough_mm`: a bracket that lies wholly on one side of it need not be narrower
        than 0.3 of a pitch. `hint`: the way in the nominal part, which may still be the widest.
        """
        ceiling, leak = self._ceiling(closed)
        if ceiling < self.smallest_way_mm:
            return Way(0.0, 0.0, np.empty((0, 3)), leak, None)
        if hint is not None and hint.leak_mm == 0.0 and self.predicted.only_more:
            ceiling = min(ceiling, hint.high_mm)
        still: tuple[float, Floats, Floats | None] = (0.0, NO_ROUTE, None)
        if hint is not None and not closed:
            still = self._still(hint, ceiling, enough_mm)
            if (2.0 * still[0], ceiling, leak) == (hint.low_mm, hint.high_mm, False):
                return Way(hint.low_mm, ceiling, still[1], False, still[2])
        large, fine = self._sizes()
        if still[0] == 0.0 and large > fine and not leak:
            self.cells = replace(self.cells, every=large)
            still = self._route(closed, ceiling, enough_mm, tries=1)
            if ceiling - 2.0 * still[0] > self._fine(2.0 * still[0], ceiling, enough_mm):
                still = (0.0, NO_ROUTE, None)
        self.cells = replace(self.cells, every=fine)
        return self._bracket(closed, ceiling, leak, enough_mm, still)

    def _sizes(self) -> tuple[int, int]:
        """Two sizes of cells in pitches: large ones, which tell a roomy passage, and fine ones.

        Fine is a single pitch, or as few as fit.
        """
        pitch = self.predicted.grid.pitch_mm
        box = self.predicted.window.box
        cells = float(np.prod(box.high - box.low)) / pitch**3
        if cells > MOST_WINDOW:
            least_mm = np.ceil(1e4 * pitch * np.cbrt(cells / MOST_WINDOW)) / 1e4
            raise GridError(
                f"pitch: found {pitch:.4g}, which makes {cells:.1e} cells around the passage; "
                f"expected at least {least_mm:g} mm here ({MOST_WINDOW:.0e} cells)"
            )
        least = max(1, int(np.ceil(np.cbrt(cells / (0.9 * MOST_CELLS)))))
        return int(self.cells.most_mm / (ROOMY * pitch)), least

    def _bracket(
        self,
        closed: tuple[Crossing, ...],
        ceiling: float,
        leak: bool,
        enough_mm: float,
        known: tuple[float, Floats, Floats | None],
    ) -> Way:
        """The way that the fine cells lead to, or a route that is known if there is one."""
        low, route, throat = known
        if low == 0.0:
            low, route, throat = self._route(closed, ceiling, enough_mm)
        leak_mm, leak_at = self._leak() if leak else (0.0, None)
        # A way wider than the widest leak cannot have left the part.
        leak = leak and 2.0 * low <= leak_mm
        if leak or 2.0 * low < self.smallest_way_mm:
            high = ceiling if leak else min(ceiling, self._by_cells(closed))
            return Way(0.0, high, NO_ROUTE, leak, None, leak_mm, leak_at)
        high = ceiling
        if high - 2.0 * low > self._fine(2.0 * low, high, enough_mm):
            high = min(high, self._cut(closed, low, route, high))
        if high - 2.0 * low > 4.0 * self.cells.slack_mm:  # no section tells; cells may, roughly
            high = min(high, self._by_cells(closed))
        if self._neck_wanted(2.0 * low, high, enough_mm):
            high = min(high, self._neck(closed, low, throat))
        if high < 2.0 * low <= high + 4.0 * self.surface_mm:
            high = 2.0 * low
        return Way(2.0 * low, high, route, leak, throat, leak_mm, leak_at)

    def _leak(self) -> tuple[float, Floats | None]:
        """Upper bound of the widest way from the inlet to the window's rim, and its throat."""
        cells = self.cells
        rim = cells.rim()
        rim = rim[cells.passable.ravel()[rim] > 0]
        found, room = ways.widest_route(cells.radius, cells.passable, rim, cells.behind(self.inlet))
        at = None
        if len(found):
            narrowest = int(np.argmin(cells.radius.ravel()[found]))
            at = cells.centres(found[narrowest : narrowest + 1])[0]
        leak = 2.0 * (ways.widest_bound(cells.radius, room) + cells.slack_mm)
        beside = self._beside_mm(BESIDE)
        # Cells in front of mouths are shut, and what opens beside one with them.
        return (leak, at) if leak >= beside or self.hidden.all_plain else (beside, None)
