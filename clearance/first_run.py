"""The compiled kernels: whether they are at hand, and how the first run gets them sooner.

In: nothing. Out: whether the compiler's cache holds what this version needs; a process that
compiles the later kernels while the first run compiles the earlier ones.
"""

from __future__ import annotations

import atexit
import subprocess
import sys
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import shapely

from clearance.columns import cast, cells, ways
from clearance.drilling import bore, rectangles
from clearance.evidence import pins
from clearance.geometry import beams, box_tree, distance, rays, routes, segments, soup
from clearance.kernels import compiler
from clearance.passages import rooms
from clearance.ports import patches
from clearance.sweeps import regions


def compiled() -> bool:
    """Whether the kernels have been compiled on this machine, for this version.

    Asks for the one that every check needs; true also where that cannot be told.
    """
    try:
        return bool(cast._crossings._cache._cache_file._load_index())
    except (AttributeError, OSError):  # another version of the compiler, or a folder of no use
        return True


def begin(say: Callable[[str], None]) -> bool:
    """At the first run say so and let another process help; whether it is the first."""
    if compiled():
        return False
    say("compiling the kernels, once per installation; this takes a minute or two")
    compiler.tell(lambda ready, of: say(f"compiling the kernels, {ready} of {of} so far"))
    compile_beside()
    return True


def compile_beside() -> subprocess.Popen[bytes]:
    """Start a process that runs `later`; it ends with this one at the latest.

    The compiler holds one lock in a process, so a thread would only wait. What both compile at
    the same time is compiled twice: the cache takes either.
    """
    process = subprocess.Popen(
        [sys.executable, "-m", "clearance.first_run"],
        stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    atexit.register(process.kill)
    return process


def later() -> None:
    """Call kernels as a check calls them, on a block's triangles: what it needs last comes first.

    So the two processes meet half way, and hardly anything is compiled by both.
    """
    origin, up = np.zeros(3), np.array([0.0, 0.0, 1.0])
    block = bore.soup(bore.Bore(origin, up, 1.0, 3.0, 0.0))
    regions.Cuts(_empty_void(), {1}, (_LAYER, _LAYER), np.array([0.5, 1.5]))
    outline = beams.edges(shapely.box(-1.0, -1.0, 1.0, 1.0))
    beams.most_beside(outline, origin[:2], 0.0, 0.5)
    beams.least_and_greatest(outline, origin[:2])
    pins.Straight.inward(pins.Entry("", origin, up, 1.0, 0.0), block).stop(0.5)
    soup.clipped(block, 0.0, 1.0, origin)
    bore.outside(block, bore.Bore(origin, up, 0.5, 4.0, 0.0))
    tree = box_tree.build(block)
    line = np.array([up, 2.0 * up])
    rays.metal(tree.triangles, tree.boxes, line, np.zeros(2, np.int64))
    square = np.array([[0, 0, 1, 0], [1, 0, 1, 1], [1, 1, 0, 1], [0, 1, 0, 0]], np.float64)
    rectangles.within(square[:, :2], square)
    rectangles.tighten(square[:1], square)
    radius = cells.clear_radius(np.ones((2, 2, 2), np.uint8), 1.0)
    ways.widest_route(radius, np.ones(radius.shape, np.uint8), [0], [7])
    routes.widen(tree, line, spacing_mm=0.5)
    segments.segment_clearances(tree, line[:1], line[1:])
    distance.distances(tree, line)
    few = block[:1]
    edge = np.zeros((1, 3), np.int64)
    rooms._clipped(few.astype(np.float64), edge, edge > 0, np.ones((2, 3)), np.ones(2))
    patches._halves(few, np.zeros((1, 3)))


_LAYER = np.arange(1), np.zeros(1), np.ones(1)


def _empty_void() -> Any:
    """What `Cuts` asks of a void, of three columns by three that hold no metal."""
    squares, strips = 4, 12
    return SimpleNamespace(
        metal=SimpleNamespace(start=np.zeros(squares + strips + 1, np.int64), z=np.empty((0, 2))),
        piece=np.ones(squares + strips, np.int32),
        places=SimpleNamespace(grid=SimpleNamespace(nx=3, ny=3), squares=squares),
    )


if __name__ == "__main__":
    later()
