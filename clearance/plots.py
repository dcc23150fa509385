"""Figures: what a drawing shows, put on a sheet.

In: a `LevelSection`. Out: a Matplotlib `Figure`, and its bytes as PNG, PDF or
SVG. Nothing is decided here; the same input gives the same bytes.
"""

from __future__ import annotations

import io
import textwrap
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke

from clearance import style
from clearance.drawing_parts import GRAVEST, Detail, LevelSection, Row, Void
from clearance.errors import ClearanceError
from clearance.files import write_whole
from clearance.result import State
from clearance.style import Look

MAIN = (0.72, 1.2, 7.35, 6.35)
"""Left, bottom, width and height of the section's axes, inches."""
SIDE = (8.4, 1.2, 2.95, 6.35)
"""The same of the column beside it: detail, passages, key."""
LABEL_IN, EDGE_IN, BAR_IN = 1.35, 0.35, 0.5
"""Room for labels left and right of the part, for air above and below, for the scale bar."""
LINE_IN = 0.135
"""Height of a line of the smaller letters."""
ROW_IN, KEY_IN = 0.34, 0.215
"""Height of a passage's row and of a line of the key."""
GAP_IN = 0.08
"""Air between labels."""
LABEL_LETTERS = 20
FOOTER_LETTERS = 205
MOST_LABELS = 20
"""More pieces than this: open ones go without a label."""


def write(figure: Figure, path: Path) -> None:
    """Write a figure whole, as its file name says."""
    write_whole(path, as_bytes(figure, style.figure_kind(path)))


def write_pages(figures: Sequence[Figure], path: Path) -> None:
    """Write several figures whole: pages of a PDF, or one figure of another kind.

    Raises
    ------
    ClearanceError
        Several figures, and a file of a kind that holds one.
    """
    if len(figures) == 1:
        write(figures[0], path)
        return
    if style.figure_kind(path) != ".pdf":
        raise ClearanceError(f"{path}: {len(figures)} pages need a file that ends in .pdf")
    from matplotlib.backends.backend_pdf import PdfPages

    file = io.BytesIO()
    with mpl.rc_context(style.SETTINGS), PdfPages(file, metadata={"CreationDate": None}) as pages:
        for figure in figures:
            pages.savefig(figure)
    write_whole(path, file.getvalue())


def as_bytes(figure: Figure, kind: str) -> bytes:
    """Bytes of a figure; the same each time."""
    metadata: dict[str, dict[str, Any]] = {
        ".png": {"Software": None},
        ".pdf": {"CreationDate": None},
        ".svg": {"Date": None},
    }
    file = io.BytesIO()
    with mpl.rc_context(style.SETTINGS), warnings.catch_warnings():
        # A letter that the font has not is drawn as a box; that is no fault of the user's.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure.savefig(file, format=kind[1:], metadata=metadata[kind])
    return file.getvalue()


def level_figure(section: LevelSection) -> Figure:
    """An A4 sheet, landscape: the section, a detail, the passages, the key."""
    with mpl.rc_context(style.SETTINGS):
        figure = Figure(figsize=style.A4_LANDSCAPE_IN)
        axes = _axes(figure, MAIN)
        draw_level(axes, section)
        _frame(axes, section)
        _scale_bar(axes, 0.02, 0.03)
        _labels(axes, section.voids)
        room = SIDE[3]
        if section.detail is not None:
            room = _detail(figure, axes, section, section.detail)
        _side(figure, section, room)
        _words(figure, section)
    return figure


def draw_level(axes: Axes, section: LevelSection) -> Axes:
    """Draw the outlines of a section: metal, stray metal, powder, and passages by state."""
    area(axes, section.metal, style.METAL, "metal")
    area(axes, section.unmelted, style.UNMELTED, "unmelted")
    area(axes, section.stray, style.STRAY, "stray")
    for void in section.voids:
        look = style.STATES[void.state.value]
        area(axes, void.open, look, f"open {void.state.value}")
        if void.state is not State.OPEN:
            _closed(axes, void.closed, look)
    area(axes, section.joined, style.JOINED, "joined")
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel("x, mm")
    axes.set_ylabel("y, mm")
    return axes


