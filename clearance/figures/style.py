"""What the figures look like: colours, hatches, lines, letters, in one place.

Colour means the same in every figure and is never the only cue: fills and hatches tell apart
what lies where, on a black-and-white copy too; the ring around a passage tells its state by
colour and by its dashes, and words say it. The colours of the rings stay apart under the common
colour-vision deficiencies, by luminance as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from clearance.errors import ClearanceError

SUFFIXES = (".png", ".pdf", ".svg")
"""Kinds of figure file."""

A4_LANDSCAPE_IN = (11.69, 8.27)
"""Width and height of the sheet, inches."""
DPI = 200
"""Dots per inch of PNG files: a layer of 0.05 mm at 2 : 1 is still a dot wide."""

SMALLEST_PT, TEXT_PT, TITLE_PT = 9.0, 9.5, 13.0

Line = str | tuple[int, tuple[float, ...]]
"""Style of a line: a name, or lengths of dashes and gaps in widths of the line."""


@dataclass(frozen=True)
class Look:
    """How an area is drawn: face, outline and hatch."""

    face: str
    edge: str
    hatch: str = ""
    line: Line = "-"
    width_pt: float = 0.8
    hatch_colour: str = ""

    def patch(self) -> dict[str, Any]:
        """Keyword arguments of a Matplotlib patch."""
        return {
            "facecolor": self.face,
            "edgecolor": self.edge,
            "hatch": self.hatch or None,
            "linestyle": self.line,
            "linewidth": self.width_pt,
            "hatchcolor": self.hatch_colour or self.edge,
        }


INK = "#1a1a1a"
PAPER = "#ffffff"
GREY, PALE, PALER = "#5a5a5a", "#9a9a9a", "#eeeeee"
BACKED: Any = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0}
"""Box behind words that stand over hatches: a rim would turn the letters into outlines."""

METAL = Look("#c6c6c6", "#4a4a4a", "//", width_pt=0.6, hatch_colour="#868686")
"""Of the part: toned, with thin lines at 45 degrees (ISO 128-50)."""
STRAY = Look("#222222", "#000000", width_pt=0.9)
"""Thin sections are blackened (ISO 128-50)."""
UNMELTED = Look("#b08d57", "#2e2415", "...", line=":", width_pt=0.5, hatch_colour="#2e2415")
"""Powder where metal belongs, in every figure."""
VOID = Look(PAPER, INK, width_pt=0.7)
"""What is open, whatever the state of its passage: that is told by the ring around it."""

FINISHED = Look("none", "#7a0060", line=(0, (8.0, 1.5, 1.0, 1.5, 1.0, 1.5)), width_pt=1.3)
"""The finished part within its blank: long dashes, two dots (ISO 128-2, 05.1, from memory)."""
FINISHED_HALO = Look("none", PAPER, width_pt=2.6)
"""Under it, so that it is seen on dark metal."""
MEASURED = Look("none", "#00563f", line=(0, (3.0, 1.2)), width_pt=1.2)
"""The part as a scan has it, laid on what is predicted: short dashes."""
MEASURED_HALO = Look("none", PAPER, width_pt=2.2)
JOINED = Look(PAPER, "#c44e00", "+++", width_pt=1.2)
"""Where circuits run into each other."""

BENEATH = Look("none", INK, line=(0, (4.0, 2.0)), width_pt=1.0)
"""What lies hidden below: dashed (ISO 128-24, line 02.1)."""

DRILL = Look("#e6edf3", INK, "\\\\", width_pt=1.0, hatch_colour="#66727c")
"""Another body than the part: the other direction, wider apart."""
HOLDER = Look("none", INK, line=(0, (9.0, 2.0, 1.5, 2.0, 1.5, 2.0)), width_pt=0.9)
"""An adjacent part: outline alone, long-dashed and double-dotted (ISO 128-24, line 05.1)."""


@dataclass(frozen=True)
class Ring:
    """Line around a passage in a section, in the colour of its state, dashed by it."""

    colour: str
    dashes: Line = "-"


RINGS = {
    "open": Ring("#005a9c"),
    "restricted": Ring("#e69f00", (0, (1.6, 0.5))),
    "blocked": Ring("#c44e00", (0, (0.7, 0.4))),
    "undetermined": Ring(PAPER, (0, (0.3, 0.5))),
}
"""By the state of the passage; between two thin dark lines, outside the passage's outline."""
RING_PT, LEAST_RING_PT, RING_EDGE_PT = 2.0, 0.8, 0.5
"""Width of the coloured line at most and at least, and of the dark ones beside it."""

