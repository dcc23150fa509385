"""Figure of the openings: views of the part, aligned, with every opening numbered.

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
from clearance.figures.paper import shortened
from clearance.figures.projection import first_angle
from clearance.figures.scale import MM_PER_INCH, scale_bar, standard
from clearance.geometry.cutting import Floats, Singles
from clearance.survey.openings import Opening, Openings
from clearance.verdict.numbers import counted

DOTS = 500
"""Columns across the longer side of a view."""
MOST_ROWS = 38
"""Openings listed beside the views."""
FIELD = (0.75, 0.95, 7.05, 6.45)
"""Left, bottom, width and height of the room for the views, inches."""
BETWEEN_IN, ACROSS_IN, TITLE_IN = 0.28, 0.45, 0.2
"""Between views, down and across, for the numbers of an axis; above each for its title."""
LIST_IN = 8.05
LINE_IN = 0.165
FACING = 0.3
"""Cosine of the angle between an opening's normal and a view, from which on it is drawn there."""


class View(NamedTuple):
    """A view: its title, and rows of the axes to the right, upward and towards the eye."""

    title: str
    frame: Floats


VIEWS = (
    View("from the front", np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]])),
    View("from the left", np.array([[0, -1.0, 0], [0, 0, 1.0], [-1.0, 0, 0]])),
    View("from above", np.eye(3)),
    View("from below", np.array([[1.0, 0, 0], [0, -1.0, 0], [0, 0, -1.0]])),
)
"""The front, what stands right of it, below it and above it (first angle, ISO 5456-2)."""
ASIDE = "from below, set aside for room"
"""Where the scale is larger without it above the front."""