def _closed(axes: Axes, shape: Any, look: Look) -> None:
    """Draw what stray metal fills of a passage: hatch and outline in the state's colour."""
    hatch = Look("none", look.face, look.hatch or "xxx", look.line, 1.2)
    if look.face == style.PAPER:
        hatch = Look("none", style.PAPER, "...", look.line, 1.2)
    area(axes, shape, hatch, "closed")


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
        axes.add_patch(patch)


def _path(polygon: Any) -> Outline:
    rings = [polygon.exterior, *polygon.interiors]
    return Outline.make_compound_path(
        *(Outline(shapely.get_coordinates(ring), closed=True) for ring in rings)
    )


# ---- the sheet -------------------------------------------------------------------------------


def _axes(figure: Figure, box: Sequence[float]) -> Axes:
    """Axes at a place given in inches."""
    width, height = style.A4_LANDSCAPE_IN
    place = (box[0] / width, box[1] / height, box[2] / width, box[3] / height)
    return figure.add_axes(place)


def _frame(axes: Axes, section: LevelSection) -> None:
    """Limits that fill the axes at one scale, with room for labels left and right."""
    x0, y0, x1, y1 = section.bounds
    width, height = MAIN[2], MAIN[3]
    label = LABEL_IN if section.voids else EDGE_IN
    scale = min(
        (width - 2.0 * label) / max(x1 - x0, 1e-6),
        (height - 2.0 * EDGE_IN - BAR_IN) / max(y1 - y0, 1e-6),
    )  # inches per mm
    middle = 0.5 * (x0 + x1), 0.5 * (y0 + y1) - 0.5 * BAR_IN / scale
    axes.set_xlim(middle[0] - 0.5 * width / scale, middle[0] + 0.5 * width / scale)
    axes.set_ylim(middle[1] - 0.5 * height / scale, middle[1] + 0.5 * height / scale)


def _per_mm(axes: Axes, width_in: float) -> float:
    """Inches per mm of axes that are so wide."""
    low, high = axes.get_xlim()
    return width_in / (high - low)


def bar_length_mm(span_mm: float) -> float:
    """A round length (1, 2 or 5 times a power of ten), at most a fifth of a span."""
    power = 10.0 ** np.floor(np.log10(0.2 * span_mm))
    return float(max(n * power for n in (1.0, 2.0, 5.0) if n * power <= 0.2 * span_mm))


def _scale_bar(axes: Axes, left: float, height: float) -> None:
    """Draw a scale bar with its length at a place in shares of the axes."""
    low, high = axes.get_xlim()
    length = bar_length_mm(high - low)
    share = length / (high - low)
    bar = axes.plot(
        [left, left + share],
        [height, height],
        color=style.INK,
        linewidth=style.BAR_PT,
        clip_on=False,
        transform=axes.transAxes,
        solid_capstyle="butt",
        path_effects=[withStroke(linewidth=style.BAR_PT + 3.0, foreground=style.PAPER)],
        zorder=5,
    )
    bar[0].set_gid("scale bar")
    axes.text(
        left + share + 0.015,
        height,
        f"{length:g} mm",
        fontsize=style.SMALLEST_PT,
        va="center",
        transform=axes.transAxes,
        path_effects=[withStroke(linewidth=2.6, foreground=style.PAPER)],
        zorder=5,
    )


def _labels(axes: Axes, voids: Sequence[Void]) -> None:
    """Name the pieces left and right of the part, with a leader to each."""
    if len(voids) > MOST_LABELS:
        voids = [v for v in voids if v.state is not State.OPEN]
    voids = sorted(voids, key=lambda v: GRAVEST.index(v.state))[:MOST_LABELS]
    low, high = axes.get_xlim()
    per_mm = _per_mm(axes, MAIN[2])
    ordered = sorted(voids, key=lambda v: v.at[0])
    half = (len(ordered) + 1) // 2
    for side, group in (("left", ordered[:half]), ("right", ordered[half:])):
        edge = low + 0.08 / per_mm if side == "left" else high - 0.08 / per_mm
        bottom, top = (BAR_IN + 0.1 if side == "left" else 0.1), MAIN[3] - 0.1
        lines = _that_fit_beside([void.label for void in group], top - bottom)
        places = _spread(
            [(void.at[1] - axes.get_ylim()[0]) * per_mm for void in group],
            [LINE_IN * len(text) for text in lines],
            bottom,
            top,
        )
        for void, text, y_in in zip(group, lines, places, strict=True):
            y = axes.get_ylim()[0] + y_in / per_mm
            _label(axes, void, text, (edge, y), side, per_mm)


