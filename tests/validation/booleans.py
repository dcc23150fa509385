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
TRIM = 1e-3
"""How far beside a cut the section is taken that stands for the part at the cut itself, mm."""
OVERLAP = 5e-5
"""Pieces that stand on each other are let into each other by this much, so that they unite, mm."""

WRONG = 0.01
"""By so much volume a boolean may differ from its pieces, mm3."""

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
    """What of a solid lies between two heights.

    At an end that is a cut the last TRIM has the section TRIM further in: a floor or ceiling that
    lies at the cut itself leaves no film there, whatever rounding says of its height.
    """
    core_low = low if low <= -FAR else low + TRIM
    core_high = high if high >= FAR else high - TRIM
    if core_high <= core_low:
        return _slab(solid.slice(0.5 * (low + high)), low, high)
    pieces = [solid ^ shapes.block((-FAR, -FAR, core_low), (FAR, FAR, core_high))]
    if core_low > low:
        pieces.append(_slab(solid.slice(core_low), low, core_low))
    if core_high < high:
        pieces.append(_slab(solid.slice(core_high), core_high, high))
    return m3.Manifold.batch_boolean(pieces, m3.OpType.Add)


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
    bare: bool = False,
) -> Predicted:
    """Predicted part after events in rising order, every unknown fixed in their tables.

    With `bare` without the stray metal: what of the part itself is where.
    """
    melted = nominal if also is None else nominal + also
    x0, y0, _, x1, y1, _ = nominal.bounding_box()
    rectangle = m3.CrossSection.square((x1 - x0, y1 - y0)).translate((x0, y0))
    pieces: list[m3.Manifold] = [] if bare else list(stray_meshes)
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
            outline = m3.CrossSection() if bare else outline.translate(moved[:2])
            foot = bottom + k * layer
            if k == 0 and stray.get("penetration", 0.0) > 0.0:
                deep = bottom - stray["penetration"]
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
    return Predicted(united(pieces), moves, sheets)


def united(pieces: Sequence[m3.Manifold]) -> m3.Manifold:
    """Union of solids, held against its pieces: a boolean that went wrong is no reference."""
    solid = shapes.checked(m3.Manifold.batch_boolean(list(pieces), m3.OpType.Add))
    for piece in pieces:
        if not piece.is_empty() and abs((piece ^ solid).volume() - piece.volume()) > WRONG:
            raise ArithmeticError("a boolean of the reference went wrong")
    if solid.volume() > sum(piece.volume() for piece in pieces) + WRONG:
        raise ArithmeticError("a boolean of the reference went wrong")
    return solid


class Disc(NamedTuple):
    """A port as the maker of the solid knows it: centre on the face, radius, outward normal.

    `reach` is how far its rim lies from the centre at most, over the radius: a port that slants or
    is square reaches beyond the circle of equal area.
    """

    centre: NDArray[np.float64]
    radius: float
    outward: NDArray[np.float64]
    reach: float = 1.3


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


def plugs(part: Predicted, discs: Sequence[Disc]) -> list[m3.Manifold]:
    """Cylinders that close mouths, let a little into the face."""
    found = []
    for disc in discs:
        at = part.moved(disc.centre)
        low, high = at - 0.005 * disc.outward, at + 0.7 * disc.outward
        found.append(shapes.bore(low, high, 1.6 * disc.radius, segments=48))
    return found


def behind(part: Predicted, discs: Sequence[Disc]) -> list[set[int]]:
    """Pieces of void behind each port, all of them closed; OUTSIDE; empty where metal is there."""
    probes = []
    for disc in discs:
        inner = part.moved(disc.centre) - 0.02 * disc.outward
        probes.append(shapes.bore(inner, inner - 0.02 * disc.outward, disc.reach * disc.radius))
    closed = m3.Manifold.batch_boolean([part.solid, *plugs(part, discs)], m3.OpType.Add)
    pieces = void_pieces(closed)
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
