"""Which crossings can lie on a way from inlet to outlet, told by the part's surface alone.

In: the triangles that may bound a passage's void, its mouths, the sheets, their crossings. Out:
a graph as that of the columns, whose regions are pieces of the surface between the sheets. However
thin the wall between two tubes is, it parts them here. Source: docs/method.md, "Whose they are".
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry import box_tree, distance
from clearance.geometry.soup import Soup
from clearance.kernels.pieces import pieces
from clearance.passages.crossings import CUT_MM, Crossing
from clearance.ports.mouth import Mouth
from clearance.ports.patches import Opened, cut_open
from clearance.predicted.slabs import Event, rounded

if TYPE_CHECKING:
    import networkx

ON_MM = 2e-3
"""A corner of an outline lies on the surface if it is so near: lids of mouths stand farther off."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Piece = tuple[int, int]
"""A stretch between two sheets, from 0 upward, and a number there."""


class Stretch(NamedTuple):
    """What stands between two sheets: nominal heights, and how far it has moved."""

    low: float
    high: float
    shift: tuple[float, float]


def linked(
    walls: Soup,
    mouths: Sequence[Mouth],
    ends: tuple[Mouth, Mouth],
    events: Sequence[Event],
    crossings: Sequence[Crossing],
    whole: bool,
) -> networkx.MultiGraph | None:
    """Nodes "inlet", "outlet" and pieces of surface; edges are crossings (key: their index).

    None where the surface does not tell: sheets that touch, an outline that lies on no wall.

    Parameters
    ----------
    walls : (F, 3, 3) ndarray of float32, mm
        All triangles that bound the passage's nominal void; shells do not overlap.
    mouths : sequence of Mouth
        All that the void may have.
    ends : (Mouth, Mouth)
        Inlet and outlet, among them.
    events : sequence of Event
    crossings : sequence of Crossing
        Of these events.
    whole : bool
        The walls are all of the part: then what bounds the open air is no region of the passage.
    """
    import networkx

    stretches = _stretches(events)
    if any(stretch.low >= stretch.high for stretch in stretches):
        return None
    opened = cut_open(walls, mouths)
    parts = [_Surface(opened, stretch) for stretch in stretches]
    graph = networkx.MultiGraph()
    graph.add_nodes_from(("inlet", "outlet"))
    same = networkx.Graph()  # pieces that bound one region: along the rim of an opening or a mouth
    for mouth in mouths:
        for n, part in enumerate(parts):
            found = part.at_mouth(opened, mouth.name)
            _tie(same, n, found)
            for name, end in zip(("inlet", "outlet"), ends, strict=True):
                if end.name == mouth.name and found:
                    graph.add_edge(name, (n, min(found)), key="port")
    order = {event.stray: n for n, event in enumerate(events)}
    for k, crossing in enumerate(crossings):
        below = order[crossing.stray]
        sides: list[Piece] = []
        for n, outlines in zip((below, below + 1), crossing.ends, strict=True):
            for outline in outlines:
                found = parts[n].at_outline(outline, stretches[n], n == below)
                if not found:
                    return None
                _tie(same, n, found)
                sides.append((n, min(found)))
        graph.add_edges_from((a, b, k) for a, b in combinations(sides, 2))
    air = {(n, piece) for n, part in enumerate(parts) for piece in part.outermost(stretches[n])}
    return _merged(graph, same, air if whole else set())


def _stretches(events: Sequence[Event]) -> list[Stretch]:
    """What stands below, between and above the sheets."""
    low, lift, shift = -np.inf, 0.0, (0.0, 0.0)
    found = []
    for event in events:
        bottom = event.bottom - (event.penetration if event.slices else CUT_MM)
        top = event.top + event.spread if event.slices else event.bottom + CUT_MM
        found.append(Stretch(low, bottom - lift, rounded(shift)))
        lift, shift = lift + event.rise, (shift[0] + event.shift[0], shift[1] + event.shift[1])
        low = top - lift
    return [*found, Stretch(low, np.inf, rounded(shift))]


def _tie(same: networkx.Graph, n: int, found: set[int]) -> None:
    same.add_nodes_from((n, piece) for piece in found)
    same.add_edges_from(pairwise((n, piece) for piece in sorted(found)))


