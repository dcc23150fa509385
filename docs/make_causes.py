"""Draw the figures of docs/causes.md: ``python docs/make_causes.py [FOLDER]``.

One is what `clearance causes --plot` draws; the other how often a suspect is the true event that is
given a chance by its likelihood, over many invented events of one table of predictions.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import NamedTuple

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from clearance.case.powder_bed import recess, sheet_recess
from clearance.case.readings import ReadingTable
from clearance.causes.strength import posterior, ratios
from clearance.figures import style
from clearance.figures.files import write
from clearance.readings.likelihood import coverage, log_likelihood, off
from clearance.readings.prediction import Measured
from clearance.readings.unknowns import Unknowns

Floats = NDArray[np.float64]

DOCS = Path(__file__).parent
CASE = DOCS.parent / "cases/sensor-block/case.toml"
EVENTS, LAYER, HEIGHT = 1000, 0.05, 16.0
COUNTS = (1, 2, 3, 4, 5)
PACKING, DEPTH, KELVIN, PER_MM_KELVIN = (0.45, 0.6), (0.05, 0.1), (0.0, 150.0), 21e-6
READINGS = (
    ReadingTable(kind="rim_top", value=0.0, u=0.02, group="gauge", u_group=0.02),
    ReadingTable(kind="part_height", value=0.0, u=0.02, group="gauge", u_group=0.02),
    ReadingTable(kind="rim_thickness", value=0.0, u=0.04),
)
BINS = np.linspace(0.0, 1.0, 11)


class Simulated(NamedTuple):
    """What many invented events gave.

    Attributes
    ----------
    excluded : int
        True events that some reading excluded.
    chances : (N, S) ndarray
        Posterior of each suspect, all of equal weight before.
    true : (N,) ndarray of int
    """

    excluded: int
    chances: Floats
    true: NDArray[np.int64]


def simulated(events: int = EVENTS, seed: int = 20) -> Simulated:
    """Draw events, what is unknown of the part, and readings; weigh every suspect."""
    rng = np.random.default_rng(seed)
    unknowns = _unknowns()
    table = [_row(count, unknowns.packing, DEPTH[0] + np.ptp(DEPTH) * unknowns.depth)
             for count in COUNTS]  # fmt: skip
    k, excluded = coverage(len(READINGS)), 0
    chances, true = np.empty((events, len(COUNTS))), rng.integers(0, len(COUNTS), events)
    for n in range(events):
        read = _drawn(COUNTS[true[n]], rng)
        spans = [told.span(unknowns) for told in table[true[n]]]
        away = [off(one, *span) for one, span in zip(read, spans, strict=True)]
        excluded += max(away) > k
        logs = [log_likelihood(list(zip(read, row, strict=True)), unknowns) for row in table]
        chances[n] = posterior(np.full(len(COUNTS), 1.0 / len(COUNTS)), ratios(np.array(logs)))
    return Simulated(excluded, chances, true)


def _unknowns() -> Unknowns:
    """Four nodes of packing by four of melt depth, which is enough for these readings."""
    at, weight = np.polynomial.legendre.leggauss(4)
    at, weight = 0.5 + 0.5 * at, 0.5 * weight
    packing = np.repeat(PACKING[0] + np.ptp(PACKING) * at, 4)
    return Unknowns(
        packing, np.tile(at, 4), np.outer(weight, weight).ravel(), KELVIN, PER_MM_KELVIN
    )


def _row(count: int, packing: Floats, depth: Floats) -> list[Measured]:
    """What the readings should be of a sheet of so many layers, at some packings and depths."""
    thinner = sheet_recess(LAYER, packing, depth, count)
    top = HEIGHT + count * LAYER - thinner
    whole = 30.0 - recess(LAYER, packing)
    thickness = count * LAYER + depth - thinner
    return [
        Measured(top, top, PER_MM_KELVIN * HEIGHT),
        Measured(whole, whole, PER_MM_KELVIN * 30.0),
        Measured(thickness, thickness),
    ]


def _drawn(count: int, rng: np.random.Generator) -> list[ReadingTable]:
    """Readings of one event, errors and all that is unknown drawn at random."""
    packing, depth = (np.array([rng.uniform(*ends)]) for ends in (PACKING, DEPTH))
    kelvin, shared = rng.uniform(*KELVIN), rng.normal(0.0, 0.02)
    found = []
    for one, told in zip(READINGS, _row(count, packing, depth), strict=True):
        value = float(told.low[0]) - told.per_kelvin * kelvin + rng.normal(0.0, one.u or 0.0)
        value += shared if one.group else 0.0
        found.append(one.model_copy(update={"value": value}))
    return found


def reliability(found: Simulated) -> list[tuple[float, int, int]]:
    """Mean chance, how many were given one, and how many of them were true, for each bin."""
    hit = found.true[:, None] == np.arange(found.chances.shape[1])
    number = np.clip(np.digitize(found.chances, BINS) - 1, 0, len(BINS) - 2)
    rows = []
    for n in range(len(BINS) - 1):
        here = number == n
        if here.any():
            rows.append((float(found.chances[here].mean()), int(here.sum()), int(hit[here].sum())))
    return rows


def calibration() -> Figure:
    """How often the true event is what its likelihood says, with two standard deviations."""
    found = simulated()
    figure = Figure(figsize=(6.2, 4.4))
    axes = figure.add_axes((0.12, 0.14, 0.84, 0.74))
    axes.plot([0, 1], [0, 1], color=style.GREY, linewidth=style.THIN_PT, linestyle="--")
    for chance, count, true in reliability(found):
        spread = 2.0 * float(np.sqrt(chance * (1.0 - chance) / count))
        axes.plot([chance] * 2, [true / count - spread, true / count + spread], color=style.INK,
                  linewidth=style.LINE_PT)  # fmt: skip
        axes.plot(chance, true / count, "o", color=style.INK, markersize=4.5)
        axes.annotate(
            f"{count}", (chance, true / count), (7, -10), textcoords="offset points",
            fontsize=style.SMALLEST_PT,
        )  # fmt: skip
    axes.set_xlabel("chance that the likelihood gives a suspect, all of equal weight before")
    axes.set_ylabel("share of them that was the true event")
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_title(
        f"{EVENTS} invented events: the true one excluded {found.excluded} times,\n"
        f"0.27 % would be {0.0027 * EVENTS:.1f}; beside each point the suspects in it",
        fontsize=style.SMALLEST_PT, loc="left",
    )  # fmt: skip
    return figure


def readings_against_classes() -> Figure:
    """The page that `clearance causes --plot` draws of the worked case."""
    from clearance import explain, read_case
    from clearance.figures.causes import causes_figure

    return causes_figure(explain(read_case(CASE)))


def main(folder: Path) -> None:
    """Draw both into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    with mpl.rc_context(style.SETTINGS):
        write(calibration(), folder / "causes-calibration.svg")
        write(readings_against_classes(), folder / "causes-sensor-block.svg")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else DOCS / "figures")
