"""Rows of docs/validation.md on readings and causes, from tables of scenes.

In: the ways to compare of `make_validation`. Out: rows. What is expected is worked out beside each
scene, or by formulas written apart from the program.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import make
import numpy as np
import shapes as s
from scipy import stats

NOTES = {
    "Readings": "A block with a foot 1 mm high that stands out by 2 mm, a bore of 6 mm and in the "
    "foot one of 2 mm; layers of 0.1 mm. Slices 0, 1 and 2 are melted again at 12 mm, 0.1 mm deep "
    "into powder that packs at 0.5, so that every face lies 0.1 mm below its counted place.",
    "Causes": "Two or more suspects of equal weight. What the numbers mean: "
    "[method.md](method.md#causes).",
}
SHEET = make.sheet(12.0, layers=3, penetration=0.1, packing=0.5)
BORE_MM2 = 32.0 * math.sin(2.0 * math.pi / 64.0)
BY_HAND = "by hand, h + m t - s_m, s = 0.1"
SCENES: tuple[tuple[dict[str, Any], str, float, float, str], ...] = (
    ({"kind": "rim_top"}, "upper face of the rim", 12.2, 12.2, BY_HAND),
    ({"kind": "rim_bottom"}, "lower face of the rim", 11.9, 11.9, "by hand, h - p"),
    (
        {"kind": "rim_thickness"},
        "thickness of the rim",
        0.3,
        0.4,
        "by hand, its thin end to n t + p",
    ),
    ({"kind": "rim_width"}, "how far the rim stands out", 2.0, 2.0, "analytic: the drawing"),
    ({"kind": "part_height"}, "height of the part", 29.9, 29.9, "by hand, 30 - s"),
    (
        {"kind": "open_area", "passage": "a", "height": 12.1},
        "open area at the sheet",
        BORE_MM2,
        BORE_MM2,
        "analytic: a polygon of 64 sides, radius 1 mm",
    ),
)
BALLS = ((3.0, "passes"), (2.0, "stops"))
APART = (1.0, 2.0, 4.0)
LAYERS = (0.02, 0.05, 0.1)


def readings(number: Any, same: Any) -> Iterator[Any]:
    """What readings should be, how far off contradicts, and what excludes.

    Parameters
    ----------
    number, same : callable
        `make_validation`'s comparisons of numbers and of words.
    """
    from clearance.case.readings import ReadingTable
    from clearance.readings.answer import u_of
    from clearance.readings.go_no_go import ball
    from clearance.readings.likelihood import coverage
    from clearance.readings.together import against, excluded_by

    forward = _forward()
    (events,) = (v.events for v in forward.checked.unknowns.variants)
    for keys, what, low, high, known in SCENES:
        unit = "mm2" if "height" in keys else "mm"
        told = forward.predict(events, ReadingTable(**keys, value=1.0, u=0.1))
        for end, expected, found in zip(
            ("", ", at most"), (low, high), told.span(forward.unknowns), strict=True
        ):
            if not end or low != high:
                yield number(
                    what + end, known, expected, found, f"{{:.3f}} {unit}", f"0.001 {unit}"
                )
    for count in (1, 5, 20):
        known = "analytic: 2 n (1 - Phi(k)) = 0.0027, with scipy's normal distribution"
        k = float(stats.norm.isf(0.0027 / (2 * count)))
        what = f"standard uncertainties that contradict, set of {count}"
        yield number(what, known, k, coverage(count), "{:.2f}", "0.01")
    two = [ReadingTable(kind="ball", passage="a", diameter=d, result=r) for d, r in BALLS]
    what = "a ball of 3 mm that passes and one of 2 mm that stops"
    found = "exclude" if excluded_by(two, u_of, 3.0) == [1, 0] else "do not exclude"
    yield same(f"{what}: each other?", "by hand", "exclude", found)
    for clear, ratio in ((4.0, 1.0), (1.0, 1.0), (2.5, 49.0)):
        over = math.exp(against([(one, ball(one, clear, clear)) for one in two]))
        what = f"the two against an event that leaves {clear:g} mm"
        yield number(
            what, "by hand, 0.98 / 0.02 where both are wrong", ratio, over, "{:.1f}", "1 %"
        )


def causes(number: Any) -> Iterator[Any]:
    """Information, chances and misfits with a closed value.

    Parameters
    ----------
    number : callable
        `make_validation`'s comparison of numbers.
    """
    from clearance.causes import strength
    from clearance.causes.information import told_by_asking, told_by_measuring

    two, each = np.array([0.5, 0.5]), np.array([0, 1])
    for apart in APART:
        told = told_by_measuring(two, np.array([[0.0], [apart]]), 1.0, each)
        known = "an integral written apart (scipy)"
        if apart == 2.0:
            known += "; capacity of a two-level Gaussian channel at 0 dB, from memory 0.486"
        what = f"readings {apart:g} u apart: information"
        yield number(what, known, _bits(apart), told.bits, "{:.4f} bit", "0.0001 bit")
        known, wrong = "analytic: Phi(-D/2)", float(stats.norm.cdf(-0.5 * apart))
        yield number(
            f"{what[:-13]}: chance that the likelier is wrong",
            known,
            wrong,
            told.wrong,
            "{:.3f}",
            "0.001",
        )
    for yes, no in ((0.98, 0.02), (0.9, 0.1), (0.2, 0.01)):
        told = told_by_asking(two, np.array([yes, no]), each)
        what = f"said yes by {yes:g} of one and {no:g} of the other: information"
        known, bits = "analytic: H(Y) - H(Y given S)", _asked(yes, no)
        yield number(what, known, bits, told.bits, "{:.4f} bit", "0.0001 bit")
    for u, expected in zip(LAYERS, (0.92, 0.40, 0.23), strict=True):
        chance = _three_layers(u)
        what = f"1 to 6 layers of 0.05 mm, thickness reads 0.15, u {u:g}: chance of 3 layers"
        known = "by hand: 1 / sum exp(-(0.05 k / u)^2 / 2)"
        yield number(what, known, expected, chance, "{:.2f}", "0.005")
    what, known = "chi-squared 2 of 2 readings: p", "analytic: exp(-1)"
    yield number(what, known, math.exp(-1.0), strength.misfit(2.0, 2) or 0.0, "{:.4f}", "0.0001")


def _forward() -> Any:
    from clearance.case.read import read_case
    from clearance.readings.forward import Forward
    from clearance.verdict.prepared import prepare

    solid = s.block((-10, -10, 0), (10, 10, 30)) + s.block((-10, -10, 0), (12, 10, 1))
    solid -= s.bore((0, 0, 0.5), (0, 0, 31), 3.0, segments=64)
    solid -= s.bore((0, 0, -1), (0, 0, 1), 1.0, segments=64)
    passage = {**make.passage((0, 0, 0), (0, 0, 30), 3.0, 0.5), "inlet": make.port((0, 0, 0), 1.0)}
    part = {"density_g_cm3": 8.0, "measured_cooled": 0.0}
    with tempfile.TemporaryDirectory() as folder:
        path = make.write_case(Path(folder), solid, passage, SHEET, pitch=0.5, part=part)
        return Forward(prepare(read_case(path)))


def _bits(apart: float) -> float:
    """Of two Gaussians, by an integral over the reading."""
    from scipy.integrate import quad

    def term(y: float) -> float:
        one, other = stats.norm.pdf(y), stats.norm.pdf(y - apart)
        both = 0.5 * (one + other)
        return float(0.5 * (one * math.log2(one / both) + other * math.log2(other / both)))

    return float(quad(term, -12.0, 12.0 + apart, limit=200)[0])


def _asked(yes: float, no: float) -> float:
    def h(p: float) -> float:
        return -p * math.log2(p) - (1.0 - p) * math.log2(1.0 - p)

    return h(0.5 * (yes + no)) - 0.5 * (h(yes) + h(no))


def _three_layers(u: float) -> float:
    """By the program's likelihood of one reading of a thickness."""
    from clearance.case.readings import ReadingTable
    from clearance.readings.likelihood import log_likelihood
    from clearance.readings.prediction import Measured
    from clearance.readings.unknowns import Unknowns

    known, one = np.zeros(1), ReadingTable(kind="rim_thickness", value=0.15, u=u)
    part = Unknowns(known, known, known + 1.0, (0.0, 0.0), 0.0)
    at = [known + 0.05 * n for n in range(1, 7)]
    logs = [log_likelihood([(one, Measured(low, low))], part) for low in at]
    return float(np.exp(logs[2]) / np.exp(logs).sum())
