"""What stoppers hide: places of the possible void that are joined within a stopper.

In: the predicted part in a window and a mouth. Out: the pieces of its possible void that meet
what is possible void within the mouth's stopper, looked at with far smaller squares. A stopper
holds whole squares of an outer face, so it reaches into the part and over what lies beside it.
Source: docs/method.md, "Apart".
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.columns.cast import cast
from clearance.columns.grid import Grid
from clearance.columns.possible import PossibleVoid, possible_void
from clearance.columns.runs import Runs, unite
from clearance.columns.sure import surely_metal
from clearance.geometry.soup import Box, Soup, box_soup
from clearance.passages.closings import closing
from clearance.passages.stoppers import grown_by, stopper
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Events, Predicted, Window

FINER = 6.5
"""Squares are so many times smaller than the smallest way: a stopper for them stands 3.15 of
them aside and 1.5 deep, and the centre of a ball of that size half its diameter off any metal."""
LEAST = 4.0
"""And at least so many times smaller than those of the window."""
MOST_SQUARES = 100_000
"""Squares over one stopper, about, at most: then they are larger, but never than `LEAST` says."""


def grown_hidden(
    predicted: Predicted,
    events: Events,
    pieces: set[int],
    mouths: tuple[Mouth, ...],
    smallest_mm: float,
) -> set[int]:
    """Pieces of the possible void, and all that stoppers may hide a way to from them."""
    pitch = predicted.grid.pitch_mm
    places = [place for one in mouths for place in closing(events or (), one).places]
    prisms = [stopper(place, pitch) for place in places]
    left = [(prism, _pieces_near(predicted, prism)) for prism in prisms]
    known: list[set[int]] = []
    while True:
        met = [prism for prism, near in left if near & pieces]
        if not met:
            return pieces
        left = [(prism, near) for prism, near in left if not near & pieces]
        groups = [_groups(predicted, events, prism, mouths, smallest_mm) for prism in met]
        known += [group for found in groups for group in found]
        pieces = grown_by(pieces, known)


def _pieces_near(predicted: Predicted, prism: Soup) -> set[int]:
    """Pieces of the possible void in the box of a stopper."""
    void, box = predicted.possible, _box(prism).grown(predicted.grid.pitch_mm)
    whole, g = predicted.window.box, predicted.grid
    if (box.low > whole.high).any() or (box.high < whole.low).any():
        return set()
    low, high = (
        _square_at(g, np.array([at[0]]), np.array([at[1]]))[0] for at in (box.low, box.high)
    )
    n = g.ny - 1
    i, j = (a.ravel() for a in np.mgrid[low // n : high // n + 1, low % n : high % n + 1])
    ones = np.ones(len(i))
    return void.pieces_over(i * n + j, box.low[2] * ones, box.high[2] * ones)


def _box(prism: Soup) -> Box:
    return Box(prism.min((0, 1)).astype(np.float64), prism.max((0, 1)).astype(np.float64))


def _groups(
    predicted: Predicted,
    events: Events,
    prism: Soup,
    mouths: tuple[Mouth, ...],
    smallest_mm: float,
) -> list[set[int]]:
    """Pieces of the possible void that lead into one another within a stopper."""
    # A window holds all that moves into it only if it is as roomy as the moves are long.
    aside = sum((np.abs([*event.shift, 0.0]) for event in events or ()), np.zeros(3))
    box = _box(prism)
    box = Box(box.low - aside, box.high + aside)
    pitch = fine_pitch_mm(box, predicted.grid.pitch_mm, smallest_mm)
    plugs = np.concatenate([stopper(one, pitch) for one in mouths])
    window = Window(predicted.window.bodies, box.grown(3.0 * pitch), pitch, plugs)
    sure = unite(window.predict(events).sure, _surely_beyond(prism, window.grid))
    return _meeting(possible_void(sure, window.grid), predicted.possible)


def fine_pitch_mm(box: Box, pitch_mm: float, smallest_mm: float) -> float:
    """Size of the squares in which what a stopper hides is looked at."""
    size = box.high[:2] - box.low[:2]
    fits = float(np.sqrt(np.prod(size) / MOST_SQUARES))
    return min(pitch_mm / LEAST, max(smallest_mm / FINER, fits))


def _surely_beyond(prism: Soup, grid: Grid) -> Runs:
    """What is surely outside a closed prism."""
    near = float(grid.x_mm(0)) - 1.0, float(grid.y_mm(0)) - 1.0, -1e6
    far = float(grid.x_mm(grid.nx)) + 1.0, float(grid.y_mm(grid.ny)) + 1.0, 1e6
    soup = np.concatenate([box_soup(near, far), prism[:, ::-1]])
    return surely_metal(soup, cast(soup, grid))


def _meeting(within: PossibleVoid, void: PossibleVoid) -> list[set[int]]:
    """For each piece of one possible void, the pieces of another that it meets."""
    squares, low, high = _runs(within)
    groups = []
    g = within.places.grid
    i, j = squares // (g.ny - 1), squares % (g.ny - 1)
    for piece in np.unique(within.piece):
        if piece == within.outside:
            continue
        own = within.piece == piece
        group: set[int] = set()
        for a in (0, 1):
            for b in (0, 1):
                at = _square_at(void.places.grid, g.x_mm(i[own] + a), g.y_mm(j[own] + b))
                group |= void.pieces_over(at, low[own], high[own])
        groups.append(group)
    return [group for group in groups if len(group) > 1]


def _square_at(grid: Grid, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.int64]:
    """Squares that hold points in plan; the nearest for those beyond the grid."""
    i = np.floor((x - grid.x_mm(0)) / grid.pitch_mm).astype(np.int64)
    j = np.floor((y - grid.y_mm(0)) / grid.pitch_mm).astype(np.int64)
    return np.clip(i, 0, grid.nx - 2) * (grid.ny - 1) + np.clip(j, 0, grid.ny - 2)


def _runs(
    void: PossibleVoid,
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """Square, foot and head of every run of the possible void, in the order of its pieces."""
    count = void.places.squares
    start, z = void.metal.start[: count + 1], void.metal.z
    squares = np.repeat(np.arange(count), np.diff(start) + 1)
    low, high = np.full(len(squares), -np.inf), np.full(len(squares), np.inf)
    metal = np.arange(start[-1])
    at = metal + np.repeat(np.arange(count), np.diff(start))
    low[at + 1], high[at] = z[metal, 1], z[metal, 0]
    return squares, low, high
