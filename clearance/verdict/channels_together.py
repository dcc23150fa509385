"""Channels side by side at one sheet: how much of their area it leaves open, together.

In: what crosses a passage in one predicted part. Out: of every sheet and every two regions that it
parts a `Together`, with the least and the greatest share that is possible.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from clearance.passages.crossings import Crossing
from clearance.passages.search import Search
from clearance.verdict.graph import on_way, perhaps_on_way
from clearance.verdict.one_variant import Crossed, Together

if TYPE_CHECKING:
    import networkx


def shares_of(
    groups: Iterable[Together], platform_z: float
) -> tuple[tuple[float, float, float], ...]:
    """Height above the platform, least and greatest share of each group."""
    return tuple((t.height_mm - platform_z, t.least, t.greatest) for t in groups)


def groups_of_channels(crossed: Crossed, search: Search) -> tuple[Together, ...]:
    """All groups of channels that lead side by side through one sheet.

    Parameters
    ----------
    crossed : Crossed
    search : Search
        In the same part, with all of its crossings.
    """
    everything = crossed.everything
    if not everything:
        return ()
    number = {id(c): n for n, c in enumerate(everything)}
    edge = {number[id(c)]: n for n, c in enumerate(crossed.crossings)}
    ways = on_way(crossed.graph)
    on = {n for n, key in edge.items() if key in ways}
    found: list[Together] = []
    for sheet in _sheets(everything, on | perhaps_on_way(search) | set(edge)):
        joins = _joins(crossed.graph, {edge[n]: n for n in sheet if n in edge})
        sure = {n: joins[n] for n in sheet if n in on and _one_pair(joins.get(n, set()))}
        loose = [everything[n] for n in sheet if n not in sure]
        for pair in {frozenset(pair) for pairs in sure.values() for pair in pairs}:
            group = [everything[n] for n, pairs in sure.items() if pair in pairs]
            found.append(_together(group, loose))
        # It may be a channel by itself, or lie on no way at all.
        found += [
            Together(c.stray, c.height_mm, 0, c.open_fraction, 1.0)
            for c in loose
            if c.open_fraction < 1.0
        ]
    return tuple(found)


def _one_pair(pairs: set[frozenset[object]]) -> bool:
    """Whether a crossing joins two regions and no more."""
    return len(pairs) == 1 and all(len(pair) == 2 for pair in pairs)


def _together(sure: list[Crossing], loose: Iterable[Crossing]) -> Together:
    """The share of those that are sure, with whichever of the others lower or raise it most."""
    worst = min(sure, key=lambda c: c.open_fraction)
    ends = []
    for raised in (False, True):
        area = sum(c.nominal_area_mm2 for c in sure)
        left = sum(c.nominal_area_mm2 * c.open_fraction for c in sure)
        for c in sorted(loose, key=lambda c: c.open_fraction, reverse=raised):
            if (c.open_fraction * area > left) is not raised or c.open_fraction * area == left:
                break
            area += c.nominal_area_mm2
            left += c.nominal_area_mm2 * c.open_fraction
        ends.append(left / area)
    return Together(worst.stray, worst.height_mm, len(sure), *ends)


def _sheets(everything: tuple[Crossing, ...], numbers: Iterable[int]) -> list[list[int]]:
    """Numbers of crossings of one stray table whose heights overlap."""
    found: list[list[int]] = []
    tops: list[float] = []
    for n in sorted(numbers, key=lambda n: (everything[n].stray, everything[n].low)):
        crossing = everything[n]
        if found and everything[found[-1][0]].stray == crossing.stray and crossing.low <= tops[-1]:
            found[-1].append(n)
            tops[-1] = max(tops[-1], crossing.high)
        else:
            found.append([n])
            tops.append(crossing.high)
    return found


def _joins(graph: networkx.MultiGraph, sheet: dict[int, int]) -> dict[int, set[frozenset[object]]]:
    """Which regions the crossings of one sheet join, all other crossings taken for open."""
    import networkx

    plain = networkx.Graph()
    plain.add_nodes_from(graph.nodes)
    plain.add_edges_from((a, b) for a, b, key in graph.edges(keys=True) if key not in sheet)
    region = {
        node: k for k, part in enumerate(networkx.connected_components(plain)) for node in part
    }
    found: dict[int, set[frozenset[object]]] = {}
    for a, b, key in graph.edges(keys=True):
        if key in sheet:
            found.setdefault(sheet[key], set()).add(frozenset((region[a], region[b])))
    return found
