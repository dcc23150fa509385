"""Volumes made by script, drawn at random: their truth lies in the bracket, none is wrongly open.

Truth by closed form: the largest ball through round bores, straight or with a turn, is as wide as
the narrower; through a thin level sheet in an upright bore as wide as the largest circle of what is
left: none, a round hole, or a segment of height h, whose largest circle has the diameter h. Bores,
turn, place, blur, noise, beam hardening and sheets thinner than a voxel are drawn.
``python tests/validation/test_made_volumes.py`` judges all of them and prints what came out.
"""

import collections
import itertools
import sys
import tempfile
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import make
import manifold3d as m3
import numpy as np
import pytest
import scans
import shapes
import shared
import volumes

from clearance.api import examine
from clearance.case.read import read_case
from clearance.scanned.laid import laid

LOW, HIGH = (0.0, 0.0, 0.0), (8.0, 7.0, 7.0)
NOTCH = ((6, 5, 5), (9, 8, 8))
VOXEL, SHEET, RADIUS, NEED = 0.25, 4.3, 1.35, 1.7
COUNT = 100
FINER = 2
"""Times as fine the part is drawn as its voxels are: a sheet is thinner than they are."""
AXES = {
    "upright": ([3, 3, 0], [3, 3, 7]),
    "slanting": ([2.4, 3, 0], [4.6, 3.4, 7]),
    "turning": ([0, 3, 2.4], [3.5, 3, 2.4], [3.5, 3, 7]),
}
"""Axes of bores, from the inlet to the outlet."""


@dataclass(frozen=True)
class Drawn:
    """A made volume: what was drawn of it, and the largest ball that passes."""

    kind: str
    event: bool
    radii: tuple[float, ...]
    sheet_mm: float
    left: str
    open_to: float
    truth: float
    seed: int


def drawn(seed: int) -> Drawn:
    """One of them. Without an event there is no sheet; with one it may have left none.

    The thinnest has what the event can leave at least, of one layer of 0.1 mm: 0.09 mm.
    """
    rng = np.random.default_rng(seed)
    kind = list(AXES)[seed % 3]
    event = bool(rng.random() < 0.75)
    radii = tuple(RADIUS + rng.uniform(-0.2, 0.2, len(AXES[kind]) - 1))
    sheet = float(rng.choice([0.0, 0.0, 0.09, 0.1, 0.12, 0.15, 0.3])) if event else 0.0
    ways = ["none"] if kind == "slanting" else ["none", "none", "hole", "segment"]
    left, share = str(rng.choice(ways)), rng.uniform(0.3, 1.6)
    upper, truth, open_to = radii[-1], 2.0 * min(radii), 0.0
    if sheet:
        open_to = {"none": 0.0, "hole": 0.5, "segment": 1.0}[left] * share * upper
        truth = min(truth, 2.0 * open_to if left == "hole" else open_to)
    return Drawn(kind, event, radii, sheet, left, open_to, truth, seed)


def values(one: Drawn, voxel: float = VOXEL) -> np.ndarray:
    """Grey values, 0 in void and 1 in metal."""
    rng = np.random.default_rng(1000 + one.seed)
    corners = [np.array(p, float) for p in AXES[one.kind]]
    low = SHEET - rng.uniform(0.0, 0.05)  # powder packs

    def bores(at):
        found = np.full(at.shape[:-1], np.inf)
        for n, (a, b, radius) in enumerate(zip(corners[:-1], corners[1:], one.radii, strict=True)):
            rod = scans.rod(at, a, b - a, radius)
            along = (at - (b if n == 0 else a)) @ (b - a) / np.linalg.norm(b - a)
            if len(corners) > 2:
                rod = np.maximum(rod, along if n == 0 else -along)
            found = np.minimum(found, rod)
        if len(corners) > 2:
            found = np.minimum(found, np.linalg.norm(at - corners[1], axis=-1) - max(one.radii))
        return found

    def as_built(at):
        metal = np.maximum(scans.block(at, LOW, HIGH), -scans.block(at, *NOTCH))
        metal = np.maximum(metal, -bores(at))
        if not one.sheet_mm:
            return metal
        a, b = corners[-2], corners[-1]
        middle = a + (b - a) * (SHEET - a[2]) / (b - a)[2]
        sheet = np.maximum(low - at[..., 2], at[..., 2] - low - one.sheet_mm)
        sheet = np.maximum(sheet, np.linalg.norm((at - middle)[..., :2], axis=-1) - 2.2)
        if one.left == "hole":
            sheet = np.maximum(sheet, -scans.rod(at, middle, (0, 0, 1), one.open_to))
        if one.left == "segment":
            sheet = np.maximum(sheet, middle[0] - one.radii[-1] + one.open_to - at[..., 0])
        return np.minimum(metal, sheet)

    found, _ = scans.grey(
        as_built,
        LOW,
        HIGH,
        rotation=scans.turned(rng.normal(size=3), rng.uniform(0.0, 3.0)),
        shift=rng.uniform(-0.4, 0.4, 3),
        voxel=voxel / FINER,
        blur=rng.uniform(0.6, 0.9) * FINER,
        noise=0.0,
    )
    found = volumes.binned(found, FINER)
    found = volumes.hardened(found, voxel, share=rng.uniform(0.0, 0.15))
    return found + rng.uniform(0.01, 0.06) * rng.normal(size=found.shape)


