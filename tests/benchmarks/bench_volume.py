"""A volume of 1000^3 voxels of 16 bit laid on its part: memory and processor time.

``python tests/benchmarks/bench_volume.py [EDGE] [--write]``: a block with a bore and a thin sheet,
made slab by slab, as bare numbers (2 GB at 1000) in a temporary folder. The floor is the same
volume read once, slab by slab, and summed. The limit is 6 GiB (issue 22).
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import make
import make_performance
import shapes

from clearance.api import examine
from clearance.case.read import read_case

SIZE, SHEET, THICK = 96.0, 50.0, 0.08
LIMIT_GIB = 6.0
HEAD = [
    "| volume | s of processor | reading it alone, s | peak GiB | |",
    "| --- | ---: | ---: | ---: | --- |",
]


def write(path: Path, edge: int) -> float:
    """Grey values of the part, blurred across its faces as a Gaussian does; its voxel in mm."""
    voxel = 100.0 / edge
    axis = voxel * (np.arange(edge, dtype=np.float32) + 0.5) - 2.0
    x, y = np.meshgrid(axis, axis, indexing="ij")
    rng = np.random.default_rng(0)
    noise = rng.standard_normal(edge * edge + 100_003, np.float32) * np.float32(0.03)
    block = _share(np.maximum(np.abs(x - SIZE / 2), np.abs(y - SIZE / 2)) - SIZE / 2, voxel)
    bored = np.minimum(block, _share(6.0 - np.hypot(x - 40.0, y - 40.0), voxel))
    notch = _share(-np.minimum(x - 70.0, y - 60.0), voxel)
    with path.open("wb") as file:
        for n, z in enumerate(axis):
            ends = np.minimum(z + voxel / 2, SHEET + THICK), max(z - voxel / 2, SHEET)
            inside = max(float(ends[0] - ends[1]), 0.0) / voxel
            share = np.where(block > 0.5, np.maximum(bored, inside), bored)
            share = share * (1.0 - notch * _share(60.0 - z, voxel))
            share = share * _share(abs(z - SIZE / 2) - SIZE / 2, voxel)
            start = 7919 * n % 100_003  # no two slices have the same noise
            noisy = share + noise[start : start + edge * edge].reshape(edge, edge)
            file.write((20000.0 + 20000.0 * noisy).astype("<u2").T.tobytes())
    return voxel


def _share(off: np.ndarray | float, voxel: float) -> np.ndarray:
    """Metal where the distance is negative, across a blurred face; a logistic curve for the error
    function's."""
    return 1.0 / (1.0 + np.exp(np.clip(1.702 * np.asarray(off) / (0.7 * voxel), -60, 60)))


def main(edge: int, write_page: bool = False) -> None:
    """Print what it takes, or write it to docs/performance.md."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        voxel = write(folder / "v.raw", edge)
        started = time.process_time()
        numbers = np.memmap(folder / "v.raw", "<u2", "r", shape=(edge,) * 3)
        sum(float(numbers[n].mean()) for n in range(edge))
        floor = time.process_time() - started
        bore = shapes.bore([40, 40, -1], [40, 40, SIZE + 1], 6.0)
        part = shapes.block([0] * 3, [SIZE] * 3) - bore - shapes.block([70, 60, 60], [97, 97, 97])
        keys = {"volume": "v.raw", "shape": [edge] * 3, "type": "uint16", "byte_order": "little"}
        path = make.write_case(
            folder,
            part,
            make.passage([40, 40, 0], [40, 40, SIZE], 6.0, 10.0),
            make.plane(SHEET, 1, penetration=0.1),
            scan={"voxel": [voxel] * 3, "placed": True, **keys},
        )
        started = time.process_time()
        result = examine(read_case(path), verify=False).result
        took = time.process_time() - started
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    found = result.passages[0].scanned
    print(result.scan, found, sep="\n")
    cubes = result.scan.volume.averaged
    row = (
        f"| {edge}^3 x 16 bit | {took:.0f} | {floor:.1f} | {used:.2f} | of {LIMIT_GIB:g} GiB; "
        f"window of the passage with {cubes}^3 voxels in one |"
    )
    print(row)
    if write_page:
        make_performance.put(make_performance.PAGE, "volume", [*HEAD, row])
    if used > LIMIT_GIB:
        raise SystemExit("more than the limit")


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    main(numbers[0] if numbers else 1000, "--write" in sys.argv)