def _merged(
    graph: networkx.MultiGraph, same: networkx.Graph, air: set[Piece]
) -> networkx.MultiGraph:
    """The graph with pieces that are tied as one node, and without those that bound the air."""
    import networkx

    name: dict[Any, Any] = {}
    for region, group in enumerate(networkx.connected_components(same)):
        name.update(dict.fromkeys(group, None if group & air else region))
    merged = networkx.MultiGraph()
    merged.add_nodes_from(("inlet", "outlet"))
    for a, b, key in graph.edges(keys=True):
        first, second = name.get(a, a), name.get(b, b)
        if first is not None and second is not None:
            merged.add_edge(first, second, key=key)
    return merged


class _Surface:
    """The surface in a stretch: which of its triangles hang together there."""

    def __init__(self, opened: Opened, stretch: Stretch) -> None:
        z = opened.triangles[:, :, 2].astype(np.float64)
        self.kept = np.flatnonzero((z.max(axis=1) > stretch.low) & (z.min(axis=1) < stretch.high))
        self.triangles = opened.triangles[self.kept]
        self.piece = _pieces(opened, self.kept, z[self.kept], stretch)
        self.tree = box_tree.build(self.triangles)

    def outermost(self, stretch: Stretch) -> set[int]:
        """Pieces that bound the open air: what is nearest to places far beside the stretch.

        If it is nearest within the stretch, the straight line from there meets nothing before it.
        """
        if not len(self.triangles):
            return set()
        low, high = (f(self.triangles, axis=(0, 1)).astype(np.float64) for f in (np.min, np.max))
        z = 0.5 * (max(low[2], stretch.low) + min(high[2], stretch.high))
        middle, far = 0.5 * (low + high)[:2], 2.0 * float((high - low)[:2].max()) + 1.0
        aside = far * np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
        places = np.column_stack([middle + aside, np.full(4, z)])
        _, point, which = distance.closest(self.tree, places)
        within = (point[:, 2] > stretch.low) & (point[:, 2] < stretch.high)
        return set(self.piece[which[within]].tolist())

    def at_mouth(self, opened: Opened, name: str) -> set[int]:
        """Pieces that begin at a mouth's outline, inward of it."""
        return set(self.piece[opened.rims[name].inner[self.kept]].tolist())

    def at_outline(self, outline: Any, stretch: Stretch, at_top: bool) -> set[int]:
        """Pieces on which an outline at an end of the stretch lies, as it stands in the part.

        What runs along the rim of a window, or a mouth's lid, lies on none.
        """
        rings = [r for p in shapely.get_parts(outline) for r in (p.exterior, *p.interiors)]
        found: set[int] = set()
        for ring in rings:
            xy = shapely.get_coordinates(ring) - np.asarray(stretch.shift)
            z = stretch.high if at_top else stretch.low
            points = np.column_stack([xy, np.full(len(xy), z)])
            away, _, which = distance.closest(self.tree, points)
            found |= set(self.piece[which[away <= ON_MM]].tolist())
        return found


def _pieces(opened: Opened, kept: Ints, z: Floats, stretch: Stretch) -> Ints:
    """Number what hangs together within a stretch.

    Along edges and at corners within it, but not along the outline of a mouth, nor at its corners.
    """
    ids = opened.ids[kept]
    rim = np.zeros(opened.vertices, np.bool_)
    for one in opened.rims.values():
        rim |= one.corners
    start, stop = ids.ravel(), np.roll(ids, -1, axis=1).ravel()
    z_start, z_stop = z.ravel(), np.roll(z, -1, axis=1).ravel()
    reaches = (np.maximum(z_start, z_stop) > stretch.low) & (
        np.minimum(z_start, z_stop) < stretch.high
    )
    reaches &= ~(rim[start] & rim[stop])
    edge = np.minimum(start, stop) * opened.vertices + np.maximum(start, stop)
    corner = (z_start > stretch.low) & (z_start < stretch.high) & ~rim[start]
    of = np.repeat(np.arange(len(ids)), 3)
    rows, names = [], []
    for chosen, keys in ((reaches, edge), (corner, opened.vertices**2 + start)):
        rows.append(of[chosen])
        names.append(keys[chosen])
    _, number = np.unique(np.concatenate(names), return_inverse=True)
    size = len(ids) + int(number.max(initial=-1)) + 1
    return pieces(np.concatenate(rows), len(ids) + number, size)[: len(ids)]
