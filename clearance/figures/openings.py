"""Figure of the openings: three views of the part with every opening numbered.

In: triangles and `Openings`. Out: a Matplotlib `Figure`. Nothing is decided here.
"""

from __future__ import annotations

from typing import NamedTuple

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from clearance.columns.cast import cast
from clearance.columns.grid import Grid
from clearance.figures import style
from clearance.geometry.cutting import Floats, Singles
from clearance.survey.openings import Opening, Openings
from clearance.verdict.numbers import counted

DOTS = 500
"""Columns across the longer side of a view."""
MOST_ROWS = 46
"""Openings listed beside the views."""


class View(NamedTuple):
    """A view: its title, and rows of the axes to the right, upward and towards the eye."""

    title: str
    frame: Floats


VIEWS = (
    View("from the front (along +y)", np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]])),
    View("from the right (along -x)", np.array([[0, 1.0, 0], [0, 0, 1.0], [1.0, 0, 0]])),
    View("from above (along -z)", np.eye(3)),
)


def openings_figure(triangles: Singles, found: Openings, name: str) -> Figure:
    """An A4 sheet, landscape: three views and a list.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        The part, mm.
    found : Openings
    name : str
        Of the mesh, for the title.
    """
    with mpl.rc_context(style.SETTINGS):
        figure = Figure(figsize=style.A4_LANDSCAPE_IN)
        networks = len(found.networks())
        title = f"{name}: {counted(len(found.openings), 'opening')}, {counted(networks, 'network')}"
        figure.text(0.05, 0.95, title, fontsize=style.TITLE_PT)
        places = ((0.07, 0.52, 0.31, 0.38), (0.43, 0.52, 0.31, 0.38), (0.07, 0.07, 0.31, 0.38))
        for view, place in zip(VIEWS, places, strict=True):
            draw_view(figure.add_axes(place), triangles, found, view)
        words = "solid ring: faces the viewer; dashed: faces away or aside"
        figure.text(0.43, 0.42, words, fontsize=style.LABEL_PT)
        _list(figure, found)
    return figure


def draw_view(axes: Axes, triangles: Singles, found: Openings, view: View) -> Axes:
    """Draw the part as seen along one axis, shaded by depth, with its openings."""
    depth, extent = _depth(triangles, view.frame)
    axes.imshow(
        depth.T,
        extent=extent,
        origin="lower",
        cmap="gray",
        vmin=-0.6,
        vmax=1.1,
        interpolation="none",
    )
    for one in found.openings:
        _mark(axes, one, view.frame)
    axes.set_title(view.title, fontsize=style.LABEL_PT)
    axes.set_xlabel(f"{_axis(view.frame[0])}, mm")
    axes.set_ylabel(f"{_axis(view.frame[1])}, mm")
    axes.set_aspect("equal")
    return axes


def _depth(triangles: Singles, frame: Floats) -> tuple[Floats, tuple[float, float, float, float]]:
    """Height of the outermost metal towards the eye, 0 to 1; nan beside the part."""
    turned = np.stack([triangles @ row.astype(np.float32) for row in frame], axis=2)
    corners = turned.reshape(-1, 3)
    low, high = corners.min(axis=0).astype(np.float64), corners.max(axis=0).astype(np.float64)
    pitch = max(float((high - low)[:2].max()) / DOTS, 1e-3)
    grid = Grid.over(low, high, pitch, pad=1)
    runs = cast(np.ascontiguousarray(turned), grid).metal
    top = np.full(grid.count, np.nan)
    some = np.diff(runs.start) > 0
    top[some] = runs.z[runs.start[1:][some] - 1, 1]
    image = ((top - low[2]) / max(high[2] - low[2], 1e-6)).reshape(grid.nx, grid.ny)
    x, y = grid.x_mm(0), grid.y_mm(0)
    half = 0.5 * grid.pitch_mm
    right, upper = grid.x_mm(grid.nx - 1), grid.y_mm(grid.ny - 1)
    return image, (float(x - half), float(right + half), float(y - half), float(upper + half))


def _mark(axes: Axes, one: Opening, frame: Floats) -> None:
    """The closing surface's outline and the opening's number."""
    ring = np.array(one.mouth.polygon.exterior.coords)
    points = one.mouth.plane.to_space(ring) @ frame.T
    x, y, _ = frame @ one.mouth.centre
    line = "-" if float(frame[2] @ one.normal) > 0.3 else (0, (2, 1.5))
    axes.plot(points[:, 0], points[:, 1], color=style.WARN, linewidth=style.LINE_PT, linestyle=line)
    label = axes.annotate(
        str(one.number),
        (x, y),
        ha="center",
        va="center",
        fontsize=style.LABEL_PT,
        fontweight="bold",
        color=style.INK,
        path_effects=[withStroke(linewidth=style.THICK_PT, foreground=style.PAPER)],
    )
    label.set_gid(f"opening {one.number}")


def _list(figure: Figure, found: Openings) -> None:
    head = f"{'no.':>4}{'network':>9}{'diameter':>10}{'clear':>8}   centre, mm"
    rows = [head]
    for one in found.openings[:MOST_ROWS]:
        x, y, z = np.round(one.mouth.centre, 1) + 0.0
        rows.append(
            f"{one.number:>4}{one.network:>9}{2 * one.mouth.radius:10.2f}"
            f"{2 * one.mouth.inscribed_radius:8.2f}   {x:.1f}, {y:.1f}, {z:.1f}"
        )
    if len(found.openings) > MOST_ROWS:
        rows.append(f"and {len(found.openings) - MOST_ROWS} more")
    figure.text(
        0.43 if len(rows) <= 24 else 0.76,
        0.40 if len(rows) <= 24 else 0.90,
        "\n".join(rows),
        fontsize=style.LABEL_PT,
        family="DejaVu Sans Mono",
        va="top",
    )


def _axis(row: Floats) -> str:
    axis = int(np.argmax(np.abs(row)))
    return ("" if row[axis] > 0.0 else "-") + "xyz"[axis]
