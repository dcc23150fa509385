"""One part told in several ways: what the program says of it must not contradict itself.

In: a scene of random_kinds.py. Out: scenes and settings that mean the same (turned, mirrored,
upside down, ends swapped, triangles split and shuffled, another pitch, other threads, other units),
and what of two answers cannot both be true.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import make
import numpy as np
import random_judged
import shapes
from numpy.typing import NDArray
from random_kinds import Passage, Scene, turned

STORED = 2e-3
"""Brackets may miss each other by so much: copies are stored anew in single precision, mm."""
INCH = 25.4


@dataclass(frozen=True)
class Telling:
    """A way to tell a scene: its words, the scene, keys of [part] and [grid], threads."""

    words: str
    scene: Scene
    part: dict[str, Any] = field(default_factory=dict)
    threads: int | None = None


def tellings(scene: Scene, seed: int) -> Iterator[Telling]:
    """Ways to tell a scene that mean the same; which turn and shuffle hangs on the seed."""
    rng = np.random.default_rng((seed, 77))
    yield Telling("turned or mirrored", turned(scene, rng))
    if (over := upside_down(scene)) is not None:
        yield Telling("upside down", over)
    ends = tuple(Passage(p.name, p.outlet, p.inlet) for p in scene.passages)
    yield Telling("ends swapped", replace(scene, passages=ends))
    changed = split(shuffled(shapes.soup(scene.nominal), rng))
    yield Telling("split and shuffled", _stored(scene, changed))
    yield Telling("another pitch", replace(scene, pitch=round(scene.pitch * 0.77, 3)))
    yield Telling("one thread", scene, threads=1)
    yield Telling("two threads", scene, threads=2)
    yield Telling("in inches", _inches(scene), {"unit": "inch"})


def upside_down(scene: Scene) -> Scene | None:
    """The part on its head, where the event means the same then: metal that is only added."""
    box = np.array(scene.nominal.bounding_box()).reshape(2, 3)
    low, high = float(box[0, 2]), float(box[1, 2])
    events = []
    for event in scene.strays:
        if event.get("shape") == "mesh":
            events.append(event)
            continue
        same = event.get("shape") == "plane" and event.get("resume") == "height"
        if not same or "resume_shift" in event or event.get("penetration") != 0.0:
            return None
        if isinstance(event["layers"], list) or "height_uncertainty" in event:
            return None
        top = scene.platform + event["height"] + event["layers"] * scene.layer
        if scene.platform != low or top > high:
            return None
        events.insert(0, {**event, "height": round(low + high - top - low, 9)})
    if scene.melted is not None or scene.also is not None or not events:
        return None

    def solid(one: Any) -> Any:
        return one.rotate((180, 0, 0)).translate((0, 0, low + high))

    def mouth(disc: Any) -> Any:
        flip = np.array([1.0, -1.0, -1.0])
        return disc._replace(
            centre=flip * disc.centre + (0, 0, low + high), outward=flip * disc.outward
        )

    return replace(
        scene,
        nominal=solid(scene.nominal),
        blank=solid(scene.blank),
        plates={name: solid(plate) for name, plate in scene.plates.items()},
        passages=tuple(Passage(p.name, mouth(p.inlet), mouth(p.outlet)) for p in scene.passages),
        closed=tuple(map(mouth, scene.closed)),
        unnamed=tuple(map(mouth, scene.unnamed)),
        strays=tuple(events),
        events=(tuple(events),),
    )


def shuffled(soup: NDArray[np.float32], rng: np.random.Generator) -> NDArray[np.float32]:
    """Triangles in another order, each beginning at another corner."""
    soup = soup[rng.permutation(len(soup))]
    index = (rng.integers(0, 3, len(soup))[:, None] + np.arange(3)) % 3
    return soup[np.arange(len(soup))[:, None], index]


def split(soup: NDArray[np.float32]) -> NDArray[np.float32]:
    """Every triangle in four."""
    a, b, c = (soup[:, k].astype(np.float64) for k in range(3))
    ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
    four = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    found = np.concatenate([np.stack(t, axis=1) for t in four]).astype(np.float32)
    return np.ascontiguousarray(found + np.float32(0.0))


def _stored(scene: Scene, soup: NDArray[np.float32]) -> Scene:
    return replace(scene, nominal=soup)  # type: ignore[arg-type]  # write_case takes soups too


def _inches(scene: Scene) -> Scene:
    """All meshes in inches; what the case file says stays in mm."""

    def small(solid: Any) -> Any:
        return (make.soup_of(solid).astype(np.float64) / INCH).astype(np.float32) + np.float32(0.0)

    return replace(
        scene,
        nominal=small(scene.nominal),
        plates={name: small(plate) for name, plate in scene.plates.items()},
        also=None if scene.also is None else small(scene.also),
    )


def answers(folder: Path, told: Telling, need: dict[str, float]) -> Any:
    """Result of one telling."""
    return random_judged.said(folder, told.scene, need, told.part, told.threads)


def contradictions(one: Any, other: Any, words: str) -> list[str]:
    """What of two results for the same part cannot both be true."""
    found = []
    for a, b in zip(one.passages, other.passages, strict=True):
        x, y = a.clear_diameter_mm, b.clear_diameter_mm
        both = f"{a.name}, {words}: {a.state.value} {x.low:.3f} to {x.high:.3f}, "
        both += f"{b.state.value} {y.low:.3f} to {y.high:.3f}"
        states = {a.state.value, b.state.value}
        if len(states - {"undetermined"}) > 1:
            found.append(both)
        elif max(x.low, y.low) > min(x.high, y.high) + STORED:
            found.append(f"brackets apart: {both}")
    return found


def faults(
    folder: Path, scene: Scene, seed: int, need: dict[str, float], ways: tuple[str, ...] = ()
) -> list[str]:
    """Contradictions among all ways to tell a scene, or those whose words are given."""
    plain = answers(folder / "plain", Telling("plain", scene), need)
    found = []
    asked = [told for told in tellings(scene, seed) if not ways or told.words in ways]
    for n, told in enumerate(asked):
        found += contradictions(plain, answers(folder / str(n), told, need), told.words)
    return found
