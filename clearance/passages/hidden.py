"""What stoppers hide: places of the possible void that are joined within a stopper.

In: the predicted part in a window and its mouths. Out: which pieces of the possible void lie behind
a mouth, with all that stoppers may hide a way to. A stopper that holds nothing of the part but the
rim of its own mouth hides nothing; what another one holds is looked at with smaller squares.
Source: docs/method.md, "What a stopper hides".
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.columns.cast import cast
from clearance.columns.grid import Grid
from clearance.columns.possible import PossibleVoid, possible_void
from clearance.columns.runs import Runs, unite
from clearance.columns.sure import surely_metal
from clearance.geometry.soup import Box, Soup, box_soup
from clearance.passages.alone import MOVED_MM, Alone, Stood, alone
from clearance.passages.closings import closing_in
from clearance.passages.stoppers import grown_by, layer_behind, pieces_at, stopper, sunk_mm
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Predicted, Window
from clearance.system.once import once

FINER = 10.5
"""Squares so many times smaller than the smallest way hide none of it: no point of their stopper
beside the mouth is farther than 5.2 of them from its rim, and the centre of such a ball is."""
LEAST = 4
"""Squares over a stopper are so many times smaller than those of the window; if they hide something
themselves, twice as many times, and so on."""
MOST_SQUARES = 100_000
"""Squares over one stopper, about, at most, for those smaller still."""
MOST_LEAST = 1_000_000
"""The same for the first ones: over a wide mouth at a fine pitch they are twice as small only."""


@dataclass(frozen=True, eq=False)
class Within:
    """The possible void in a stopper, and those of its pieces that lie just behind the mouth."""

    void: PossibleVoid
    behind: set[int]


class Hidden:
    """What the stoppers in one predicted part hide, but for ways narrower than `smallest_mm`."""

    def __init__(self, predicted: Predicted, mouths: Iterable[Mouth], smallest_mm: float):
        self.predicted, self.smallest_mm = predicted, smallest_mm
        self.stood = [
            Stood(one, place) for one in mouths for place in closing_in(predicted, one).places
        ]
        self._within: dict[int, Within | None] = {}
        self._widened: dict[int, Mouth] = {}

    @once
    def _alone(self) -> Alone:
        return alone(self.predicted, self.stood, self.predicted.grid.pitch_mm)

    @property
    def _hiding(self) -> list[int]:
        """Numbers of the stoppers that may hide something."""
        return [n for n in range(len(self.stood)) if n not in self._alone.inner]

    @property
    def all_plain(self) -> bool:
        """Whether it is proven that nothing else opens beside any of the mouths."""
        return len(self._alone.plain) == len(self.stood)

    def behind(
        self, void: PossibleVoid, names: set[str], joined: Sequence[set[int]] = ()
    ) -> set[int]:
        """Pieces of the possible void that lead to some mouths.

        `joined`: groups of pieces that are known to be joined.
        """
        own = [n for n, one in enumerate(self.stood) if one.nominal.name in names]
        pieces = set[int]().union(*(self._just_behind(void, n) for n in own))
        return self.grown(void, pieces, joined)

    def grown(
        self, void: PossibleVoid, pieces: set[int], joined: Sequence[set[int]] = ()
    ) -> set[int]:
        """Pieces of the possible void, and all that stoppers may hide a way to from them.

        From the outside nothing is followed back in: who asks whether two mouths are joined comes
        from the other one as well.
        """
        known, left = list(joined), list(self._hiding)
        while True:
            pieces = grown_by(pieces, known)
            inner = pieces - {void.outside}
            met = [n for n in left if self._near(void, n) & inner]
            if not met:
                return pieces
            left = [n for n in left if n not in met]
            known += [group for n in met for group in self._groups(void, n)]

    def behind_each(self, void: PossibleVoid) -> list[set[int]]:
        """Groups of pieces that lie behind one mouth, whose stopper hides nothing of the part.

        Where it begins within the part, stray metal that parts them may end in it.
        """
        pitch = self.predicted.grid.pitch_mm
        return [
            self._just_behind(void, n)
            for n in self._alone.inner
            if sunk_mm(self.stood[n].place, pitch) > MOVED_MM
        ]

    def groups(self, void: PossibleVoid) -> list[set[int]]:
        """Pieces of the possible void that lead into one another under a stopper."""
        return [group for n in self._hiding for group in self._groups(void, n)]

    def beside(self, void: PossibleVoid, place: Mouth, pieces: set[int]) -> bool:
        """Whether a stopper may hide a way between some pieces."""
        return any(
            self.stood[n].nominal.name == place.name and bool(self._near(void, n) & pieces)
            for n in self._hiding
        )

    def _near(self, void: PossibleVoid, n: int) -> set[int]:
        """Pieces of the possible void in the box of a stopper."""
        g, whole = void.places.grid, self.predicted.window.box
        box = _box(stopper(self.stood[n].place, g.pitch_mm)).grown(g.pitch_mm)
        if (box.low > whole.high).any() or (box.high < whole.low).any():
            return set()
        low, high = (
            _square_at(g, np.array([at[0]]), np.array([at[1]]))[0] for at in (box.low, box.high)
        )
        rows = g.ny - 1
        i, j = (
            a.ravel()
            for a in np.mgrid[low // rows : high // rows + 1, low % rows : high % rows + 1]
        )
        ones = np.ones(len(i))
        return void.pieces_over(i * rows + j, box.low[2] * ones, box.high[2] * ones)

    def _just_behind(self, void: PossibleVoid, n: int) -> set[int]:
        """Pieces behind a stopper, and those that lead to just behind its mouth within it."""
        place, pitch = self.stood[n].place, self.predicted.grid.pitch_mm
        pieces = pieces_at(void, place, pitch)
        if n in self._alone.inner:
            inner = self._alone.inner[n]
            return (
                pieces
                if inner is place.polygon
                else pieces | pieces_at(void, self._wide(n, inner), pitch)
            )
        within = self._looked_into(n)
        if within is None:
            return pieces | self._near(void, n)
        met = (_meeting(within.void, piece, void) for piece in within.behind)
        return pieces.union(*met)

    def behind_figures(self, place: Mouth) -> list[Mouth]:
        """A mouth where it stands, and as wide as what comes to its stopper's inner end."""
        figures = [place]
        for n, inner in self._alone.inner.items():
            one = self.stood[n].place
            here = np.array_equal(one.plane.origin, place.plane.origin)
            if one.name == place.name and here and inner is not place.polygon:
                figures.append(self._wide(n, inner))
        return figures

    def _wide(self, n: int, inner: Any) -> Mouth:
        """A mouth as wide as what comes to its stopper's inner end."""
        if n not in self._widened:
            self._widened[n] = replace(self.stood[n].place, polygon=inner)
        return self._widened[n]

    def _groups(self, void: PossibleVoid, n: int) -> list[set[int]]:
        """Pieces of the possible void that lead into one another within a stopper."""
        within = self._looked_into(n)
        if within is None:
            return [self._near(void, n)]
        inner = within.void
        found = [
            _meeting(inner, piece, void)
            for piece in np.unique(inner.piece).tolist()
            if piece != inner.outside
        ]
        return [group for group in (*found, self._just_behind(void, n)) if len(group) > 1]

    def _looked_into(self, n: int) -> Within | None:
        """What a stopper holds; None if smaller squares, as small as they may be, hide some too."""
        if n not in self._within:
            pitch = self._fine_pitch_mm(n)
            self._within[n] = None if pitch is None else self._look(n, pitch)
        return self._within[n]

    def _fine_pitch_mm(self, n: int) -> float | None:
        """Size of squares whose own stoppers hide nothing in a stopper."""
        box, pitch = self._box(n), self.predicted.grid.pitch_mm
        area = float(np.prod((box.high - box.low)[:2]))
        least = next((pitch / k for k in (LEAST, 2) if area * k**2 <= MOST_LEAST * pitch**2), None)
        if least is None:
            return None
        fine = least
        while fine == least or area / fine**2 <= MOST_SQUARES:
            if fine <= self.smallest_mm / FINER:
                return fine
            # How it has moved, or what is stray there, may matter still, on these squares' scale.
            known = alone(self.predicted, self.stood, fine).own
            near = [
                m
                for m, one in enumerate(self.stood)
                if _meet(box, _box(stopper(one.place, fine)).grown(fine))
            ]
            if known.keys() >= set(near):
                return fine
            fine *= 0.5
        return None

    def _box(self, n: int) -> Box:
        """A box around a stopper, as roomy as all moves are long: what moves into it counts."""
        aside = sum((np.abs([*event.shift, 0.0]) for event in self.predicted.events), np.zeros(3))
        box = _box(stopper(self.stood[n].place, self.predicted.grid.pitch_mm))
        return Box(box.low - aside, box.high + aside)

    def _look(self, n: int, fine: float) -> Within:
        """The possible void in a stopper in squares of a size."""
        here = self.predicted.window
        place = self.stood[n].place
        plugs = np.concatenate([stopper(one, fine) for one in {s.nominal for s in self.stood}])
        window = Window(here.bodies, self._box(n).grown(3.0 * fine), fine, plugs)
        sure = replace(self.predicted, window=window).sure
        prism = stopper(place, self.predicted.grid.pitch_mm)
        void = possible_void(unite(sure, _surely_beyond(prism, window.grid)), window.grid)
        inner = alone(self.predicted, self.stood, fine).own.get(n, place.polygon)
        figures = {place, place if inner is place.polygon else replace(place, polygon=inner)}
        layers = [layer_behind(window.grid, one, fine) for one in figures]
        behind = set[int]().union(*(void.pieces_over(*layer) for layer in layers))
        return Within(void, behind - {void.outside})


