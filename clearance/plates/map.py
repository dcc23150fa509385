"""The map of a plate, and a page for each result that does not conform, as PDF.

In: a `Summary` and the results it is of. Out: the bytes of plate.pdf. A part is marked
by its recommendation three ways: colour, hatch and letter. Parts with one result share
a page.
"""

from __future__ import annotations

import io
import textwrap
import warnings
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from clearance.figures import style
from clearance.figures.areas import area
from clearance.figures.level import panel_axes, placed_axes
from clearance.figures.style import Look
from clearance.plates.placed import Place
from clearance.plates.summary import Summary, gravest_first, stood
from clearance.result.plate import PlatePart

CONFORM = ("use-as-is", "not-affected")
MAP = (0.85, 0.95, 6.3, 6.3)
SIDE = (7.4, 0.45, 4.05, 7.1)
CAUTIONS_AT = (7.4, 0.3, 4.05, 2.0)
SMALL_MAP = (8.6, 4.6, 2.8, 2.8)
"""Left, bottom, width and height, inches."""
LINE_IN = 0.155
MOST_NAMES = 60
"""More parts than this go without names on the map; the letters stay."""

Read = Callable[[str], Any]


def pages(summary: Summary, read: Read) -> bytes:
    """Bytes of plate.pdf; the same each time.

    Parameters
    ----------
    summary : Summary
    read : callable
        Gives the result of a part by its name.
    """
    file = io.BytesIO()
    with mpl.rc_context(style.SETTINGS), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        with PdfPages(file, metadata={"CreationDate": None}) as pdf:
            pdf.savefig(map_page(summary))
            for names in _alike(summary):
                pdf.savefig(_part_page(summary, names, read(names[0])))
    return file.getvalue()


def _alike(summary: Summary) -> Iterator[list[str]]:
    """Names of the parts that share a page, the gravest first; none for those that conform."""
    groups: dict[str, list[str]] = {}
    for entry in gravest_first(summary.data["parts"]):
        if entry["recommendation"] in CONFORM or entry["result"] is None:
            continue
        groups.setdefault(summary.same[entry["name"]], []).append(entry["name"])
    yield from groups.values()


# ---- the map ---------------------------------------------------------------------------------


def map_page(summary: Summary) -> Figure:
    """Draw the platform with every part on it, and the table, the gravest first."""
    figure = Figure(figsize=style.A4_LANDSCAPE_IN)
    axes = placed_axes(figure, MAP)
    _platform(axes, summary)
    few = len(summary.data["parts"]) <= MOST_NAMES
    for entry in summary.data["parts"]:
        _draw(axes, summary, entry, names=few)
    _words(figure, 0.3, 8.05, [_title(summary)], style.TITLE_PT, bold=True)
    _words(figure, 0.3, 0.3, _notes(summary), style.SMALLEST_PT)
    _table(figure, summary)
    _cautions(figure, summary)
    return figure


def _platform(axes: Axes, summary: Summary) -> None:
    x, y = (0.5 * size for size in summary.data["size_mm"])
    area(axes, shapely.box(-x, -y, x, y), Look("none", style.INK, width_pt=1.2), "platform")
    marked = [[-x, -y], [x, y], *(e["at_mm"] for e in summary.data["parts"])]
    low, high = np.min(marked, axis=0), np.max(marked, axis=0)
    middle, half = 0.5 * (low + high), 0.53 * float((high - low).max())
    axes.set_xlim(middle[0] - half, middle[0] + half)
    axes.set_ylim(middle[1] - half, middle[1] + half)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel("x on the platform, mm")
    axes.set_ylabel("y on the platform, mm")


