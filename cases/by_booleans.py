"""A second way to the states of the cases: solid booleans, independent of the program.

In: a case folder (case.toml, make_mesh.py). Out: for each passage whether void still joins its
ports, how wide a tube along its drawn axis stays clear, and whether circuits that must stay
apart do. Exact in the solids of manifold3d; it knows only what the cases here use: level port
faces square to an axis, `layer` sheets and logs. Gaps that stayed unmelted count as metal.
"""

from __future__ import annotations

import importlib.util
import sys
import tomllib
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))

import manifold3d as m3  # noqa: E402
import shapes as s  # noqa: E402

FAR = 1000.0
LAP = 1e-6  # mm by which pieces overlap upward, so that faces that should touch do


class Event(NamedTuple):
    """Slices first, first + 1, ... melted from height on; then the layer `following`."""

    height: float
    first: int
    layers: int
    following: int | None  # None: the layer that belongs there
    shift: tuple[float, float]
    penetration: float


def script(folder: Path) -> ModuleType:
    """Load the make_mesh.py of a case folder under a name of its own."""
    name = f"make_mesh_of_{folder.name.replace('-', '_')}"
    spec = importlib.util.spec_from_file_location(name, folder / "make_mesh.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def events(case: dict) -> list[Event]:
    """Read the events of a case, lowest first; of a range the larger value."""
    t = case["part"]["layer_thickness"]
    if "melted" in case:
        return from_log(case["melted"], t)
    found = []
    for stray in case.get("stray", []):
        layers = int(np.max(stray["layers"]))
        height = stray["height"] if "height" in stray else (stray["after_layer"] + 1) * t
        following = stray.get("next_layer")
        if stray.get("resume") == "layer":
            following = round(height / t)
        shift = tuple(stray.get("resume_shift", (0.0, 0.0)))
        deep = float(np.max(stray.get("penetration", 2 * t)))
        found.append(Event(height, stray.get("from_layer", 0), layers, following, shift, deep))
    return found


def from_log(melted: dict, t: float) -> list[Event]:
    """Turn runs of layers into events; a run that does not go on to the next is a stray one."""
    runs = []
    for text in melted["layers"]:
        first, _, last = str(text).partition("-")
        runs.append(
            [int(first) - melted["first_number"], int(last or first) - melted["first_number"]]
        )
    found, done, expected = [], 0, 0
    index = 0
    while index < len(runs):
        first, last = runs[index]
        if first != expected:
            following = runs[index + 1] if index + 1 < len(runs) else None
            if following is not None and last - first < 20:
                layers = last - first + 1
                found.append(Event(done * t, first, layers, following[0], (0, 0), 2 * t))
                done += layers
                index += 1
                first, last = following
            else:
                found.append(Event(done * t, 0, 0, first, (0, 0), 2 * t))
        done += last - first + 1
        expected = last + 1
        index += 1
    return found


def between(solid: m3.Manifold, low: float, high: float) -> m3.Manifold:
    """Part of a solid between two heights."""
    return solid ^ s.block((-FAR, -FAR, low), (FAR, FAR, high))


def predicted(
    nominal: m3.Manifold, case: dict, melted: m3.Manifold | None = None
) -> tuple[m3.Manifold, list[tuple]]:
    """Predicted solid, and the moves as (height from which, dx, dy, dz).

    `melted` is what the slices are cut from, if that is more than the part.
    """
    melted = nominal if melted is None else melted
    t, base = case["part"]["layer_thickness"], case["part"]["platform_z"]
    solid, moves = nominal, []
    x = y = dz = 0.0
    for event in events(case):
        level = base + event.height
        x, y = x + event.shift[0], y + event.shift[1]
        top = level + event.layers * t
        pieces = [between(solid, -FAR, level + (0.0 if event.layers else LAP))]
        for i in range(event.layers):
            outline = melted.slice(base + (event.first + i + 0.5) * t).translate((x, y))
            deep = event.penetration if i == 0 else 0.0
            height = level + i * t
            pieces.append(
                m3.Manifold.extrude(outline, t + deep + LAP).translate((0, 0, height - deep))
            )
        old, cut = dz, level - dz  # nominal height that the upper part begins at
        if event.following is not None:
            dz = top - (base + event.following * t)
            cut = level - old if abs(dz - old) < t / 2 else base + event.following * t
        pieces.append(between(nominal, cut, FAR).translate((x, y, dz)))
        solid = m3.Manifold.batch_boolean(pieces, m3.OpType.Add)
        moves.append((cut, x, y, dz))
    return s.checked(solid), moves


def moved(point: np.ndarray, moves: list[tuple]) -> np.ndarray:
    """Where a nominal point lies in the predicted part."""
    shift = np.zeros(3)
    for cut, x, y, dz in moves:
        if point[2] >= cut:
            shift = np.array([x, y, dz])
    return point + shift


def outward(solid: m3.Manifold, centre: np.ndarray, radius: float) -> np.ndarray:
    """Axis direction in which a port faces: nothing before it, metal all round behind it."""
    best, found = -1.0, None
    for axis in range(3):
        for sign in (1.0, -1.0):
            n = sign * np.eye(3)[axis]
            before = s.bore(centre + 0.05 * n, centre + 3 * n, radius)
            if (before ^ solid).volume() > 1e-6:
                continue
            ring = s.bore(centre - 1.5 * n, centre - 1.4 * n, 1.6 * radius)
            metal = (ring ^ solid).volume()
            if metal > best:
                best, found = metal, n
    assert found is not None, f"no way out at {centre}"
    return found


def regions(solid: m3.Manifold, discs: list[tuple[np.ndarray, float]]) -> list[int | None]:
    """Number of the piece of void behind each port, all ports closed; None if it leads outside."""
    low, high = np.array(solid.bounding_box()).reshape(2, 3)
    plugs, probes = [], []
    for centre, radius in discs:
        n = outward(solid, centre, radius)
        plugs.append(s.bore(centre - 0.02 * n, centre + 0.5 * n, 1.5 * radius))
        probes.append(s.bore(centre - 0.05 * n, centre - 0.04 * n, 0.5 * radius))
    closed = m3.Manifold.batch_boolean([solid, *plugs], m3.OpType.Add)
    # The box begins just above the part's lowest face, so that the surface of the outer void is
    # one piece: decompose() parts surfaces, and one floating inside another would be lost.
    room = (low - (5, 5, -1e-3), high + 5)
    void = [piece for piece in (s.block(*room) - closed).decompose() if piece.volume() > 0]
    corner = s.block(room[0], room[0] + 0.1)
    found = []
    for probe in probes:
        owner = [i for i, piece in enumerate(void) if (piece ^ probe).volume() > 1e-9]
        assert len(owner) == 1, f"probe in {len(owner)} pieces"
        outside = (void[owner[0]] ^ corner).volume() > 1e-9
        found.append(None if outside else owner[0])
    return found


def states(folder: Path, file: str = "case.toml") -> dict:
    """What booleans say of a case: ports joined, circuits joined, outside reached."""
    case = tomllib.loads((folder / file).read_text())
    makers = script((folder / case["part"]["mesh"]).resolve().parent)
    nominal = s.manifold(makers.make())
    melted = nominal + s.manifold(makers.supports()) if "also_melted" in case["part"] else None
    result = {}
    for when in ("nominal", "predicted"):
        solid, moves = (nominal, []) if when == "nominal" else predicted(nominal, case, melted)
        names, discs = [], []
        for passage in case["passage"]:
            for end in ("inlet", "outlet"):
                port = passage[end]
                names.append((passage["name"], end))
                discs.append((moved(np.array(port["centre"]), moves), port["radius"]))
        found = dict(zip(names, regions(solid, discs), strict=True))
        result[when] = {
            "connected": {
                p["name"]: found[p["name"], "inlet"] == found[p["name"], "outlet"]
                for p in case["passage"]
            },
            "leads_outside": sorted({name for (name, _), r in found.items() if r is None}),
            "joined": [
                pair["passages"]
                for pair in case.get("separate", [])
                if {found[pair["passages"][0], e] for e in ("inlet", "outlet")}
                & {found[pair["passages"][1], e] for e in ("inlet", "outlet")}
            ],
            "volume_mm3": round(solid.volume(), 2),
        }
    return result


if __name__ == "__main__":
    import json

    for argument in sys.argv[1:]:
        path = Path(argument).resolve()
        print(path.parent.name, path.name, json.dumps(states(path.parent, path.name), indent=1))