@cache
def examined(kind: str, event: bool):
    """The part as drawn, checked once, with and without an event that may leave a sheet."""
    corners = AXES[kind]
    part = shapes.block(LOW, HIGH) - shapes.block(*NOTCH)
    for a, b in itertools.pairwise(corners):
        way = np.subtract(b, a) / np.linalg.norm(np.subtract(b, a))
        start = np.array(a) - way if a is corners[0] else a
        part -= shapes.bore(start, np.array(b) + way if b is corners[-1] else b, RADIUS)
        if b is not corners[-1]:
            part -= m3.Manifold.sphere(RADIUS, 64).translate(b)
    passage = make.passage(corners[0], corners[-1], RADIUS, NEED)
    if kind == "turning":
        passage["inlet"]["normal"] = [-1, 0, 0]
    stray = [make.plane(SHEET, 1, penetration=0.1)] if event else []
    with tempfile.TemporaryDirectory() as folder:
        case = read_case(make.write_case(Path(folder), part, passage, stray))
        return examine(case, verify=False)


def judged(one: Drawn, folder: Path):
    """What is measured of it, and the scan."""
    found = examined(one.kind, one.event)
    path = volumes.write_bare(folder / "v.raw", grey := values(one), "uint16", grow=200.0)
    case = read_case(
        make.write_case(
            folder,
            shapes.block(LOW, HIGH),
            make.passage([3, 3, 0], [3, 3, 7], RADIUS, NEED),
            scan={
                "volume": path.name,
                "shape": list(grey.shape),
                "type": "uint16",
                "byte_order": "little",
                "voxel": [VOXEL] * 3,
                "placed": True,
            },
        )
    )
    checked = replace(found.checked, case=replace(found.checked.case, scan=case.scan))
    return laid(checked, found.checks, found.result.passages, lambda _: None).passages[0]


def _most(found) -> float:
    """High end; without bound where the scan does not tell of the passage."""
    return np.inf if found.high_mm is None else found.high_mm


@pytest.mark.parametrize("seed", [70, *shared.more(*(n for n in range(COUNT) if n != 70))])
def test_the_truth_lies_in_the_bracket_and_nothing_is_open_wrongly(tmp_path, seed):
    """100 volumes: low <= truth <= high; open only if the required ball passes."""
    one = drawn(seed)
    found = judged(one, tmp_path)
    assert found.low_mm <= one.truth <= _most(found), one
    assert found.state != "open" or one.truth >= NEED, one


def main() -> None:
    """All of them, in words."""
    counts = collections.Counter()
    for seed in range(COUNT):
        one = drawn(seed)
        try:
            with tempfile.TemporaryDirectory() as folder:
                found = judged(one, Path(folder))
        except Exception as fault:
            print(one, repr(fault), flush=True)
            counts["fault"] += 1
            continue
        inside = found.low_mm <= one.truth <= _most(found)
        wrong = found.state == "open" and one.truth < NEED
        true = "blocked" if one.truth == 0.0 else "open" if one.truth >= NEED else "restricted"
        counts["inside"] += inside
        counts["wrongly open"] += wrong
        counts[f"truly {true}, measured {found.state.value}"] += 1
        print(
            f"{seed:3} {one.kind:9} sheet {one.sheet_mm:.2f} {one.left:7} truth {one.truth:.3f} "
            f"measured {found.low_mm:.3f} to {_most(found):.3f} {found.state.value}"
            f"{'' if inside else '  OUTSIDE'}{'  WRONGLY OPEN' if wrong else ''}",
            flush=True,
        )
    for what, count in sorted(counts.items()):
        print(f"{count:4} {what}")


if __name__ == "__main__":
    main()
