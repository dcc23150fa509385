"""The platform as a page for a browser: every part in the colour of its recommendation, as a link.

In: what is known of the plate, and the outlines. Out: one HTML file without a script, which
contacts no address. Names are text in it, never markup.
"""

from __future__ import annotations

import base64
import hashlib
import html
from collections.abc import Collection, Mapping
from typing import Any
from urllib.parse import quote

import numpy as np
import shapely

from clearance.figures.files import with_exponents
from clearance.figures.style import MARKS
from clearance.plates.placed import Boxes, Outlines, outline_of
from clearance.result.plate import PlatePart, PlateSummary

STYLE = """\
:root { color-scheme: light dark; }
body { font: 15px/1.4 "DejaVu Sans", Verdana, sans-serif; margin: 1rem; display: grid; gap: 1rem;
  grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); align-items: start; }
@media (max-width: 800px) { body { grid-template-columns: minmax(0, 1fr); } }
header, footer { grid-column: 1 / -1; } h1 { font-size: 1.2rem; margin: 0; }
svg { width: 100%; max-height: 85vh; background: #fff; }
svg text { fill: #1a1a1a; text-anchor: middle;
  dominant-baseline: central; font-weight: 700; paint-order: stroke; stroke: #fff; }
a:focus-visible path, a:hover path { stroke-width: 3px; }
path { vector-effect: non-scaling-stroke; }
table { border-collapse: collapse; width: 100%; } td, th { text-align: left; vertical-align: top;
  padding: .2rem .5rem; border-bottom: 1px solid #9a9a9a; }
td { min-width: 4.5em; overflow-wrap: anywhere; } td:first-child { min-width: 0; }
td:nth-child(3) { min-width: 8.5em; }
tr { break-inside: avoid; } .hold { font-weight: 700; }
@media print { @page { size: A4 landscape; } body { font-size: 9pt; } svg { max-height: 150mm; } }
"""
HEADS = "".join(
    f'<th scope="col">{head}</th>' for head in ("no.", "part", "recommendation", "why", "see")
)
DASHES = {"--": "6 3", ":": "2 2"}
"""Of an outline, by its line on paper."""


def plate_page(
    data: PlateSummary, outlines: Outlines, boxes: Boxes, pages: Collection[str]
) -> bytes:
    """Bytes of plate.html; the same each time.

    Parameters
    ----------
    data : PlateSummary
    outlines : mapping of str to rings, mm
        In each part's own coordinates.
    boxes : mapping of str to corners, mm
        Where there is no outline.
    pages : collection of str
        Parts that have a page to turn in the hand.
    """
    numbers = {entry["name"]: n for n, entry in enumerate(data["parts"], start=1)}
    rows = "".join(_row(entry, numbers[entry["name"]], pages) for entry in data["parts"])
    title = html.escape(f"plate {data['plate']}")
    held = len(data["hold"])
    return f"""\
<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src '{_hash()}'; \
img-src data:; base-uri 'none'; form-action 'none'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<link rel="icon" href="data:,">
<title>{title}</title>
<style>{STYLE}</style>
</head>
<body>
<header><h1>{title}</h1>
<p class="hold">HOLD {held} of {len(data["parts"])}: this page does not release a part</p></header>
{_map(data, outlines, boxes, numbers)}
<table><thead><tr>{HEADS}</tr></thead>
<tbody>
{rows}</tbody></table>
<footer>{"".join(f"<p>{html.escape(one)}</p>" for one in data["cautions"])}
<p>{html.escape(data["program"])}; plate.pdf has the plate report.</p></footer>
</body>
</html>
""".encode()


def _hash() -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()}"


def _map(data: PlateSummary, outlines: Outlines, boxes: Boxes, numbers: Mapping[str, int]) -> str:
    """The platform from above, +y up, so heights on the screen are turned over."""
    wide, deep = data["size_mm"]
    shapes = [outline_of(one, outlines, boxes, data["size_mm"]) for one in data["parts"]]
    places = [shapely.box(-wide / 2, -deep / 2, wide / 2, deep / 2), *shapes]
    x0, y0, x1, y1 = shapely.union_all([shapely.envelope(one) for one in places]).bounds
    rim = 0.02 * max(x1 - x0, y1 - y0)
    view = f"{x0 - rim:.3f} {-y1 - rim:.3f} {x1 - x0 + 2 * rim:.3f} {y1 - y0 + 2 * rim:.3f}"
    parts = "".join(
        _part(one, shape, numbers[one["name"]], rim)
        for one, shape in zip(data["parts"], shapes, strict=True)
    )
    platform = f'<path d="{_outline(places[0])}" fill="none" stroke="#1a1a1a"/>'
    words = f"The platform from above, {wide:g} x {deep:g} mm, +x to the right, +y up"
    return (
        f'<svg viewBox="{view}" role="group" aria-label="{words}"><title>{words}</title>'
        f"{platform}{parts}</svg>"
    )


def _part(entry: PlatePart, shape: Any, number: int, rim: float) -> str:
    letter, look = MARKS[entry["recommendation"]]
    dash = DASHES.get(look.line if isinstance(look.line, str) else "", "")
    at = shapely.point_on_surface(shape)
    label = html.escape(f"{number} {entry['name']}: {entry['recommendation']}")
    drawn = (
        f'<path d="{_outline(shape)}" fill="{look.face}" stroke="{look.edge}" '
        f'stroke-width="{look.width_pt:g}" stroke-dasharray="{dash or "none"}"/>'
        f'<text x="{at.x:.3f}" y="{-at.y:.3f}" font-size="{1.3 * rim:.3f}" '
        f'stroke-width="{0.15 * rim:.3f}">{letter} {number}</text>'
    )
    title = f"<title>{label}</title>{drawn}"
    if entry["result"] is None:
        return f"<g>{title}</g>"
    return f'<a href="{_link(entry["name"], "pdf")}" aria-label="{label}">{title}</a>'


def _outline(shape: Any) -> str:
    rings = [
        np.asarray(ring.coords)
        for polygon in shapely.get_parts(shape)
        if polygon.geom_type == "Polygon"
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    return "".join(
        "M" + "L".join(f"{x:.3f} {-y:.3f}" for x, y in ring[:-1, :2]) + "Z" for ring in rings
    )


def _row(entry: PlatePart, number: int, pages: Collection[str]) -> str:
    letter, _ = MARKS[entry["recommendation"]]
    name = entry["name"]
    see = []
    if entry["result"] is not None:
        see = [f'<a href="{_link(name, "pdf")}">sheet</a>']
        see += [f'<a href="{_link(name, "html")}">page to turn</a>'] if name in pages else []
    why = html.escape(with_exponents(entry["finding"]))
    words = f"{letter} {entry['recommendation']}"
    cells = (str(number), html.escape(name), html.escape(words), why, ", ".join(see))
    return "<tr>" + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>\n"


def _link(name: str, kind: str) -> str:
    return html.escape(f"parts/{quote(name, safe='')}.{kind}")
