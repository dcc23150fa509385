"""Random small parts with one passage, and a random event for each; a seed gives the same again."""

from __future__ import annotations

from itertools import pairwise
from typing import Any, NamedTuple

import booleans
import manifold3d as m3
import numpy as np
import shapes
from numpy.typing import NDArray

SEGMENTS = 24


class Trial(NamedTuple):
    """A part, its ports, and what happened to it."""

    nominal: m3.Manifold
    inlet: booleans.Disc
    outlet: booleans.Disc
    layer: float
    platform: float
    also: m3.Manifold | None
    event: dict[str, Any]
    alone: bool  # no further void beside the passage


def _bores(rng: np.random.Generator, low: NDArray, high: NDArray, radius: float):
    """Bent bore between two places on different faces; returns tools and both ports."""
    faces = [(2, 0), (2, 1), (0, 0), (0, 1), (1, 0), (1, 1)]
    if rng.random() < 0.4:
        chosen = [(2, 0), (2, 1)]
    else:
        chosen = [faces[k] for k in rng.choice(6, 2, replace=False)]
    discs = []
    for axis, side in chosen:
        at = rng.uniform(low + 2.4 * radius, high - 2.4 * radius)
        at[axis] = (low, high)[side][axis]
        outward = np.zeros(3)
        outward[axis] = 1.0 if side else -1.0
        discs.append(booleans.Disc(at, radius, outward))
    leads = [disc.centre - disc.outward * rng.uniform(1.3, 2.5) * radius for disc in discs]
    middle = [rng.uniform(low + 2 * radius, high - 2 * radius)] if rng.random() < 0.6 else []
    line = [
        discs[0].centre + discs[0].outward,
        leads[0],
        *middle,
        leads[1],
        discs[1].centre + discs[1].outward,
    ]
    tools = [
        shapes.bore(a, b, radius, segments=SEGMENTS)
        for a, b in pairwise(line)
        if np.linalg.norm(b - a) > 0.3
    ]
    tools += [m3.Manifold.sphere(1.02 * radius, SEGMENTS).translate(tuple(p)) for p in line[1:-1]]
    return tools, discs


def make_trial(seed: int) -> Trial:
    """Make a part and an event; every third has a second void that may meet the passage."""
    rng = np.random.default_rng(seed)
    size = rng.uniform(12, 18, 3)
    base = float(rng.choice([0.0, rng.uniform(-3, 3)]))
    corner = np.array([*rng.uniform(-10, -4, 2), base])
    low, high = corner, corner + size
    radius = rng.uniform(0.9, 1.6)
    tools, discs = _bores(rng, low, high, radius)
    alone = rng.random() < 0.65
    if not alone:
        a, b = rng.uniform(low + 2, high - 2, (2, 3))
        tools.append(shapes.bore(a, b, rng.uniform(0.5, 1.3), segments=16))
    nominal = shapes.block(low, high) - m3.Manifold.batch_boolean(tools, m3.OpType.Add)
    layer = float(rng.choice([0.1, 0.2, 0.3]))
    platform, also = base, None
    if rng.random() < 0.4:
        platform = base - float(rng.uniform(0, 2))
        also = shapes.block(
            (low[0] - 1, low[1] - 1, platform),
            (high[0] + 1, rng.uniform(low[1], high[1]), base + 0.01),
        )
    event = _event(rng, float(low[2]), float(high[2]), layer, platform)
    return Trial(nominal, *discs, layer, platform, also, event, alone)


def _event(
    rng: np.random.Generator, low: float, high: float, layer: float, platform: float
) -> dict[str, Any]:
    height = float(np.round(rng.uniform(low + 2, high - 2) - platform, int(rng.choice([1, 2, 4]))))
    event: dict[str, Any] = {
        "height": height,
        "layers": int(rng.integers(1, 4)),
        "penetration": float(rng.choice([0.0, rng.uniform(0, 0.4)])),
        "shape": str(rng.choice(["layer", "layer", "layer", "plane"])),
    }
    last = int((high - platform) / layer - 0.5)
    if event["shape"] == "layer":
        now = int(height / layer)
        first = [0, rng.integers(0, last - 5), max(0, now - rng.integers(1, 15))]
        event["from_layer"] = int(rng.choice(first))
    if rng.random() < 0.35:
        event["resume_shift"] = [float(d) for d in rng.normal(0, 0.5, 2)]
    how = rng.random()
    if how < 0.5:
        event["resume"] = "height"
    elif how < 0.75:
        event["resume"] = "layer"
    else:
        event["next_layer"] = int(np.clip(int(height / layer) + rng.integers(-8, 9), 1, last - 3))
    return event


class Several(NamedTuple):
    """A part to which more happened: events in rising order, and measured stray metal or None."""

    trial: Trial
    events: list[dict[str, Any]]
    plate: m3.Manifold | None


def make_several(seed: int) -> Several:
    """Make a part with two events, a leaning plate, both, or one sheet of many layers."""
    trial = make_trial(seed)
    rng = np.random.default_rng(seed + 10**6)
    box = np.array(trial.nominal.bounding_box()).reshape(2, 3)
    low, high = float(box[0, 2]), float(box[1, 2])
    kind = int(rng.integers(0, 4))
    events, plate = [], None
    if kind in (0, 1):
        heights = np.sort(rng.uniform(low + 2, high - 2, 2)) - trial.platform + np.array((0.0, 1.5))
        for height in heights:
            event = _event(rng, low, high, trial.layer, trial.platform)
            event["height"] = round(float(height), 3)
            if "next_layer" in event:
                now = int(event["height"] / trial.layer)
                event["next_layer"] = max(1, now + int(rng.integers(-4, 5)))
            events.append(event)
    if kind in (1, 2):
        plate = _plate(rng, box)
        events.append({"shape": "mesh", "mesh": "plate.stl"})
    if kind == 3:
        event = {**_event(rng, low, high, trial.layer, trial.platform), "shape": "layer"}
        event["layers"] = int(rng.integers(3, 30))
        event["from_layer"] = int(rng.integers(0, 20))
        if "next_layer" in event:
            del event["next_layer"]
            event["resume"] = "height"
        events.append(event)
    return Several(trial, events, plate)


def _plate(rng: np.random.Generator, box: NDArray[np.float64]) -> m3.Manifold:
    """Round plate anywhere, at any lean; every second with a hole. As a file would hold it."""
    normal = rng.normal(size=3)
    normal /= np.linalg.norm(normal)
    at = rng.uniform(box[0], box[1])
    half = 0.5 * float(rng.choice([0.1, 0.5, 2.0])) * normal
    plate = shapes.bore(at - half, at + half, rng.uniform(2, 12), segments=20)
    if rng.random() < 0.5:
        plate -= shapes.bore(at - 2 * normal, at + 2 * normal, rng.uniform(0.1, 1), segments=12)
    return shapes.manifold(shapes.soup(plate))


def cuts_a_port(trial: Trial) -> bool:
    """Whether the sheet comes near a mouth."""
    bottom = trial.platform + trial.event["height"] - trial.event["penetration"] - 0.3
    top = trial.platform + trial.event["height"] + trial.event["layers"] * trial.layer + 0.3
    for disc in (trial.inlet, trial.outlet):
        reach = 0.0 if disc.outward[2] else 1.2 * disc.radius
        if disc.centre[2] + reach > bottom and disc.centre[2] - reach < top:
            return True
    return False