STATES = {
    "open": Look(PAPER, RINGS["open"].colour, width_pt=1.6),
    "restricted": Look("#f3c876", "#8a5f00", "---", line="--", width_pt=1.6),
    "blocked": Look(STRAY.face, RINGS["blocked"].colour, width_pt=1.6),
    "undetermined": Look("#a3a3a3", INK, "xxx", line=":", width_pt=1.4, hatch_colour="#6a6a6a"),
}
"""Of a passage's whole course, by its state: open is pale, blocked dark."""
BETWEEN = Look(PAPER, GREY, line=(0, (1.0, 1.5)), width_pt=0.8)
"""Between two heights of a sweep."""
FILL_CONTRAST, LINE_CONTRAST = 1.35, 3.0
"""Least ratio of luminances of areas that touch, our choice; of a line beside an area, as WCAG 2.2
(W3C 2023, 1.4.11) has it for what is not text."""

MARKS = {
    "no verdict": ("!", Look(PAPER, INK, "++", "--", 1.4)),
    "error": ("E", Look(PAPER, INK, "++", "--", 1.0)),
    "scrap": ("X", Look("#D55E00", "#4a2000", "xxx", width_pt=1.6)),
    "undetermined": ("?", Look(PAPER, INK, "||", ":", 1.2)),
    "repair": ("P", Look("#E69F00", "#7a5400", "\\\\\\", width_pt=1.0)),
    "rework": ("R", Look("#F0E442", "#7a7400", "///", width_pt=1.0)),
    "use-as-is": ("U", Look("#cfe6f5", "#1f5d80", "--", width_pt=1.0)),
    "not-affected": ("N", Look(PAPER, "#00456b", width_pt=1.0)),
    "coupon": ("C", Look("#d9d9d9", INK, width_pt=0.8)),
}
"""Letter and look of each recommendation: what needs no decision is pale."""

AXIS = (0, (12.0, 2.5, 1.5, 2.5))
"""Axes, and lines of sections: long-dashed and dotted (ISO 128-24, line 04.1)."""
LEADER_PT, HATCH_PT, BAR_PT = 0.6, 0.6, 2.5
HAIR_PT, THIN_PT, LINE_PT, BOLD_PT, THICK_PT = 0.5, 0.8, 1.2, 1.8, 2.0
"""Widths of lines: axes of symmetry, outlines, curves, the curve that counts, ends of cuts."""
HALO_PT = 2.2
"""Width of the paper-coloured rim around words that stand over lines."""
WARN = "#D55E00"
"""Of what is required, and of the opening that a mark is about."""

SETTINGS: Any = {
    "font.family": "DejaVu Sans",
    "font.size": SMALLEST_PT,
    "axes.labelsize": SMALLEST_PT,
    "axes.linewidth": 0.6,
    "xtick.labelsize": SMALLEST_PT,
    "ytick.labelsize": SMALLEST_PT,
    "legend.fontsize": SMALLEST_PT,
    "hatch.linewidth": HATCH_PT,
    "text.parse_math": False,  # a dollar in a part's name is a dollar
    "pdf.fonttype": 42,  # text stays text
    "svg.fonttype": "none",
    "svg.hashsalt": "clearance",  # same input, same bytes
    "savefig.dpi": DPI,
    "path.simplify": False,  # a stray sheet can be thinner than a dot
}
"""Matplotlib settings under which every figure is made and saved."""


def figure_kind(path: Path, kinds: tuple[str, ...] = SUFFIXES) -> str:
    """Kind of figure that a file name asks for, one of those that may be written.

    Raises
    ------
    ClearanceError
        None that can be written.
    """
    found = path.suffix.lower()
    if found not in kinds:
        raise ClearanceError(
            f"{path}: found a name that ends in {found or 'nothing'}, expected one of "
            f"{', '.join(kinds)}"
        )
    return found
