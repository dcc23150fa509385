"""Looks of drawings: what lies beside what stays apart, in grey and for colour-blind eyes.

Relative luminance and contrast: WCAG 2.2 (W3C 2023), definitions and 1.4.11. Simulated
deficiencies: Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291,
severity 1.0, matrices for linear RGB, from memory. Differences of colour: CIE 1976 L*a*b*
(ISO/CIE 11664-4).
"""

import itertools
import re
from pathlib import Path

import numpy as np
import pdf
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from shapely import box

import clearance
from clearance.figures import areas, style
from clearance.figures.files import write, write_pages
from clearance.result import State

MACHADO = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
    "none": np.eye(3),
}
SRGB_XYZ = np.array(  # IEC 61966-2-1
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
APART = 20.0
"""Least difference of colour, CIE 1976: ten times what is just seen."""
IN_SECTION = {
    "void": style.VOID,
    "metal": style.METAL,
    "stray": style.STRAY,
    "powder": style.UNMELTED,
}
BESIDE = [
    *itertools.combinations(IN_SECTION.values(), 2),
    *((style.DRILL, look) for name, look in IN_SECTION.items() if name != "void"),
    *itertools.combinations(style.STATES.values(), 2),  # runs of a sweep
]


def linear(rgb):
    rgb = np.asarray(rgb, float)
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def of(colour):
    return linear([int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)])


def contrast(a, b):
    low, high = sorted((float(a), float(b)))
    return (high + 0.05) / (low + 0.05)


def luminance(colour):
    return of(colour) @ SRGB_XYZ[1]


def painted(draw):
    """Relative luminance of a square inch that is drawn at print size, dots (200, 200)."""
    figure = Figure(figsize=(1.0, 1.0), dpi=style.DPI)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    draw(axes)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return linear(np.asarray(canvas.buffer_rgba())[..., :3] / 255.0) @ SRGB_XYZ[1]


def toned(look):
    """Mean luminance of an area with its hatch."""
    whole = painted(lambda axes: areas.area(axes, box(-1, -1, 2, 2), look, "area"))
    return float(whole.mean())


def lab(rgb):
    xyz = SRGB_XYZ @ np.clip(rgb, 0.0, 1.0) / (SRGB_XYZ @ np.ones(3))
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_areas_that_touch_differ_in_luminance():
    tone = {look: toned(look) for look in {look for pair in BESIDE for look in pair}}
    for one, other in BESIDE:
        assert contrast(tone[one], tone[other]) >= style.FILL_CONTRAST, (one, other)
    # An open bore and a plug are what must never be mistaken for each other.
    assert contrast(tone[style.VOID], tone[style.STRAY]) >= 10.0
    assert contrast(tone[style.VOID], tone[style.METAL]) >= 1.8


def test_outlines_stand_out_from_both_sides_or_the_sides_do():
    for one, other in itertools.combinations(IN_SECTION.values(), 2):
        sides = [luminance(one.face), luminance(other.face)]
        edges = [luminance(one.edge), luminance(other.edge)]
        by_line = max(min(contrast(edge, side) for side in sides) for edge in edges)
        assert max(by_line, contrast(*sides)) >= style.LINE_CONTRAST, (one, other)


def test_rings_are_edged_and_stand_out_from_the_dark():
    for ring in style.RINGS.values():
        assert contrast(luminance(style.INK), luminance(style.PAPER)) >= style.LINE_CONTRAST
        seen = max(contrast(luminance(ring.colour), luminance(c)) for c in (style.INK, style.PAPER))
        assert seen >= style.LINE_CONTRAST


@pytest.mark.parametrize("eye", MACHADO)
def test_colours_of_the_states_stay_apart(eye):
    seen = {name: lab(np.array(MACHADO[eye]) @ of(r.colour)) for name, r in style.RINGS.items()}
    for a, b in itertools.combinations(seen, 2):
        assert np.linalg.norm(seen[a] - seen[b]) >= APART, (eye, a, b)


def test_states_are_told_without_colour():
    rings = list(style.RINGS.values())
    assert len(rings) == len(State)
    for a, b in itertools.combinations(rings, 2):
        assert contrast(luminance(a.colour), luminance(b.colour)) >= style.FILL_CONTRAST
        assert a.dashes != b.dashes
    hatches = [look.hatch for look in IN_SECTION.values()] + [style.DRILL.hatch]
    assert len({hatch or look for hatch, look in zip(hatches, "abcde", strict=True)}) == 5


def test_paper_writes_exponents_and_nothing_else_does(tmp_path):
    """One convention from one place: words are plain letters until they are put on paper."""
    figure = Figure()
    figure.text(0.1, 0.5, "4662.9 mm2 of 12 mm3, Ixx 3 mm4, 8 g/cm3; mm2x and xmm2 stay")
    figure.add_subplot().set_ylabel("area, mm2")
    write(figure, tmp_path / "a.svg")
    drawn = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert "4662.9 mm² of 12 mm³, Ixx 3 mm⁴, 8 g/cm³; mm2x and xmm2 stay" in drawn
    assert "area, mm²" in drawn
    write_pages([figure, figure], tmp_path / "a.pdf")
    assert all("12 mm³" in page.words() for page in pdf.pages(tmp_path / "a.pdf"))
    home = Path(clearance.__file__).parent
    wrote = [p.name for p in home.rglob("*.py") if re.search("m[²³⁴]", p.read_text("utf-8"))]
    assert wrote == ["files.py"]