def openings_figure(triangles: Singles, found: Openings, name: str) -> Figure:
    """An A4 sheet, landscape: four views at one scale and a list.

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
        width, height = style.A4_LANDSCAPE_IN
        groups = counted(len(found.networks()), "connected group")
        title = f"{name}: {counted(len(found.openings), 'opening')}, {groups}"
        title = shortened(title, width - 0.8, style.TITLE_PT, bold=True)
        figure.text(0.4 / width, 1.0 - 0.45 / height, title, fontsize=style.TITLE_PT,
                    fontweight="bold")  # fmt: skip
        size = _size(triangles)
        scale = _scale(size, aside=False)
        aside = _scale(size, aside=True) > scale
        scale = _scale(size, aside)
        for view, place in zip(VIEWS, _places(size, scale, aside), strict=True):
            box = np.array(place) / (width, height, width, height)
            axes = figure.add_axes((box[0], box[1], box[2], box[3]))
            draw_view(axes, triangles, found, view)
        if aside:
            figure.axes[-1].set_title(ASIDE, fontsize=style.SMALLEST_PT, loc="left", pad=3)
        _below(figure, figure.axes[0])
        _list(figure, found)
    return figure


def _size(triangles: Singles) -> Floats:
    """Size of the part in x, y and z, mm."""
    corners = triangles.reshape(-1, 3).astype(np.float64)
    return np.asarray(np.maximum(corners.max(axis=0) - corners.min(axis=0), 1e-3))


def _scale(size: Floats, aside: bool) -> float:
    """Inches on paper for a mm: the largest standard scale at which the views have room.

    `aside`: the view from below stands beside that from above, not above the front.
    """
    x, y, z = size
    views = 1 if aside else 2
    across = (FIELD[2] - ACROSS_IN) / (x + max(x if aside else 0.0, y))
    up = (FIELD[3] - views * BETWEEN_IN - (views + 1) * TITLE_IN) / (z + views * y)
    return standard(MM_PER_INCH * float(min(across, up))) / MM_PER_INCH


def _places(size: Floats, scale: float, aside: bool) -> tuple[tuple[float, ...], ...]:
    """Places of the views, left, bottom, width and height in inches, in the order of `VIEWS`."""
    x, y, z = (float(side) for side in size * scale)
    left, foot = FIELD[0], FIELD[1]
    step = BETWEEN_IN + TITLE_IN
    right, front = left + x + ACROSS_IN, foot + y + step
    below = (right, foot, x, y) if aside else (left, front + z + step, x, y)
    return (left, front, x, z), (right, front, y, z), (left, foot, x, y), below


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
        aspect="auto",
    )
    for one in found.openings:
        toward = float(view.frame[2] @ one.normal)
        if abs(toward) > FACING:  # else it is seen as a line
            named = toward > 0.0 or not any(v.frame[2] @ one.normal > FACING for v in VIEWS)
            _mark(axes, one, view.frame, toward > 0.0, named)
    turned = triangles.reshape(-1, 3).astype(np.float64) @ view.frame.T
    (x0, y0), (x1, y1) = turned.min(axis=0)[:2], turned.max(axis=0)[:2]
    axes.set_xlim(x0, x1)
    axes.set_ylim(y0, y1)
    axes.set_title(view.title, fontsize=style.SMALLEST_PT, loc="left", pad=3)
    beside = view is VIEWS[1]  # its heights are those of the view beside it
    for axis, row, low, high in ((axes.xaxis, 0, x0, x1), (axes.yaxis, 1, y0, y1)):
        _ticks(axis, view.frame[row], (float(low), float(high)), row == 1 and beside)
    return axes


def _ticks(axis: mpl.axis.Axis, row: Floats, ends: tuple[float, float], bare: bool = False) -> None:
    """The part's ends on an axis, named in the part's own coordinates."""
    sign = 1.0 if row[int(np.argmax(np.abs(row)))] > 0.0 else -1.0
    words = [f"{sign * end + 0.0:.4g}".replace("-", "−") for end in ends]
    letter = "xyz"[int(np.argmax(np.abs(row)))]
    axis.set_ticks(list(ends), ["", ""] if bare else [words[0], f"{letter} {words[1]}"])
    axis.set_tick_params(length=2.5, pad=2.0)


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


def _mark(axes: Axes, one: Opening, frame: Floats, faces: bool, named: bool) -> None:
    """The closing surface's outline, and beside it the opening's number."""
    ring = np.array(one.mouth.polygon.exterior.coords)
    points = one.mouth.plane.to_space(ring) @ frame.T
    (outline,) = axes.plot(
        points[:, 0], points[:, 1], color=style.WARN, zorder=3 if faces else 2,
        linewidth=style.LINE_PT if faces else style.HAIR_PT,
        linestyle="-" if faces else (0, (2, 1.5)), clip_on=False,
    )  # fmt: skip
    outline.set_gid(f"{'facing' if faces else 'away'} {one.number}")
    if not named:
        return
    label = axes.annotate(
        str(one.number), (points[:, 0].max(), 0.5 * (points[:, 1].min() + points[:, 1].max())),
        (1.5, 0.0), textcoords="offset points", ha="left", va="center",
        fontsize=style.SMALLEST_PT, fontweight="bold", color=style.INK,
        path_effects=[withStroke(linewidth=style.HALO_PT, foreground=style.PAPER)],
    )  # fmt: skip
    label.set_gid(f"opening {one.number}")


def _below(figure: Figure, front: Axes) -> None:
    """Scale, projection and what the rings mean, at the foot."""
    width, height = figure.get_size_inches()
    place = front.get_position()
    down = (0.42 / height - place.y0) / place.height  # in shares of the front view's height
    scale_bar(front, 0.0, down)
    words = "first angle; lengths in mm; ring whole: faces the viewer, dashed: faces away"
    left = FIELD[0] + 2.3
    first_angle(figure, (left, 0.33), 0.2)
    figure.text(
        (left + 0.55) / width, 0.42 / height, words, fontsize=style.SMALLEST_PT, va="center"
    )


def _list(figure: Figure, found: Openings) -> None:
    """A row for each opening: number, connected group, diameters and place."""
    rows = ["no. group     ⌀  clear  x, y, z"]
    for one in found.openings[:MOST_ROWS]:
        x, y, z = np.round(one.mouth.centre, 1) + 0.0
        rows.append(
            f"{one.number:>3} {one.network:>5} {2 * one.mouth.radius:5.2f}"
            f" {2 * one.mouth.inscribed_radius:6.2f}  {x:.1f}, {y:.1f}, {z:.1f}"
        )
    if len(found.openings) > MOST_ROWS:
        rows.append(f"and {len(found.openings) - MOST_ROWS} more")
    width, height = figure.get_size_inches()
    for n, row in enumerate(rows):
        figure.text(
            LIST_IN / width, (height - 0.95 - n * LINE_IN) / height, row,
            fontsize=style.SMALLEST_PT, family="DejaVu Sans Mono", va="top",
            fontweight="bold" if n == 0 else "normal",
        )  # fmt: skip
