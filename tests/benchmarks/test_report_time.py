"""A report of a large mesh costs at most half as much again as the check alone."""

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import shapes

from clearance.mesh.part import read_part

CASE = Path(__file__).parent.parent.parent / "cases" / "mould-insert"
RUNS = 3


def seconds(*words):
    start = time.perf_counter()
    done = subprocess.run([sys.executable, *map(str, words)], capture_output=True, check=False)
    assert done.returncode == 3, done.stderr
    return time.perf_counter() - start


def fine_case(folder):
    """The shipped mould insert, each triangle cut in four: 400,000 of them."""
    soup = read_part(CASE / "mould-insert.3mf", "mm").triangles
    a, b, c = soup[:, 0], soup[:, 1], soup[:, 2]
    ab, bc, ca = (0.5 * (p + q) for p, q in ((a, b), (b, c), (c, a)))
    corners = ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
    fine = np.concatenate([np.stack(corner, axis=1) for corner in corners])
    assert len(fine) > 300_000
    shapes.write_stl(folder / "fine.stl", fine)
    text = (CASE / "case.toml").read_text(encoding="utf-8")
    (folder / "case.toml").write_text(text.replace("mould-insert.3mf", "fine.stl"), "utf-8")
    return folder / "case.toml"


@pytest.mark.benchmark
def test_report_takes_at_most_one_and_a_half_times_the_check(tmp_path):
    """Whole processes, kernels compiled, the least of alternating runs."""
    check = ["-m", "clearance", "check", fine_case(tmp_path)]
    report = [*check, "--report", tmp_path / "report.pdf"]
    seconds(*report)  # compiles
    alone, drawn = zip(*((seconds(*check), seconds(*report)) for _ in range(RUNS)), strict=True)
    print(f"check {min(alone):.1f} s, with report {min(drawn):.1f} s")
    assert (tmp_path / "report.pdf").stat().st_size < 3_000_000
    assert min(drawn) <= 1.5 * min(alone), (alone, drawn)
