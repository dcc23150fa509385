"""What the figures look like: colours, hatches, lines, letters, in one place.

Colour means the same in every figure and is never the only cue: every state has
its hatch or outline too. Colours of states are from a palette that stays apart
under the common colour-vision deficiencies (Okabe and Ito, 2008).
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

SMALLEST_PT, TEXT_PT, TITLE_PT = 7.0, 8.5, 13.0


@dataclass(frozen=True)
class Look:
    """How an area is drawn: face, outline and hatch."""

    face: str
    edge: str
    hatch: str = ""
    line: str = "-"
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
BACKED: Any = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0}
"""Box behind words that stand over hatches: a rim would turn the letters into outlines."""

METAL = Look("#dcdcdc", "#5a5a5a", "//", width_pt=0.6, hatch_colour="#bdbdbd")
STRAY = Look("#222222", "#000000", width_pt=0.9)
UNMELTED = Look("#f3e6cf", "#444444", "...", line=":", width_pt=0.8)

JOINED = Look(PAPER, "#D55E00", "+++", width_pt=1.2)
"""Where circuits run into each other."""

DRILL = Look(PAPER, INK, "\\\\", width_pt=1.0, hatch_colour="#9a9a9a")
HOLDER = Look(PAPER, INK, line="--", width_pt=0.9)

STATES = {
    "open": Look("#0072B2", "#00456b", width_pt=1.0),
    "restricted": Look("#E69F00", "#7a5400", "\\\\\\", width_pt=1.0),
    "blocked": Look("#D55E00", "#7a3600", "xxx", width_pt=1.0),
    "undetermined": Look(PAPER, INK, line=":", width_pt=1.4),
}
"""Of the void of a passage, by the passage's state."""

MARKS = {
    "no verdict": ("!", Look(PAPER, INK, "++", "--", 1.4)),
    "error": ("E", Look(PAPER, INK, "++", "--", 1.0)),
    "scrap": ("X", STATES["blocked"]),
    "undetermined": ("?", Look(PAPER, INK, "...", ":", 1.2)),
    "repair": ("P", STATES["restricted"]),
    "rework": ("R", Look("#F0E442", "#7a7400", "///", width_pt=1.0)),
    "use-as-is": ("U", Look("#56B4E9", "#1f5d80", "--", width_pt=1.0)),
    "not-affected": ("N", STATES["open"]),
}
"""Letter and look of each recommendation."""

LEADER_PT, HATCH_PT, BAR_PT = 0.6, 0.6, 2.5
HAIR_PT, THIN_PT, LINE_PT, BOLD_PT, THICK_PT = 0.5, 0.8, 1.2, 1.8, 2.0
"""Widths of lines: axes of symmetry, outlines, curves, the curve that counts, ends of cuts."""
HALO_PT = 2.2
"""Width of the paper-coloured rim around words that stand over lines."""
GREY, PALE, PALER = "#5a5a5a", "#9a9a9a", "#eeeeee"
WARN = "#D55E00"
"""Of what is required, and of the opening that a mark is about."""

SETTINGS: Any = {
    "font.family": "DejaVu Sans",
    "font.size": TEXT_PT,
    "axes.labelsize": TEXT_PT,
    "axes.linewidth": 0.6,
    "xtick.labelsize": SMALLEST_PT,
    "ytick.labelsize": SMALLEST_PT,
    "legend.fontsize": SMALLEST_PT + 0.5,
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
