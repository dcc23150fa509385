"""Whose a crossing is: which crossings of a void a passage can meet on its way.

In: the predicted part, the crossings of the passage's void, the graph of the columns. Out: numbers
of crossings. Source: docs/method.md, "Whose they are".
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from clearance.geometry import polylines
from clearance.geometry.soup import Soup
from clearance.passages.crossings import Crossing
from clearance.passages.linked import linked
from clearance.passages.way import Way
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Predicted
from clearance.verdict.graph import own

if TYPE_CHECKING:
    import networkx

MOST_WALLS = 1_000_000
"""Of more triangles the columns alone tell whose a crossing is."""


class Void(NamedTuple):
    """The nominal void of a passage: what bounds it, and its mouths.

    Attributes
    ----------
    walls : callable
        Gives all triangles (F, 3, 3) float32, mm, that bound it.
    leads_out : callable
        Gives whether it seems to lead out of the part: then all of the part is looked at.
    mouths : tuple of Mouth
        All that it may have.
    ends : (Mouth, Mouth)
        Inlet and outlet.
    """

    walls: Callable[[], Soup]
    leads_out: Callable[[], bool]
    mouths: tuple[Mouth, ...]
    ends: tuple[Mouth, Mouth]


def on_ways(
    predicted: Predicted, graph: networkx.MultiGraph, found: list[Crossing], void: Void
) -> list[int]:
    """Crossings that can lie on a way from inlet to outlet: by the columns, and by the surface.

    Through a wall thinner than the columns are apart these see a way into the next tube.
    """
    kept = own(graph, len(found))
    if len(kept) < 2 or predicted.added is not None or predicted.window.bodies.overlapping:
        return kept
    whole = void.leads_out()
    walls = predicted.window.bodies.part if whole else void.walls()
    if len(walls) > MOST_WALLS:
        return kept
    surface = linked(walls, void.mouths, void.ends, predicted.events, found, whole)
    possible = set(range(len(found)) if surface is None else own(surface, len(found)))
    return [n for n in kept if n in possible]


def met(predicted: Predicted, found: list[Crossing], nominal: Way) -> list[int]:
    """Crossings whose sheet the widest ball of the nominal passage would meet on its way.

    A sheet along a level bore parts what lies above it from the way below, and narrows it.
    """
    route, radius = nominal.route, 0.5 * nominal.high_mm
    if len(route) == 0:
        return list(range(len(found)))  # without a way any of them may be met
    at = polylines.lengths(route)
    along = np.linspace(0.0, at[-1], 2 + int(4.0 * at[-1] / max(radius, 1e-3)))
    places = polylines.points_at(along, at, route)
    places = np.array([predicted.moved(place) for place in places])
    points = shapely.points(places[:, :2])
    near = []
    for n, crossing in enumerate(found):
        off = np.maximum(crossing.low - places[:, 2], places[:, 2] - crossing.high)
        level = off < radius
        aside = shapely.distance(points[level], crossing.footprint)
        if (np.hypot(aside, np.maximum(off[level], 0.0)) < radius).any():
            near.append(n)
    return near