def _box(prism: Soup) -> Box:
    return Box(prism.min((0, 1)).astype(np.float64), prism.max((0, 1)).astype(np.float64))


def _meet(a: Box, b: Box) -> bool:
    return bool((a.low <= b.high).all() and (b.low <= a.high).all())


def _surely_beyond(prism: Soup, grid: Grid) -> Runs:
    """What is surely outside a closed prism."""
    near = float(grid.x_mm(0)) - 1.0, float(grid.y_mm(0)) - 1.0, -1e6
    far = float(grid.x_mm(grid.nx)) + 1.0, float(grid.y_mm(grid.ny)) + 1.0, 1e6
    soup = np.concatenate([box_soup(near, far), prism[:, ::-1]])
    return surely_metal(soup, cast(soup, grid))


def _meeting(within: PossibleVoid, piece: int, void: PossibleVoid) -> set[int]:
    """Pieces of a possible void that a piece of another one meets."""
    squares, low, high = within.runs
    own = within.piece == piece
    g = within.places.grid
    i, j = squares[own] // (g.ny - 1), squares[own] % (g.ny - 1)
    group: set[int] = set()
    for a in (0, 1):
        for b in (0, 1):
            at = _square_at(void.places.grid, g.x_mm(i + a), g.y_mm(j + b))
            group |= void.pieces_over(at, low[own], high[own])
    return group


def _square_at(grid: Grid, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.int64]:
    """Squares that hold points in plan; the nearest for those beyond the grid."""
    i = np.floor((x - grid.x_mm(0)) / grid.pitch_mm).astype(np.int64)
    j = np.floor((y - grid.y_mm(0)) / grid.pitch_mm).astype(np.int64)
    return np.clip(i, 0, grid.nx - 2) * (grid.ny - 1) + np.clip(j, 0, grid.ny - 2)
