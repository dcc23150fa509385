"""Methods that measure from outside: flow, weighing, ultrasound.

In: a `Target`, and what is computed of the part. Out: answers.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry import polylines
from clearance.geometry.level_faces import same_height_mm
from clearance.inspection.answers import Said
from clearance.inspection.simple import (
    LEAST_SISTERS,
    MANY,
    flow_left,
    sisters_factor,
    sure_change,
)
from clearance.inspection.targets import Target
from clearance.predicted.part import Predicted
from clearance.result import PassageResult, Result, State
from clearance.result.inspection import Answer
from clearance.verdict.numbers import most, near, percent
from clearance.verdict.passage_check import PassageCheck

FACE = 0.9
"""Share of a gap's area that has to lie straight above or below one level face."""
MOST_COLUMNS = 20_000
"""Columns of a gap that are looked at, at most about; of more each second, third and so on."""


def flow(check: PassageCheck, passage: PassageResult) -> Said:
    """A flow test of the whole passage against a part that is known to be good."""
    keys = check.checked.case.inspection
    left, how = _left(check, passage)
    one, many = (sure_change(keys.flow_repeatability, n) for n in (1, MANY))
    numbers = {"sure_change": one, "sure_change_of_many": many}
    if left is None:
        return Said("flow", "ask", numbers, "flow passes it by: one of n ways shut costs about 1/n")
    numbers["flow_left"] = left
    answer: Answer = "yes" if 1.0 - left >= one else "ask" if 1.0 - left >= many else "no"
    rest = f"{percent(left)} of the flow is" if left > 0.0 else "nothing is"
    return Said(
        "flow",
        answer,
        numbers,
        f"{rest} left at the same pressure{how}; sure is a change of "
        f"{percent(one)} against one good part, {percent(many)} against {MANY}; at high flow, and "
        "of the whole passage",
    )


def _left(check: PassageCheck, passage: PassageResult) -> tuple[float | None, str]:
    if passage.state is State.BLOCKED:
        return 0.0, ""
    if passage.flow is not None:
        before = passage.flow["nominal"]["pressure_loss_kpa"]
        after = passage.flow["predicted"]["pressure_loss_kpa"]
        if before and after:
            return min(float(np.sqrt(before / after)), 1.0), ", from the pressure losses"
    if any(one.sealed for one in passage.crossings):
        return None, ""
    route = check.nominal.way.route
    wide = passage.clear_diameter_mm.nominal_low
    if not len(route) or wide <= 0.0:
        return None, ""
    coefficients = [one.loss_coefficient or 0.0 for one in passage.crossings]
    return flow_left(float(polylines.lengths(route)[-1]) / wide, sum(coefficients)), ", estimated"


def weighing(result: Result, passage: str, sisters: int) -> Said:
    """The part on a balance, against sister parts: metal added and powder shut in."""
    signs = result.signs
    if signs is None or signs.mass_added_g is None or signs.mass_scatter_g is None:
        return Said("weighing", "ask", {}, "no density is given")
    shut_in = sum(
        t.mass_low_g or 0.0 for t in result.trapped_powder if t.certain and passage in t.passages
    )
    scatter, mass = signs.mass_scatter_g, abs(signs.mass_added_g + shut_in)
    count = max(sisters, LEAST_SISTERS)
    needed, finest = (sisters_factor(n) * scatter for n in (count, max(count, MANY)))
    numbers = {"mass_g": mass, "scatter_g": scatter, "sure_g": needed, "sisters": float(sisters)}
    answer: Answer = "no" if mass < finest else "ask"
    if mass >= needed and sisters >= LEAST_SISTERS:
        answer = "yes"
    return Said(
        "weighing",
        answer,
        numbers,
        f"{near(mass)} g more, powder that is shut in included; against {count} sister parts "
        f"{most(needed)} g would be sure, where they scatter by {near(scatter)} g (assumed)",
    )


def ultrasound(
    target: Target, predicted: Predicted, on_platform: bool, others: Sequence[Target] = ()
) -> Said:
    """Echo of a level gap, from the level face straight below or above it.

    `others`: gaps that may lie before it, and then send all of the beam back.
    """
    if target.kind == "crossing":
        return Said("ultrasound", "no", {}, "the beam does not cross the void")
    face, share, depth = _face(target, predicted, on_platform, others)
    numbers = {"share_seen": share}
    if share <= 0.0:
        return Said("ultrasound", "no", numbers, "no level face lies straight below or above it")
    numbers |= {"height_mm": face, "depth_mm": depth}
    side = "below" if face < target.at[2] else "above"
    return Said(
        "ultrasound",
        "yes" if share >= FACE else "ask",
        numbers,
        f"from the level face {side} it, {most(depth)} mm away, which sees {percent(share)} of its "
        "area; machine that face flat, gate the echo at that depth, and map it against the "
        "nominal section: every roof or floor of a passage echoes too",
    )


def _face(
    target: Target, predicted: Predicted, on_platform: bool, others: Sequence[Target]
) -> tuple[float, float, float]:
    """The level face of the part that sees most of a gap: its z, what share, how far away."""
    ends = _ends(target, predicted, others)
    best = (0.0, 0.0, 0.0)
    for side in (0, 1):
        if (side == 0 and on_platform) or not len(ends):
            continue
        seen = ends[np.isfinite(ends[:, side]), side]
        if not len(seen):
            continue
        heights, counts = np.unique(np.round(seen, 4), return_counts=True)
        z = float(heights[int(np.argmax(counts))])
        if not _level(predicted, z):
            continue
        share = float(counts.max()) / len(ends)
        if share > best[1]:
            best = (z, share, abs(z - float(target.at[2])))
    return best


def _level(predicted: Predicted, z: float) -> bool:
    """Whether the part has a level face at a height of the predicted part."""
    for above in (False, True):
        slab = predicted.slab_at(z, above)
        nominal = z - (slab.lift or 0.0)
        levels = predicted.window.bodies.levels("part", nominal)
        if len(levels) and np.abs(levels - nominal).min() <= 10.0 * same_height_mm(nominal):
            return True
    return False


def _ends(target: Target, predicted: Predicted, others: Sequence[Target]) -> NDArray[np.float64]:
    """Lower and upper end of the metal that holds the gap, on columns within it, (N, 2) mm.

    Infinite where another gap lies between.
    """
    grid, z = predicted.grid, float(target.at[2])
    x0, y0, x1, y1 = target.figure.bounds
    (i0, j0), (i1, j1) = grid.nearest(x0, y0), grid.nearest(x1, y1)
    step = max(1, int(np.sqrt((i1 - i0 + 1) * (j1 - j0 + 1) / MOST_COLUMNS)))
    i, j = (a.ravel() for a in np.mgrid[i0 : i1 + 1 : step, j0 : j1 + 1 : step])
    inside = shapely.contains_xy(target.figure, grid.x_mm(i), grid.y_mm(j))
    i, j = i[inside], j[inside]
    hidden = [
        (other.at[2], shapely.contains_xy(other.figure, grid.x_mm(i), grid.y_mm(j)))
        for other in others
    ]
    found = []
    for n, column in enumerate(i * grid.ny + j):
        runs = predicted.metal.of(int(column))
        holding = runs[(runs[:, 0] <= z) & (runs[:, 1] >= z)]
        for low, high in holding[:1]:
            between = [float(at) for at, over in hidden if over[n] and low < at < high]
            below, above = any(at < z for at in between), any(at > z for at in between)
            found.append((-np.inf if below else low, np.inf if above else high))
    return np.array(found).reshape(-1, 2)
