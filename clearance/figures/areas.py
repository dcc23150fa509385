"""Areas of sections: what lies where by fill and hatch, the state of a passage by its ring.

In: polygons in mm, looks, states. Out: patches in axes. The same fills in every section.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import shapely
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from clearance.drawing.level_parts import LevelSection, Void
from clearance.figures import style
from clearance.figures.scale import points_per_mm
from clearance.figures.style import Look
from clearance.result import State

RING_SHARE = 0.15
"""Width of a ring, of the size of the smallest passage."""
MOST_HIDDEN, TOUCHING_MM = 0.25, 1e-3
"""Of a piece of powder that touches a passage, what its ring may hide."""


def draw_level(axes: Axes, section: LevelSection) -> Axes:
    """Draw the outlines of a section: metal, stray metal, powder, and passages.

    What is open is pale and what fills a passage is as dark as the stray metal beside it; the
    state of each passage is told by the ring around it. Limits of the axes come first: rings are
    as wide as the smallest passage has room for.
    """
    area(axes, section.metal, style.METAL, "metal")
    area(axes, section.unmelted, style.UNMELTED, "unmelted")
    area(axes, section.stray, style.STRAY, "stray")
    width_pt = _ring_pt(axes, section.voids)
    reach = (width_pt + 2.0 * style.RING_EDGE_PT) / points_per_mm(axes)
    for void in section.voids:
        powder = _hidden(void, section.unmelted, reach)
        ring(axes, shapely.union_all([void.nominal, powder]), void.state, width_pt)
        area(axes, powder, style.UNMELTED, "unmelted")
    for void in section.voids:  # rings lie outside: nothing of a passage is hidden
        area(axes, void.closed, style.STRAY, "closed")
        area(axes, void.open, style.VOID, "open")
    area(axes, section.joined, style.JOINED, "connected")
    for outline in section.beneath:
        area(axes, outline, style.BENEATH, "beneath")
    area(axes, section.finished, style.FINISHED_HALO, "under finished")
    area(axes, section.finished, style.FINISHED, "finished")
    draw_measured(axes, section.measured)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel("x, mm")
    axes.set_ylabel("y, mm")
    return axes


def draw_measured(axes: Axes, shape: Any) -> None:
    """Draw the outline of the part as a scan has it."""
    area(axes, shape, style.MEASURED_HALO, "under measured")
    area(axes, shape, style.MEASURED, "measured")


def _ring_pt(axes: Axes, voids: Sequence[Void]) -> float:
    """Width of the rings: a share of the smallest passage on paper, within limits."""
    sizes = [math.sqrt(void.nominal.area) for void in voids]
    most = RING_SHARE * min(sizes, default=0.0) * points_per_mm(axes)
    return min(max(most, style.LEAST_RING_PT), style.RING_PT)


def _hidden(void: Void, unmelted: Any, reach: float) -> Any:
    """Powder about a passage that a ring of a width in mm would hide: it then goes around both."""
    under = void.nominal.buffer(reach)
    return shapely.union_all(
        [
            piece
            for piece in shapely.get_parts(unmelted)
            if piece.distance(void.nominal) < TOUCHING_MM
            and piece.intersection(under).area > MOST_HIDDEN * piece.area
        ]
    )


def ring(axes: Axes, shape: Any, state: State, width_pt: float = style.RING_PT) -> None:
    """Draw a line around a passage in the colour of its state, outside its outline."""
    look = style.RINGS[state.value]
    edge = style.RING_EDGE_PT
    outer, inner = 2.0 * (width_pt + 2.0 * edge), 2.0 * (width_pt + edge)
    for colour, dashes, wide in (
        (style.INK, "-", outer),
        (look.colour, look.dashes, inner),
        (style.INK, "-", 2.0 * edge),
    ):
        area(axes, shape, Look("none", colour, line=dashes, width_pt=wide), f"ring {state.value}")


def area(axes: Axes, shape: Any, look: Look, gid: str) -> None:
    """Fill a geometry and draw its outline, however thin it is."""
    polygons = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and not p.is_empty]
    if not polygons:
        return
    path = Outline.make_compound_path(*(_path(p) for p in shapely.orient_polygons(polygons)))
    fill = PathPatch(
        path,
        facecolor=look.face,
        edgecolor=look.hatch_colour or look.edge,  # of the hatch: the line has no width
        hatch=look.hatch or None,
        linewidth=0.0,
    )
    line = PathPatch(
        path,
        fill=False,
        edgecolor=look.edge,
        linestyle=look.line,
        linewidth=look.width_pt,
        joinstyle="round",
    )
    fill.set_gid(gid)
    for patch in (fill, line):
        axes.add_artist(patch)  # limits are set by hand; add_patch would measure every curve


def _path(polygon: Any) -> Outline:
    rings = [polygon.exterior, *polygon.interiors]
    return Outline.make_compound_path(
        *(Outline(shapely.get_coordinates(ring), closed=True) for ring in rings)
    )


def swatch(axes: Axes, bounds: tuple[float, float, float, float], meant: Look | State) -> None:
    """Draw what a key explains: a filled box, or for a state a box in its ring."""
    shape = shapely.box(*bounds)
    if isinstance(meant, State):
        ring(axes, shape, meant)
        meant = style.VOID
    area(axes, shape, meant, "key")


def key_of(section: LevelSection) -> list[tuple[Look, str]]:
    """Looks of what a section shows besides the rings, and what they mean."""
    key = [(style.METAL, "metal of the part"), (style.VOID, "open void")]
    if not section.stray.is_empty:
        words = "stray, or of one side of the step" if section.step else "stray metal"
        key.append((style.STRAY, words))
    if not section.unmelted.is_empty:
        key.append((style.UNMELTED, "unmelted powder (lack of fusion)"))
    if not section.joined.is_empty:
        key.append((style.JOINED, "open from one circuit into another"))
        key.append((style.BENEATH, "the other circuit, just below"))
    if not section.finished.is_empty:
        key.append((style.FINISHED, section.finished_words))
    if not section.measured.is_empty:
        key.append((style.MEASURED, section.measured_words))
    return key
