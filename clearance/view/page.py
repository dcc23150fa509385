"""The page: one HTML file with all that it needs, which contacts no address.

In: a `Scene`. Out: bytes. Names are text wherever they stand, never markup.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from clearance.figures.files import with_exponents
from clearance.figures.style import DRILL, FINISHED, METAL, RINGS, STRAY, UNMELTED, WARN
from clearance.view.packed import Packed, packed
from clearance.view.scene import Body, Scene

LIBRARY = "0.187.0"
"""Version of the library in `three.min.js`, as `docs/make_three.py` bundles it."""
UNSEEN = 1 / 1000
"""Of the picture's size: how far the surface of the first picture may be off, less than a point."""
LOOKS: dict[str, dict[str, Any]] = {
    "part": {"colour": METAL.face, "opacity": 0.22},
    "passage": {"colour": RINGS["open"].colour, "opacity": 1.0},
    "stray": {"colour": STRAY.face, "opacity": 0.72},
    "gap": {"colour": UNMELTED.face, "opacity": 0.8},
    "powder": {"colour": "#8d6a2f", "opacity": 0.55},
    "drill": {"colour": "#7d93a6", "opacity": 0.9},
    "holder": {"colour": DRILL.face, "opacity": 0.45},
    "finished": {"colour": FINISHED.edge, "opacity": 0.14},
    "scan": {"colour": "#2f7d8c", "opacity": 0.4},
    "cut": {"colour": "#8a8a8a"},
    "edge": {"colour": "#4a4a4a"},
    "mark": {"colour": "#ffffff"},
    "picked": {"colour": WARN},
}
STATES = {**{state: ring.colour for state, ring in RINGS.items()}, "undetermined": "#8a8a8a"}
"""Colour of a passage by its state: that of its ring on paper, where undetermined is white."""


def page(scene: Scene) -> bytes:
    """Write a scene as one HTML file.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    bytes
        UTF-8. The policy in it lets run what stands in it and fetch nothing; the same scene gives
        the same bytes.
    """
    style, script, three = _text("page.css"), _text("page.js"), _three()
    middle, size = _middle_and_size(scene)
    bodies = [packed(body.triangles, UNSEEN * size) for body in scene.bodies]
    data = {**_data(scene, bodies), "middle": middle, "size": size}
    values = {
        "policy": html.escape(_policy(style, three, script)),
        "title": html.escape(scene.name),
        "call": html.escape(with_exponents(scene.call)),
        "finding": html.escape(with_exponents(scene.finding)),
        "action": html.escape(with_exponents(scene.action)),
        "cautions": "".join(f'<p class="soft">{html.escape(c)}</p>' for c in scene.cautions),
        "thinned": html.escape(_thinned(scene, bodies)),
        "also": _also(scene),
        "library": LIBRARY,
        "low": f"{scene.low:.6g}",
        "high": f"{scene.high:.6g}",
        "step": f"{scene.step:.6g}",
        "style": style,
        "script": script,
        "three": three,
        "data": _inert(json.dumps(data, ensure_ascii=True, separators=(",", ":"))),
    }
    # In one pass, so that braces in a name are not filled in again.
    whole = re.sub(r"\{\{(\w+)\}\}", lambda found: values[found[1]], _text("page.html"))
    return whole.encode()


def named(data: bytes, name: str) -> bytes:
    """A page under another part's name: equal parts of a plate share all else."""
    title = html.escape(name).replace("\\", r"\\")
    text = re.sub(r"<title>.*?</title>", f"<title>{title}</title>", data.decode(), count=1)
    return re.sub(r"<h1>.*?</h1>", f"<h1>{title}</h1>", text, count=1).encode()


@cache
def _text(name: str) -> str:
    return (files("clearance.view") / name).read_text(encoding="utf-8")


def _three() -> str:
    """The library with its licence before it."""
    licence = _text("three.LICENSE.txt").strip().replace("*/", "* /")
    return f"/*\nthree.js {LIBRARY}\n\n{licence}\n*/\n{_text('three.min.js').strip()}\n"


def _policy(style: str, *scripts: str) -> str:
    """Content security policy (W3C, level 3): these texts run, nothing is fetched."""
    allowed = " ".join(_hash(script) for script in scripts)
    return (
        f"default-src 'none'; script-src {allowed}; style-src {_hash(style)}; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _inert(text: str) -> str:
    """JSON that ends no script element and begins no comment, whatever the names in it."""
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _thinned(scene: Scene, bodies: list[Packed]) -> str:
    most = max((body.moved_mm for body in scene.bodies), default=0.0)
    off = max((body.off_mm for body in bodies), default=0.0)
    words = []
    if most > 0.0:
        moved = f"corners are moved by at most {most:.2f} mm"
        words += [f"For this picture alone the surfaces are thinned: {moved}."]
    if off > 0.0:
        words += [
            "When it opens, and while it turns without a graphics card, large surfaces are drawn "
            f"from fewer triangles, at most {off:.2f} mm off; browsers before 2023 keep to them."
        ]
    return " ".join(words)


def _also(scene: Scene) -> str:
    """Switches for what only some cases have."""
    kinds = {body.kind for body in scene.bodies}
    words = {"finished": "finished shape", "scan": "scan"}
    return "".join(
        f'<label><input type="checkbox" data-show="{kind}">{said}</label>\n'
        for kind, said in words.items()
        if kind in kinds
    )


def _middle_and_size(scene: Scene) -> tuple[list[float], float]:
    points = np.concatenate([body.triangles.reshape(-1, 3) for body in scene.bodies if _big(body)])
    low, high = points.min(axis=0), points.max(axis=0)
    return [float(v) for v in 0.5 * (low + high)], float(np.linalg.norm(high - low))


def _data(scene: Scene, bodies: list[Packed]) -> dict[str, Any]:
    return {
        "looks": LOOKS,
        "states": STATES,
        "low": scene.low,
        "high": scene.high,
        "step": scene.step,
        "sheets": list(scene.sheets),
        "bodies": [
            {key: getattr(body, key) for key in ("name", "kind", "when", "state")} | one.data
            for body, one in zip(scene.bodies, bodies, strict=True)
        ],
        "tags": [vars(tag) for tag in scene.tags],
        "marks": [
            {**vars(mark), "rows": [(what, with_exponents(value)) for what, value in mark.rows]}
            for mark in scene.marks
        ],
        "rows": [
            {**vars(row), "lines": [with_exponents(line) for line in row.lines]}
            for row in scene.rows
        ],
    }


def _big(body: Body) -> bool:
    """Whether it counts for the size of the picture: tools may stand far off."""
    return body.kind not in ("drill", "holder")
