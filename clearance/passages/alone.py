"""Which stoppers hide nothing in a predicted part, by proof.

In: the predicted part in a window, its mouths where they stand, and the pitch that stoppers are
made for. Out: those around which the part is as designed and holds nothing but the rims of their
own mouths. Source: docs/method.md, "What a stopper hides".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from clearance.geometry.soup import Box
from clearance.passages.rooms import Face, Room, holds_rims_only, inner_end_mm, room
from clearance.passages.stoppers import LID_MM
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import rounded

PARALLEL = 1.0 - 1e-9
"""Mouths whose normals' cosine is more lie in parallel faces."""
MOVED_MM = 1e-9
"""What has moved by no more than this otherwise has moved together."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Stood:
    """A mouth, and where it, or a part of it, stands in the predicted part."""

    nominal: Mouth
    place: Mouth

    @property
    def step(self) -> Floats:
        """How far it has moved, (3,) mm."""
        return self.place.plane.origin - self.nominal.plane.origin


class Alone(NamedTuple):
    """What is proven of stoppers.

    Attributes
    ----------
    inner : dict of int to shapely.Polygon
        By the numbers of the mouths whose stoppers hide nothing: a figure in the mouth's plane that
        covers what lies behind the stopper.
    own : dict of int to shapely.Polygon
        The same of those whose stoppers hide nothing in the nominal part, and nothing but what is
        theirs has moved there.
    plain : set of int
        Those of them that nothing else opens beside: the face does not fall back there.
    """

    inner: dict[int, Any]
    own: dict[int, Any]
    plain: set[int]


def alone(predicted: Predicted, stood: Sequence[Stood], pitch_mm: float) -> Alone:
    """Which mouths have stoppers, made for a pitch, that are proven to hide nothing.

    Stoppers that come near one another are looked at as one; that is done where the mouths lie in
    one face and have moved together.
    """
    looked = _Looked(predicted, stood, pitch_mm)
    faces = {n: looked.group_of(n).face for n in range(len(stood))}
    known = {n: face for n, face in faces.items() if face is not None}
    inner = {n: face.inner[stood[n].nominal] for n, face in known.items() if looked.as_designed(n)}
    own = {
        n: face.inner[stood[n].nominal]
        for n, face in known.items()
        if n in inner or looked.holds_own(n)
    }
    return Alone(inner, own, {n for n in inner if known[n].low_mm >= -LID_MM})


class _Group(NamedTuple):
    """Mouths whose stoppers in the nominal part come near one another."""

    mouths: tuple[Mouth, ...]
    face: Face | None


class _Looked:
    """Rooms around the stoppers in a predicted part, for a pitch."""

    def __init__(self, predicted: Predicted, stood: Sequence[Stood], pitch_mm: float):
        self.predicted, self.stood, self.pitch_mm = predicted, stood, pitch_mm
        self._bodies = predicted.window.bodies
        nominals = tuple(dict.fromkeys(one.nominal for one in stood))
        key = ("groups", nominals, pitch_mm)
        if key not in self._bodies.known:
            self._bodies.known[key] = self._groups(nominals)
        self._group: dict[Mouth, _Group] = self._bodies.known[key]

    def group_of(self, n: int) -> _Group:
        """The group that a mouth is of."""
        return self._group[self.stood[n].nominal]

    def as_designed(self, n: int) -> bool:
        """Whether what is proven of the nominal part around a mouth holds in the predicted one."""
        predicted = self.predicted
        mouths = self.group_of(n).mouths
        if predicted.in_place and predicted.untouched(None):
            return True  # stray metal only takes void away
        ours = [one for one in self.stood if one.nominal in mouths]
        others = [
            self._room((one.nominal,)).moved(one.step) for one in self.stood if one not in ours
        ]
        own = _distinct([one.step for one in ours])
        steps, here = self._moves(mouths, own)
        if not all(here.moved(step).clear_of(other) for step in steps for other in others):
            return False
        if not all(predicted.untouched(here.moved(step).box) for step in steps):
            return False
        beneath = len(steps) > len(own)
        return len(steps) == 1 or self._open_in_front(mouths, steps, here, beneath)

    def _moves(self, mouths: tuple[Mouth, ...], own: list[Floats]) -> tuple[list[Floats], Room]:
        """How what is nominal in a room has moved, as its mouths have first; the room, as roomy.

        A cut may go through the room beside the mouth: what stands over it comes from as far
        aside as where it goes through the mouth itself.
        """
        steps = own
        while True:
            apart = np.array([a - b for a in steps for b in steps])
            along = float(np.abs(apart @ mouths[0].plane.normal).max())
            here = self._room(mouths, float(np.linalg.norm(apart, axis=1).max()), along)
            boxes = [here.moved(step).box for step in steps]
            grown = _distinct([*steps, *(step for box in boxes for step in self._steps_in(box))])
            if len(grown) == len(steps):
                return steps, here
            steps = grown

    def _steps_in(self, box: Box) -> list[Floats]:
        """How what is nominal in a box has moved; in a gap as what is under it, and over it."""
        whole = [slab for slab in self.predicted.table if slab.lift is not None]
        begin = [-np.inf, *(slab.high for slab in whole[:-1])]
        end = [*(slab.low for slab in whole[1:]), np.inf]
        return [
            np.array([*rounded(slab.shift), slab.lift])
            for low, slab, high in zip(begin, whole, end, strict=True)
            if low < box.high[2] and high > box.low[2]
        ]

    def _open_in_front(
        self, mouths: tuple[Mouth, ...], steps: list[Floats], here: Room, beneath: bool
    ) -> bool:
        """Whether a mouth lies in a plane face that moves in itself, and nothing stands before it.

        Then all void behind the face is some nominal void behind the mouth, moved. With `beneath`
        a cut goes beside the mouth, where what lies behind the stopper must not reach.
        """
        plane = mouths[0].plane
        if len(_once_each(mouths)) > 1 or any(
            abs(step @ plane.normal) > MOVED_MM for step in steps
        ):
            return False
        face = self._wide(mouths, here)
        if face is None or (beneath and face.inner[mouths[0]] is not mouths[0].polygon):
            return False
        if face.low_mm < -LID_MM or face.high_mm > LID_MM:
            return False
        before = here.above(float(plane.normal @ plane.origin) + LID_MM)
        return not any(before.moved(step).met_by(self.predicted.stray) for step in steps)

    def holds_own(self, n: int) -> bool:
        """Whether all void around a mouth, wherever it comes from, is its own or the outside."""
        mouths = self.group_of(n).mouths
        own = _distinct([one.step for one in self.stood if one.nominal in mouths])
        steps, here = self._moves(mouths, own)
        return len(steps) == 1 or self._wide(mouths, here) is not None

    def _wide(self, mouths: tuple[Mouth, ...], here: Room) -> Face | None:
        """What is proven of a room that is wider by what moves in it."""
        known, key = self._bodies.known, ("wide", here)
        if key not in known:
            known[key] = self._held(mouths, here)
        face: Face | None = known[key]
        return face

    def _groups(self, nominals: tuple[Mouth, ...]) -> dict[Mouth, _Group]:
        rooms = [self._room((one,)) for one in nominals]
        found = {}
        for numbers in _near_one_another(rooms):
            mouths = tuple(nominals[n] for n in numbers)
            within = self._room(mouths) if _in_one_face(mouths, self.pitch_mm) else None
            others = (rooms[n] for n in range(len(nominals)) if n not in numbers)
            face = None
            if within is not None and all(within.clear_of(other) for other in others):
                face = self._held(mouths, within)
            found.update({mouth: _Group(mouths, face) for mouth in mouths})
        return found

    def _held(self, mouths: tuple[Mouth, ...], within: Room) -> Face | None:
        """What is proven of a room; a mouth that several passages have counts once."""
        one_of = _once_each(mouths)
        face = holds_rims_only(self._bodies.part, tuple(one_of), within)
        if face is None:
            return None
        inner = {}
        for one, same in one_of.items():
            plain = face.inner[one] is one.polygon
            inner.update({m: m.polygon if plain else face.inner[one] for m in same})
        return replace(face, inner=inner)

    def _room(
        self, mouths: tuple[Mouth, ...], aside_mm: float = 0.0, along_mm: float = 0.0
    ) -> Room:
        known, key = self._bodies.known, ("room", mouths, self.pitch_mm, aside_mm, along_mm)
        if key not in known:
            known[key] = room(mouths, self.pitch_mm, aside_mm, along_mm)
        found: Room = known[key]
        return found


def _distinct(steps: list[Floats]) -> list[Floats]:
    kept: list[Floats] = []
    for step in steps:
        if all(np.abs(step - other).max() > MOVED_MM for other in kept):
            kept.append(step)
    return kept


def _once_each(mouths: tuple[Mouth, ...]) -> dict[Mouth, list[Mouth]]:
    """Mouths by the first that is the same: a port may serve several passages."""
    found: dict[Mouth, list[Mouth]] = {}
    for mouth in mouths:
        first = next((one for one in found if _same(one, mouth)), mouth)
        found.setdefault(first, []).append(mouth)
    return found


def _same(a: Mouth, b: Mouth) -> bool:
    return a.polygon.equals_exact(b.polygon, 0.0) and all(
        np.array_equal(getattr(a.plane, name), getattr(b.plane, name))
        for name in ("origin", "normal", "u", "v")
    )


def _near_one_another(rooms: list[Room]) -> list[list[int]]:
    """Numbers of rooms in groups that do not come near one another."""
    groups: list[list[int]] = []
    for n, one in enumerate(rooms):
        met = [g for g in groups if any(not one.clear_of(rooms[m]) for m in g)]
        groups = [g for g in groups if g not in met] + [[*(m for g in met for m in g), n]]
    return [sorted(group) for group in groups]


def _in_one_face(mouths: tuple[Mouth, ...], pitch_mm: float) -> bool:
    """Whether mouths face one way and one room ends in the layer behind each of them."""
    plane = mouths[0].plane
    if any(mouth.plane.normal @ plane.normal < PARALLEL for mouth in mouths):
        return False
    ends = [
        [plane.signed(m.plane.origin[None])[0] - inner_end_mm(m, pitch_mm, deepest) for m in mouths]
        for deepest in (False, True)
    ]
    return min(ends[0]) >= max(ends[1])