def _shape(summary: Summary, entry: PlatePart) -> Any:
    """Outline of a part on the platform; its turned box where it was not computed."""
    name, place = entry["name"], Place(entry["at_mm"], entry["turn_deg"])
    rings = summary.outlines.get(name)
    if rings is None and name in summary.boxes:
        (x0, y0), (x1, y1) = summary.boxes[name]
        rings = [[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]
    if not rings:
        return shapely.Point(*entry["at_mm"]).buffer(0.01 * max(summary.data["size_mm"]))
    polygons = [shapely.Polygon(place.to_platform(ring)) for ring in rings]
    return shapely.union_all([shapely.make_valid(polygon) for polygon in polygons])


def _draw(axes: Axes, summary: Summary, entry: PlatePart, names: bool) -> None:
    letter, look = style.MARKS[entry["recommendation"]]
    shape = _shape(summary, entry)
    area(axes, shape, look, f"part {entry['name']}")
    at = shapely.point_on_surface(shape)
    words = letter
    if names:
        words += "\n" + textwrap.shorten(entry["name"], 14, placeholder="…")
    # A white rim first: text with a rim would become outlines, and could not be searched.
    rim = [withStroke(linewidth=style.HALO_PT, foreground=style.PAPER)]
    for effects in (rim, None):
        axes.text(
            at.x, at.y, words, ha="center", va="center", fontsize=style.SMALLEST_PT,
            fontweight="bold", color=style.INK, linespacing=1.1, path_effects=effects,
        )  # fmt: skip


def _title(summary: Summary) -> str:
    counts = summary.data["counts"]
    said = ", ".join(f"{count} {name}" for name, count in counts.items())
    return textwrap.shorten(f"{summary.data['plate']}: {said}", 110, placeholder="…")


def _notes(summary: Summary) -> list[str]:
    data = summary.data
    notes = []
    stop = data["stop_building"]
    if stop["parts"]:
        left = f"{stop['metal_left_mm3'] * 1e-3:.1f} cm3"
        if stop["mass_left_g"] is not None:
            left += f", {stop['mass_left_g']:.0f} g"
        few = textwrap.shorten(", ".join(stop["parts"]), 90, placeholder="…")
        notes.append(f"recommended for scrap and not complete: {few}; {left} are not yet melted")
    notes += data["notices"][:2]
    notes.append(
        f"outlines at the height of the stop; {data['program']}; the program recommends, it never "
        "releases a part"
    )
    return [line for note in notes for line in textwrap.wrap(note, 190)]


def _words(
    figure: Figure, x: float, y: float, lines: Sequence[str], size: float, bold: bool = False
) -> None:
    """Lines of text: from the top down if bold, else standing on `y` inches."""
    width, height = style.A4_LANDSCAPE_IN
    figure.text(
        x / width, y / height, "\n".join(lines), fontsize=size, color=style.INK,
        fontweight="bold" if bold else "normal", va="top" if bold else "bottom", linespacing=1.3,
    )  # fmt: skip


def _table(figure: Figure, summary: Summary) -> None:
    """Key and parts, the gravest first, as many as there is room for."""
    panel = panel_axes(figure, SIDE)
    at = SIDE[3]
    for name, count in summary.data["counts"].items():
        letter, look = style.MARKS[name]
        area(panel, shapely.box(0.0, at - 0.13, 0.3, at), look, "key")
        _at(panel, 0.4, at, f"{letter}  {name}: {count}")
        at -= 0.2
    at -= 0.1
    entries = gravest_first(summary.data["parts"])
    room = int((at - CAUTIONS_AT[3]) / LINE_IN) - 2
    shown = entries if len(entries) <= room else entries[: room - 1]
    for x, word in zip(TABLE_X, ("", "part", "worst passage", "melted", "of all"), strict=True):
        _at(panel, x, at, word, bold=True)
    for entry in shown:
        at -= LINE_IN
        for x, word in zip(TABLE_X, _row(entry), strict=True):
            _at(panel, x, at, word)
    if len(shown) < len(entries):
        _at(panel, 0.0, at - LINE_IN, f"and {len(entries) - len(shown)} more: plate.csv")


TABLE_X = (0.0, 0.22, 1.35, 3.0, 3.6)


def _row(entry: PlatePart) -> tuple[str, ...]:
    worst = entry["worst_passage"]
    passage = f"{worst['name']}: {worst['state']}" if worst else ""
    part = stood(entry)
    return (
        style.MARKS[entry["recommendation"]][0],
        textwrap.shorten(entry["name"], 18, placeholder="…"),
        textwrap.shorten(passage, 27, placeholder="…"),
        f"{part.metal_mm3 * 1e-3:.1f} cm3" if part else "",
        f"{part.percent:.0f} %" if part else "",
    )


def _cautions(figure: Figure, summary: Summary) -> None:
    """Every page carries the cautions."""
    panel = panel_axes(figure, CAUTIONS_AT)
    at = CAUTIONS_AT[3]
    for line, bold in _section("cautions", summary.data["cautions"], letters=66):
        _at(panel, 0.0, at, line, bold)
        at -= LINE_IN


def _at(panel: Axes, x: float, y: float, word: str, bold: bool = False) -> None:
    panel.text(
        x, y, word, fontsize=style.SMALLEST_PT, va="top", color=style.INK,
        fontweight="bold" if bold else "normal",
    )  # fmt: skip


# ---- a page a result -------------------------------------------------------------------------


def _part_page(summary: Summary, names: Sequence[str], result: dict[str, Any]) -> Figure:
    """Reasons, passages and work for parts of one result, and where they stand."""
    figure = Figure(figsize=style.A4_LANDSCAPE_IN)
    entries = {entry["name"]: entry for entry in summary.data["parts"]}
    _where(figure, summary, [entries[name] for name in names])
    _cautions(figure, summary)
    word = entries[names[0]]["recommendation"]
    title = textwrap.shorten(f"{', '.join(names)}: {word}", 80, placeholder="…")
    _words(figure, 0.4, 8.0, [title], style.TITLE_PT, bold=True)
    panel = panel_axes(figure, (0.4, 0.3, 10.9, 7.2))
    at = 7.2
    for line, bold in _lines(entries[names[0]], result):
        if at < 2.0 * LINE_IN:
            _at(panel, 0.0, at, f"more in {entries[names[0]]['result']}")
            break
        _at(panel, 0.0, at, line, bold)
        at -= LINE_IN
    return figure


def _where(figure: Figure, summary: Summary, entries: Sequence[PlatePart]) -> None:
    axes = placed_axes(figure, SMALL_MAP)
    _platform(axes, summary)
    axes.set_xlabel("")
    axes.set_ylabel("")
    named = {entry["name"] for entry in entries}
    for entry in summary.data["parts"]:
        if entry["name"] not in named:
            area(axes, _shape(summary, entry), Look("none", style.INK, width_pt=0.4), "other")
    for entry in entries:
        area(axes, _shape(summary, entry), style.MARKS[entry["recommendation"]][1], "part")


def _lines(entry: PlatePart, result: dict[str, Any]) -> Iterator[tuple[str, bool]]:
    decided = result["disposition"]
    sheet = str(entry["result"]).removesuffix(".json")
    yield f"case {entry['case']}; section: {sheet}.pdf", False
    if part := stood(entry):
        yield (
            f"at the stop {part.height_mm:.2f} of {part.of_height_mm:.2f} mm high, "
            f"{part.metal_mm3 * 1e-3:.1f} of {part.of_metal_mm3 * 1e-3:.1f} cm3 of metal melted",
            False,
        )
    yield from _section("passages", [_passage(p) for p in result["passages"]])
    yield from _section("reasons", entry["reasons"])
    yield from _section("order of work", decided["order_of_work"])
    settled = [text for p in result["passages"] for text in p["settled_by"]]
    yield from _section("settled by", decided["settled_by"] or settled)
    yield from _section("notices", [*result["assumptions"], *result["notices"]])


def _section(title: str, items: Sequence[str], letters: int = 105) -> Iterator[tuple[str, bool]]:
    if not items:
        return
    yield "", False
    yield title, True
    for item in items:
        for n, line in enumerate(textwrap.wrap(item, letters)):
            yield ("– " if n == 0 else "   ") + line, False


def _passage(passage: dict[str, Any]) -> str:
    found = passage["clear_diameter_mm"]
    return (
        f"{passage['name']}: {passage['state']}, clear diameter {found['low']:.3f} to "
        f"{found['high']:.3f} mm, {passage['required_mm']:g} mm required"
    )