def _that_fit_beside(labels: Sequence[Sequence[str]], room_in: float) -> list[list[str]]:
    """Lines of labels: all of them wrapped, or fewer and shortened where there is no room."""
    whole = [
        [piece for line in label for piece in textwrap.wrap(line, LABEL_LETTERS)]
        for label in labels
    ]
    if sum(LINE_IN * len(lines) + GAP_IN for lines in whole) <= room_in:
        return whole
    most = int((room_in / len(labels) - GAP_IN) / LINE_IN)
    return [[_shortened(line) for line in label[: max(most, 1)]] for label in labels]


def _shortened(line: str) -> str:
    """Head and tail of a line that is too long: names often differ in their last letters."""
    if len(line) <= LABEL_LETTERS:
        return line
    half = (LABEL_LETTERS - 1) // 2
    return f"{line[:half]}…{line[-half:]}"


def _label(
    axes: Axes, void: Void, lines: list[str], at: tuple[float, float], side: str, per_mm: float
) -> None:
    for n, line in enumerate(lines):  # one by one: lines of one text lie unevenly
        text = axes.text(
            at[0],
            at[1] + (0.5 * (len(lines) - 1) - n) * LINE_IN / per_mm,
            line,
            ha=side,
            va="center_baseline",
            fontsize=style.SMALLEST_PT + 0.5,
            color=style.INK,
        )
        text.set_gid("label")
    step = (LABEL_IN - 0.14) / per_mm
    start = at[0] + step if side == "left" else at[0] - step
    halo = [withStroke(linewidth=2.6, foreground=style.PAPER)]
    axes.plot(
        [start, void.at[0]],
        [at[1], void.at[1]],
        color=style.INK,
        linewidth=style.LEADER_PT,
        marker="o",
        markersize=2.4,
        markevery=[1],
        path_effects=halo,
    )


def _spread(wanted: list[float], heights: list[float], low: float, high: float) -> list[float]:
    """Middles of labels, each as near to its wanted height as leaves them apart.

    Where they do not all fit they are set closer, evenly.
    """
    if not wanted:
        return []
    order = np.argsort(wanted, kind="stable")
    size = np.asarray(heights)[order] + GAP_IN
    if size.sum() > high - low:
        size *= (high - low) / size.sum()
    offset = np.cumsum(size) - 0.5 * size
    # The gaps between neighbours are met if wanted - offset never falls.
    level = _rising(np.asarray(wanted)[order] - offset)
    level = np.clip(level, low, high - size.sum())
    places = np.empty(len(wanted))
    places[order] = level + offset
    return [float(place) for place in places]


def _rising(values: Any) -> Any:
    """Nearest sequence that never falls (least squares): neighbours that do are pooled."""
    pools: list[list[float]] = []
    for value in values:
        pools.append([float(value)])
        while len(pools) > 1 and np.mean(pools[-2]) > np.mean(pools[-1]):
            last = pools.pop()
            pools[-1] += last
    return np.concatenate([np.full(len(pool), np.mean(pool)) for pool in pools])


