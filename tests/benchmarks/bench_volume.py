"""A volume of 1000^3 voxels of 16 bit laid on its part: memory and processor time.

``python tests/benchmarks/bench_volume.py [EDGE]``: a block with a bore and a thin sheet, made slab
by slab, as bare numbers (2 GB at 1000) in a temporary folder. The floor is the same volume read
once, slab by slab, and summed. The limit is 6 GiB (issue 22).
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
import scans
import shapes

from clearance.api import examine
from clearance.case.read import read_case

SIZE, SHEET, THICK = 96.0, 50.0, 0.08
LIMIT_GIB = 6.0


def write(path: Path, edge: int) -> float:
    """Grey values of the part, blurred across its faces as a Gaussian does; its voxel in mm."""
    voxel = 100.0 / edge
    axis = voxel * (np.arange(edge, dtype=np.float32) + 0.5) - 2.0
    x, y = np.meshgrid(axis, axis, indexing="ij")
    rng = np.random.default_rng(0)
    with path.open("wb") as file:
        for z in axis:
            points = np.stack([x, y, np.full_like(x, z)], -1)
            outer = scans.block(points, (0, 0, 0), (SIZE, SIZE, SIZE))
            metal = np.maximum(outer, -scans.rod(points, (40, 40, 0), (0, 0, 1), 6.0))
            metal = np.maximum(metal, -scans.block(points, (70, 60, 60), (97, 97, 97)))
            share = 1.0 / (1.0 + np.exp(np.clip(1.702 * metal / (0.7 * voxel), -60, 60)))
            ends = np.minimum(z + voxel / 2, SHEET + THICK), max(z - voxel / 2, SHEET)
            inside = max(float(ends[0] - ends[1]), 0.0)
            share = np.where(outer < 0.0, np.maximum(share, inside / voxel), share)
            noisy = share + rng.normal(0.0, 0.03, share.shape).astype(np.float32)
            file.write((20000.0 + 20000.0 * noisy).astype("<u2").T.tobytes())
    return voxel


def main(edge: int) -> None:
    """Print what it takes."""
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
    print(f"{edge}^3 x 16 bit: {took:.0f} s of processor time, reading alone {floor:.1f} s")
    print(f"memory at most {used:.2f} GiB of {LIMIT_GIB:g}, pages of the mapped file in it")
    print(result.scan.volume)
    print(f"{found.state.value}, {found.low_mm:.2f} to {found.high_mm:.2f} mm, {found.reasons}")
    print(found.crossings)
    if used > LIMIT_GIB:
        raise SystemExit("more than the limit")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
