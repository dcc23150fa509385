"""The graph of a passage: regions of void between the sheets, joined by crossings.

In: the predicted part in a window, the two mouths and the crossings. Out: a small
networkx graph to explain a verdict by, and which crossings lie on a way from inlet
to outlet. It is read off the columns; proofs do not rest on it.
"""

from __future__ import annotations

from collections.abc import Collection
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.columns.grid import Grid
from clearance.columns.runs import Runs, unite
from clearance.columns.voids import label, runs_at, runs_at_points
from clearance.passages.crossings import Crossing
from clearance.passages.search import Search
from clearance.passages.stoppers import seeds
from clearance.passages.way import moved_mouth
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Predicted
from clearance.result import GraphEdge

if TYPE_CHECKING:
    import networkx

INLET, OUTLET = "inlet", "outlet"
BESIDE_MM = 1e-6
"""How far outside a sheet's face the regions that touch it are looked up."""


class Regions(NamedTuple):
    """Regions of the void between the sheets, of all passages of one void.

    Attributes
    ----------
    filled : Runs
        Metal with the sheets drawn through everything.
    piece : (N,) ndarray of int32
        Region of each of its void runs.
    joined : list of (int, int, int)
        Two regions and the number of the crossing that joins them.
    """

    filled: Runs
    piece: NDArray[np.int32]
    joined: list[tuple[int, int, int]]


def regions(predicted: Predicted, crossings: list[Crossing]) -> Regions:
    """What the crossings join; one that joins several regions of one side joins every pair."""
    grid = predicted.grid
    filled = predicted.closed
    drawn = predicted.window.bodies.added_by_stray
    for low, high in sorted({(c.low, c.high) for c in crossings if c.stray not in drawn}):
        filled = unite(filled, _layer(grid, low, high))
    for crossing in crossings:
        if crossing.stray in drawn:  # a drawn sheet need not reach over every void at its height
            filled = unite(filled, _layer(grid, crossing.low, crossing.high, crossing.footprint))
    piece = label(filled, grid)
    joined = []
    for n, crossing in enumerate(crossings):
        touched = _touched(grid, filled, piece, crossing)
        pairs = [(a, b) for a in touched[0] for b in touched[1]]
        for side in touched:
            pairs += [(a, b) for k, a in enumerate(side) for b in side[k + 1 :]]
        pairs += [(a, a) for a in _twice(grid, filled, piece, crossing)]
        joined += [(a, b, n) for a, b in pairs]
    return Regions(filled, piece, joined)


def passage_graph(
    predicted: Predicted, inlet: Mouth, outlet: Mouth, found: Regions
) -> networkx.MultiGraph:
    """Nodes "inlet", "outlet" and regions (numbers); edges are crossings (key: their index)."""
    import networkx

    graph = networkx.MultiGraph()
    for name, mouth in ((INLET, inlet), (OUTLET, outlet)):
        region = behind(predicted, found.filled, found.piece, mouth)
        graph.add_node(name)
        if region is not None:
            graph.add_edge(name, region, key="port")
    for a, b, n in found.joined:
        graph.add_edge(a, b, key=n)
    return graph


