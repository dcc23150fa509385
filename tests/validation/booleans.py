"""An outside reference: the predicted part and its void from exact solid booleans.

In: solids of manifold3d and the tables of a case. Out: the predicted solid, which piece of its
void lies behind each port, and areas of sections. It shares no code with the program and reads
the same words (DESIGN: the stray sheet): a gap that stayed unmelted counts as metal.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import manifold3d as m3
import numpy as np
import shapes
from numpy.typing import ArrayLike, NDArray

FAR = 500.0
STEP = 1e-4
"""How far beside a level face a section counts as just above or below it, mm."""
OVERLAP = 1e-5
"""Pieces that stand on each other are let into each other by this much, so that they unite, mm."""

Table = Mapping[str, Any]


class Piece(NamedTuple):
    """From nominal height `cut` upward everything is moved by `move`."""

    cut: float
    move: NDArray[np.float64]


class Predicted(NamedTuple):
    """Predicted solid, how the nominal moved, and each sheet's levels (bottom to top)."""

    solid: m3.Manifold
    moves: list[Piece]
    sheets: list[list[float]]

    def moved(self, point: ArrayLike) -> NDArray[np.float64]:
        """Where a nominal point lies now."""
        at = np.asarray(point, float)
        step = np.zeros(3)
        for piece in self.moves:
            if at[2] >= piece.cut - 1e-9:
                step = piece.move
        return at + step


def _between(solid: m3.Manifold, low: float, high: float) -> m3.Manifold:
    return solid ^ shapes.block((-FAR, -FAR, low), (FAR, FAR, high + OVERLAP))


def _slab(outline: m3.CrossSection, low: float, high: float) -> m3.Manifold:
    if outline.is_empty():
        return m3.Manifold()
    return m3.Manifold.extrude(outline, high - low + 2 * OVERLAP).translate((0, 0, low - OVERLAP))


def predicted(
    nominal: m3.Manifold,
    strays: Sequence[Table],
    layer: float,
    platform: float = 0.0,
    also: m3.Manifold | None = None,
    stray_meshes: Sequence[m3.Manifold] = (),
) -> Predicted:
    """Predicted part after events in rising order, every unknown fixed in their tables."""
    melted = nominal if also is None else nominal + also
    x0, y0, _, x1, y1, _ = nominal.bounding_box()
    rectangle = m3.CrossSection.square((x1 - x0, y1 - y0)).translate((x0, y0))
    pieces: list[m3.Manifold] = list(stray_meshes)
    moves, sheets = [], []
    low, move = -FAR, np.zeros(3)
    for stray in strays:
        if stray.get("shape") == "mesh":
            continue
        count = stray["layers"]
        bottom = platform + stray["height"]
        top = bottom + count * layer
        pieces.append(_between(nominal.translate(move), low, bottom))
        moved = move + np.array([*stray.get("resume_shift", (0.0, 0.0)), 0.0])
        first = stray.get("from_layer", 0)
        levels = []
        for k in range(count):
            outline = rectangle
            if stray.get("shape", "layer") == "layer":
                outline = melted.slice(platform + (first + k + 0.5) * layer)
            outline = outline.translate(moved[:2])
            foot = bottom + k * layer
            if k == 0 and stray.get("penetration", 0.0) > 0.0:
                deep = max(bottom - stray["penetration"], low)
                pieces.append(_slab(outline, deep, bottom))
                levels.append(deep)
            pieces.append(_slab(outline, foot, foot + layer))
            levels.append(foot)
        sheets.append([*levels, top])
        above = moved.copy()
        if "next_layer" in stray:
            above[2] = top - (platform + stray["next_layer"] * layer)
        elif stray["resume"] == "layer":
            above[2] += count * layer
        if abs(above[2] - move[2]) < 1e-9:
            above[2] = move[2]
            pieces.append(_between(nominal.translate(moved), bottom, top))
        elif count:
            for z in (bottom - move[2] - STEP, top - above[2] + STEP):
                pieces.append(_slab(nominal.slice(z).translate(moved[:2]), bottom, top))
        # What stands on the sheet begins at this nominal height; with resume = "height" what
        # moves begins at the cut.
        cut = bottom - move[2] if above[2] == move[2] else top - above[2]
        moves.append(Piece(cut, above))
        low, move = top, above
    pieces.append(_between(nominal.translate(move), low, FAR))
    solid = shapes.checked(m3.Manifold.batch_boolean(pieces, m3.OpType.Add))
    return Predicted(solid, moves, sheets)


class Disc(NamedTuple):
    """A port as the maker of the solid knows it: centre on the face, radius, outward normal."""

    centre: NDArray[np.float64]
    radius: float
    outward: NDArray[np.float64]


OUTSIDE = -1


def void_pieces(solid: m3.Manifold) -> list[m3.Manifold]:
    """Connected pieces of the void in a room round a solid; the first is the outside.

    The room's floor cuts the lowest microns off the solid, so that the solid does not float in
    the outer void, whose surface then is one piece (decompose() parts surfaces, not volumes).
    """
    low, high = np.array(solid.bounding_box()).reshape(2, 3)
    room = shapes.block(low - (5, 5, -STEP), high + 5)
    pieces = [piece for piece in (room - solid).decompose() if piece.volume() > 0]
    corner = shapes.block(low - (5, 5, -STEP), low - (4.9, 4.9, -0.1))
    pieces.sort(key=lambda piece: -(piece ^ corner).volume())
    return pieces


def behind(part: Predicted, discs: Sequence[Disc]) -> list[set[int]]:
    """Pieces of void behind each port, all of them closed; OUTSIDE; empty where metal is there."""
    plugs, probes = [], []
    for disc in discs:
        at = part.moved(disc.centre)
        low, high = at - 0.005 * disc.outward, at + 0.7 * disc.outward  # let into the face
        plugs.append(shapes.bore(low, high, 1.6 * disc.radius, segments=48))
        inner = at - 0.02 * disc.outward
        probes.append(shapes.bore(inner, inner - 0.02 * disc.outward, 0.9 * disc.radius))
    pieces = void_pieces(m3.Manifold.batch_boolean([part.solid, *plugs], m3.OpType.Add))
    return [
        {n or OUTSIDE for n, piece in enumerate(pieces) if (piece ^ probe).volume() > 1e-7}
        for probe in probes
    ]


def connected(part: Predicted, inlet: Disc, outlet: Disc, others: Sequence[Disc] = ()) -> bool:
    """Whether void joins two ports inside the part, all ports closed."""
    a, b, *_ = behind(part, [inlet, outlet, *others])
    return bool((a & b) - {OUTSIDE})


def open_area(nominal: m3.Manifold, part: Predicted, sheet: int = 0) -> float:
    """Smallest open area of a sheet within the part's outline, mm2: for parts that stand still.

    At every face of a layer only what is open on both sides of it counts.
    """
    x0, y0, _, x1, y1, _ = nominal.bounding_box()
    outline = m3.CrossSection.square((x1 - x0, y1 - y0)).translate((x0, y0))
    areas = []
    for z in part.sheets[sheet]:
        metal = part.solid.slice(z - STEP) + part.solid.slice(z + STEP)
        areas.append((outline - metal).area())
    return min(areas)