def _detail(figure: Figure, main: Axes, section: LevelSection, detail: Detail) -> float:
    """Draw the detail at the top of the side column; return the room that is left below it."""
    x0, y0, x1, y1 = detail.bounds
    halo = [withStroke(linewidth=2.6, foreground=style.PAPER)]
    main.add_patch(
        Rectangle((x0, y0), x1 - x0, y1 - y0, fill=False, edgecolor=style.INK, linewidth=0.8,
                  linestyle="-.", path_effects=halo)
    )  # fmt: skip
    main.annotate(
        "A", (x1, y1), (2, 1), textcoords="offset points", fontsize=style.TEXT_PT + 1,
        path_effects=halo,
    )  # fmt: skip
    title = textwrap.wrap(detail.title, 40)
    room = SIDE[3] - LINE_IN * len(title) - 0.08
    size = min(SIDE[2], 2.75)
    axes = _axes(figure, (SIDE[0], SIDE[1] + room - size, size, size))
    draw_level(axes, section)
    side = max(x1 - x0, y1 - y0)
    axes.set_xlim(0.5 * (x0 + x1 - side), 0.5 * (x0 + x1 + side))
    axes.set_ylim(0.5 * (y0 + y1 - side), 0.5 * (y0 + y1 + side))
    axes.set_xlabel("")
    axes.set_ylabel("")
    axes.set_xticks([])
    axes.set_yticks([])
    _scale_bar(axes, 0.0, -0.035)  # below it, where it hides nothing
    axes.set_title("\n".join(title), fontsize=style.TEXT_PT, loc="left", pad=4)
    text = _panel(figure, SIDE)
    at = room - size - 0.26
    for line in detail.lines:
        text.text(0.0, at, line, fontsize=style.SMALLEST_PT + 0.5, va="top")
        at -= LINE_IN
    return at - 0.1


def _panel(figure: Figure, box: Sequence[float]) -> Axes:
    """Axes without lines whose coordinates are inches."""
    axes = _axes(figure, box)
    axes.set_xlim(0.0, box[2])
    axes.set_ylim(0.0, box[3])
    axes.set_axis_off()
    return axes


def _side(figure: Figure, section: LevelSection, top: float) -> None:
    """The passages and the key, below `top` inches of the side column."""
    panel = _panel(figure, SIDE)
    key = _key(section)
    panel.text(0.0, top, "passages", fontsize=style.TEXT_PT, fontweight="bold", va="top")
    at = top - 0.24
    shown = _that_fit(section.rows, at - KEY_IN * len(key) - 0.08)
    for row in shown:
        name = _shortened(row.name)
        _swatch(panel, at, style.STATES[row.state.value])
        _line(panel, at, f"{name}: {row.state.value}")
        _line(panel, at - LINE_IN, row.numbers)
        at -= ROW_IN
    if len(shown) < len(section.rows):
        _line(panel, at, f"and {len(section.rows) - len(shown)} more")
        at -= ROW_IN
    at -= 0.08
    for look, words in key:
        _swatch(panel, at, look)
        _line(panel, at, words)
        at -= KEY_IN


def _that_fit(rows: Sequence[Row], room_in: float) -> Sequence[Row]:
    """All rows, or as many as there is room for, the gravest first."""
    most = max(int(room_in / ROW_IN), 1)
    if len(rows) <= most:
        return rows
    gravest = sorted(rows, key=lambda row: GRAVEST.index(row.state))
    return gravest[: max(most - 1, 1)]  # one line says how many are left out


def _key(section: LevelSection) -> list[tuple[Look, str]]:
    key = [(style.METAL, "metal of the part")]
    if not section.stray.is_empty:
        words = "stray metal, or of one side of the step" if section.step else "stray metal"
        key.append((style.STRAY, words))
    if not section.unmelted.is_empty:
        key.append((style.UNMELTED, "unmelted: powder where metal belongs"))
    if not section.joined.is_empty:
        key.append((style.JOINED, "void from one circuit into another"))
    return key


def _swatch(panel: Axes, at: float, look: Look) -> None:
    from shapely.geometry import box

    area(panel, box(0.02, at - 0.12, 0.36, at), look, "key")


def _line(panel: Axes, at: float, words: str) -> None:
    panel.text(0.46, at - 0.06, words, fontsize=style.SMALLEST_PT + 0.5, va="center")


def _words(figure: Figure, section: LevelSection) -> None:
    """Title and footer."""
    width, height = style.A4_LANDSCAPE_IN
    title = textwrap.wrap(section.title, 88)[:2]
    figure.text(
        0.3 / width, 1.0 - 0.2 / height, "\n".join(title), fontsize=style.TITLE_PT,
        fontweight="bold", va="top", color=style.INK,
    )  # fmt: skip
    lines = [piece for line in section.footer for piece in textwrap.wrap(line, FOOTER_LETTERS)]
    figure.text(
        0.3 / width, 0.15 / height, "\n".join(lines), fontsize=style.SMALLEST_PT, va="bottom",
        color=style.INK, linespacing=1.3,
    )  # fmt: skip