def _layer(grid: Grid, low: float, high: float, under: Any = None) -> Runs:
    """One interval in every column, or in those under a figure and a pitch around it."""
    columns = np.ones(grid.count, np.int64)
    if under is not None:
        c = np.arange(grid.count)
        grown = shapely.buffer(under, grid.pitch_mm)
        shapely.prepare(grown)
        columns[:] = shapely.contains_xy(grown, grid.x_mm(c // grid.ny), grid.y_mm(c % grid.ny))
    start = np.concatenate([[0], np.cumsum(columns)])
    return Runs(start, np.tile(np.array([low, high]), (int(start[-1]), 1)))


def behind(
    predicted: Predicted, filled: Runs, piece: NDArray[np.int32], mouth: Mouth
) -> int | None:
    """Return the piece of void just inside a mouth, or None where metal covers it."""
    points = seeds(moved_mouth(predicted, mouth), predicted.grid.pitch_mm)
    runs = runs_at_points(filled, predicted.grid, points)
    free = runs[runs >= 0]
    return int(piece[free[0]]) if len(free) else None


def _touched(
    grid: Grid, filled: Runs, piece: NDArray[np.int32], crossing: Crossing
) -> tuple[list[int], list[int]]:
    """Regions below and above a crossing, the outside (piece 0) left out."""
    low, high = (
        _regions_at(grid, filled, piece, crossing.footprint, z, crossing.centre_mm[:2])
        for z in (crossing.low - BESIDE_MM, crossing.high + BESIDE_MM)
    )
    return sorted(low), sorted(high)


def _regions_at(
    grid: Grid,
    filled: Runs,
    piece: NDArray[np.int32],
    outline: Any,
    z: float,
    otherwise: tuple[float, float] | None = None,
) -> set[int]:
    """Regions at a height within an outline; at a place if no column stands in it."""
    x0, y0, x1, y1 = outline.bounds
    i0, j0 = grid.nearest(x0, y0)
    i1, j1 = grid.nearest(x1, y1)
    i, j = (a.ravel() for a in np.mgrid[i0 : i1 + 1, j0 : j1 + 1])
    inside = shapely.contains_xy(outline, grid.x_mm(i), grid.y_mm(j))
    columns = i[inside] * grid.ny + j[inside]
    if not len(columns) and otherwise is not None:
        i0, j0 = grid.nearest(*otherwise)
        columns = np.array([i0 * grid.ny + j0])
    runs = runs_at(filled, columns, z)
    return set(np.unique(piece[runs[runs >= 0]]).tolist()) - {0}


def _twice(grid: Grid, filled: Runs, piece: NDArray[np.int32], crossing: Crossing) -> set[int]:
    """Regions that a crossing opens to at two places of one side: a bend lies in the sheet."""
    found: set[int] = set()
    for outlines, z in zip(crossing.ends, (crossing.low, crossing.high), strict=True):
        if len(outlines) < 2:
            continue
        out = BESIDE_MM if z == crossing.high else -BESIDE_MM
        seen: set[int] = set()
        for outline in outlines:
            here = _regions_at(grid, filled, piece, outline, z + out)
            found |= here & seen
            seen |= here
    return found


def on_way(graph: networkx.MultiGraph) -> set[int]:
    """Crossings that lie on some way from inlet to outlet that passes no place twice.

    Those of blind branches do not. Crossings become nodes here, so that two crossings side by side
    are two ways. Regions are no places: a way may leave one and come back to it elsewhere, so what
    lies on a ring lies on the way if the ring hangs on it; so does a crossing that has one region
    on both sides.
    """
    import networkx

    plain = networkx.Graph([(INLET, OUTLET)])
    for a, b, key in graph.edges(keys=True):
        if key == "port":
            plain.add_edge(a, b)
        else:
            plain.add_edges_from(((a, (key,)), (b, (key,))))
    rings = [block for block in networkx.biconnected_components(plain) if len(block) > 2]
    found: set[Any] = next((block for block in rings if {INLET, OUTLET} <= block), set())
    while more := [block for block in rings if block & found and not block <= found]:
        found = found.union(*more)
    across = {node[0] for node in found if isinstance(node, tuple)}
    return across | {n for a, b, n in graph.edges(keys=True) if a == b and a in found}


def perhaps_on_way(search: Search) -> set[int]:
    """Crossings that nothing proves to lie off every way from inlet to outlet.

    As `on_way`, on the possible void: columns may pass beside a narrow branch, this loses none. Of
    a crossing that lies within a stopper, where no void is seen beside it, nothing is proven.
    """
    import networkx

    parted = search.parted()
    graph = networkx.MultiGraph()
    for name, pieces in zip((INLET, OUTLET), parted.ends, strict=True):
        graph.add_edges_from((name, piece, "port") for piece in pieces)
    for n, pieces in enumerate(parted.beside):
        pairs = list(combinations(sorted(pieces), 2)) or [(piece, piece) for piece in pieces]
        graph.add_edges_from((a, b, n) for a, b in pairs)
    graph.add_edges_from((a, a, n) for n, pieces in enumerate(parted.twice) for a in pieces)
    for pieces in parted.joined:
        graph.add_edges_from((a, b, "port") for a, b in combinations(sorted(pieces), 2))
    return on_way(graph) | {n for n, pieces in enumerate(parted.beside) if not pieces}


def own(graph: networkx.MultiGraph, count: int) -> list[int]:
    """Of `count` crossings those on whose way the passage can lie, whatever is sealed.

    All of them where the columns see no way even with every sealed crossing open: a sheet
    covers a port whole, or a void is narrower than the columns are apart.
    """
    import networkx

    if not networkx.has_path(graph, INLET, OUTLET):
        return list(range(count))
    return sorted(on_way(graph))


def renumbered(graph: networkx.MultiGraph, kept: list[int]) -> networkx.MultiGraph:
    """Return the graph with the kept crossings alone, as edges numbered by their place there."""
    import networkx

    number = {key: n for n, key in enumerate(kept)}
    found = networkx.MultiGraph()
    found.add_nodes_from(graph.nodes)
    for a, b, key in graph.edges(keys=True):
        if key == "port" or key in number:
            found.add_edge(a, b, key=number.get(key, key))
    return found


def passed_by(graph: networkx.MultiGraph, crossings: int) -> set[int]:
    """Which of the crossings a way leads past, as far as the columns tell; all where none is."""
    import networkx

    found = set()
    for n in range(crossings):
        if not apart_without(graph, (n,)):
            found.add(n)
    whole = networkx.Graph(graph)
    whole.add_nodes_from((INLET, OUTLET))
    return found if networkx.has_path(whole, INLET, OUTLET) else set(range(crossings))


def apart_without(graph: networkx.MultiGraph, crossings: Collection[int]) -> bool:
    """Whether every way from inlet to outlet leads through some of these crossings."""
    import networkx

    rest = networkx.Graph((a, b) for a, b, key in graph.edges(keys=True) if key not in crossings)
    rest.add_nodes_from((INLET, OUTLET))
    return not networkx.has_path(rest, INLET, OUTLET)


def cheapest(
    graph: networkx.MultiGraph, failing: set[int], without: Collection[int] = ()
) -> list[int] | None:
    """The fewest failing crossings that have to be reopened for a way, in its order.

    A shortest path with the failing edges priced; of equal ones the first found. None if there
    is no way, or none but through crossings that are to be gone `without`.
    """
    import networkx

    plain = networkx.Graph()
    for a, b, key in sorted(graph.edges(keys=True), key=str):
        if key in without:
            continue
        price = 1.0 if key in failing else 1e-6
        if not plain.has_edge(a, b) or plain[a][b]["price"] > price:
            plain.add_edge(a, b, price=price, key=key)
    if INLET not in plain or OUTLET not in plain:
        return None  # a sheet covers a port whole
    if not networkx.has_path(plain, INLET, OUTLET):
        return None
    path = networkx.shortest_path(plain, INLET, OUTLET, weight="price")
    keys = [plain[a][b]["key"] for a, b in pairwise(path)]
    return [key for key in dict.fromkeys(keys) if key in failing]


def in_words(graph: networkx.MultiGraph) -> tuple[GraphEdge, ...]:
    """Edges as plain values: which crossing joins what."""
    regions = sorted({node for node in graph if not isinstance(node, str)})
    names = {region: f"region {n}" for n, region in enumerate(regions)}
    edges: list[GraphEdge] = [
        {
            "crossing": None if key == "port" else int(key),
            "joins": sorted(names.get(node, node) for node in (a, b)),
        }
        for a, b, key in graph.edges(keys=True)
    ]
    return tuple(
        sorted(edges, key=lambda e: (e["crossing"] is not None, e["crossing"], e["joins"]))
    )
