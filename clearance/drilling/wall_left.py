"""The wall that drilled holes leave to every other void, exactly.

In: the holes of a plan, the part where it stands after an event, and its surface in patches. Out:
`Left`: the least wall, with the drill as it measures and with tolerance and run-out; or into what
the drill breaks, in words. Only distances between triangles are used, so a wall may be as thin as
it likes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from clearance.drilling import bore as bores
from clearance.drilling.bore import Bore
from clearance.drilling.hole_faces import Faces, Walls
from clearance.geometry import box_tree, segments
from clearance.geometry.areas import united, without
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Soup, flat, moved_shape
from clearance.heights import place
from clearance.passages.way import moved_mouth
from clearance.ports.mouth import Mouth
from clearance.ports.patches import NO_PATCH, Patches
from clearance.predicted.part import Events, Predicted
from clearance.predicted.slabs import rounded
from clearance.verdict.prepared import Checked

NEAR_MM = 15.0
"""Voids farther from a cut wall than this are not looked for."""
SIDES = 96
"""Sides of the polyhedra that stand for a hole; they lie around it, by 0.05 % of its radius."""
RIM_SIDES = 32
"""Sides of the pyramid around the cone below a mouth's rim."""
RIM_SHARE = 0.02
"""An outer wall no more of the mouth's radius below the cone is still the face it lies in: more
than the pyramid stands out of the cone."""
KEPT = 8
"""So many holes, of all places where the part may stand, have their walls kept: a plan's."""
SAME_MM = 1e-3
"""An outline of a section lies on the patch that is so near."""

Floats = NDArray[np.float64]


class UntoldError(Exception):
    """Which walls bound which void cannot be told."""


@dataclass(frozen=True, eq=False)
class Hole:
    """What a drill takes away inward of the mouth.

    Attributes
    ----------
    entry, direction : (3,) ndarray, mm
        On the closing surface, and of unit length.
    radius, depth, point : float, mm
        Of the drill, to where its full diameter ends, and of the point beyond that.
    taken : float, mm
        By how much more than its radius the drill may take away: tolerance and run-out.
    """

    entry: Floats
    direction: Floats
    radius: float
    depth: float
    point: float
    taken: float

    def bore(self, worst: bool, first: float) -> Bore:
        """The hole from `first` mm inward of the entry, around the true one.

        `worst`: as large as tolerance and run-out may make it.
        """
        radius = self.radius + (self.taken if worst else 0.0)
        point = self.point * radius / self.radius
        start = self.entry + first * self.direction
        return Bore(start, self.direction, radius, self.depth - first, point, SIDES, around=True)

    @property
    def tip(self) -> Floats:
        """(3,) end of the point, mm."""
        return self.entry + (self.depth + self.point) * self.direction


class Left(NamedTuple):
    """What holes leave of the wall.

    Attributes
    ----------
    wall_mm : float or None
        Least metal to another void; None where no other is near, or no wall is cut.
    least_mm : float or None
        The same with drill tolerance and run-out taken off.
    """

    wall_mm: float | None = None
    least_mm: float | None = None


class Other(NamedTuple):
    """Walls of voids that a hole must not reach; `outside`: they end at the mouths anyway."""

    name: str
    patches: frozenset[int]
    outside: bool


class Voids:
    """The voids of a part as one passage sees them: its own, and all others."""

    def __init__(self, checked: Checked, inlet: Mouth, outlet: Mouth, route: Floats):
        """`route`: points of the passage's nominal void."""
        self.checked = checked
        self.patches: Patches = checked.patches
        behind, before = self.patches.behind, self.patches.before
        for name in checked.mouths:
            if not behind[name] or not before[name]:
                raise UntoldError(f"the outline of {name} is not found in the mesh")
        own = behind[inlet.name] | behind[outlet.name]
        if own & self.patches.outside:
            raise UntoldError(
                "the void also reaches the outside through an opening that the case does not name "
                "(name it under [[closed]])"
            )
        self.own_mouths = [m for m in checked.all_mouths if behind[m.name] & own]
        # A core within a ring, an insert: patches of their own that bound this void too.
        foreign = set(self.patches.outside).union(*before.values(), *behind.values()) - own
        inner = route[1:-1]
        self.own = frozenset(own | (self.patches.at(inner) - foreign if len(inner) else set()))
        self._around: dict[tuple[Events, Hole], list[tuple[Other, Soup]]] = {}

    @property
    def others(self) -> list[Other]:
        """All walls that bound other voids, by void."""
        found: dict[str, set[int]] = {}
        for mouth in self.checked.all_mouths:
            found.setdefault(_circuit(mouth.name), set()).update(
                self.patches.behind[mouth.name] - self.own
            )
        outside = self.patches.outside - self.own
        named = self.own.union(outside, *found.values())
        rest = set(np.unique(self.patches.number).tolist()) - named
        others = [Other(name, frozenset(p), False) for name, p in found.items() if p]
        others.append(Other("another void", frozenset(rest), False))
        others.append(Other("the outside", frozenset(outside), True))
        return [other for other in others if other.patches]

    def around(self, predicted: Predicted, hole: Hole) -> list[tuple[Other, Soup]]:
        """Walls of every other void around a hole, where the part stands."""
        key = (predicted.events, hole)
        if key not in self._around:
            if len(self._around) == KEPT:  # of plans that were tried before
                del self._around[next(iter(self._around))]
            self._around[key] = list(self._walls(predicted, hole))
        return self._around[key]

    def _walls(self, predicted: Predicted, hole: Hole) -> Iterator[tuple[Other, Soup]]:
        box = bores.box(hole.bore(True, -_beyond(hole))).grown(NEAR_MM)
        cuts = [] if predicted.in_place else list(self._cuts(predicted))
        for other in self.others:
            # Where it stands in the predicted part, and bare where the part is cut and moved.
            standing = predicted.bare_surface(box, self.patches.of(other.patches))
            faces = (flat(moved_shape(cut.of(other), cut.shift), cut.z) for cut in cuts)
            soup = np.concatenate([standing, *faces])
            if other.outside:
                for mouth in _passed(self, predicted, hole):
                    soup = _below_rim(soup, mouth)
            yield other, soup

    def _cuts(self, predicted: Predicted) -> Iterator[_Cut]:
        """Sections of voids of the nominal part, by the patches that bound them."""
        import shapely

        window = predicted.window
        for z, lift, shift, above in _ends(predicted):
            at = z - lift
            pieces = shapely.get_parts(without(window.rectangle, window.metal("closed", at, above)))
            xy, of = shapely.get_coordinates(pieces, return_index=True)
            on = self.patches.on(np.column_stack([xy, np.full(len(xy), at)]), SAME_MM)
            numbers = np.split(on, np.flatnonzero(np.diff(of)) + 1)
            bounds = [
                set(self.patches.outside)
                if piece.intersects(window.rectangle.boundary)
                else set(beside.tolist()) - {NO_PATCH}
                for piece, beside in zip(pieces, numbers, strict=True)
            ]
            others = [(p, b) for p, b in zip(pieces, bounds, strict=True) if not b & self.own]
            yield _Cut(z, shift, others)


class _Cut(NamedTuple):
    """Where a part is cut and moved: its voids in section there, but the passage's own."""

    z: float
    shift: tuple[float, float]
    voids: list[tuple[Any, set[int]]]

    def of(self, other: Other) -> Any:
        """What of them another void's patches bound."""
        return united([piece for piece, bounds in self.voids if bounds & other.patches])


def within_void(predicted: Predicted, hole: Hole) -> bool:
    """Whether a hole, as large as it may get, surely stays within its own void.

    It begins there, so it does if it enters no triangle of the part, nor a face that is bare
    where the part is cut and moved.
    """
    worst = hole.bore(True, 0.0)
    if bores.enters(predicted.bare_surface(bores.box(worst)), worst):
        return False
    return predicted.in_place or not any(
        moved_shape(predicted.window.metal("part", z - lift, above), shift)
        .intersection(bores.section(worst, Plane.level(z)))
        .area
        > 0.0
        for z, lift, shift, above in _ends(predicted)
    )


def _ends(predicted: Predicted) -> Iterator[tuple[float, float, tuple[float, float], bool]]:
    """Where the pieces of a moved part end: height, lift, shift, whether the piece lies above."""
    for slab in predicted.table:
        if slab.lift is not None:
            for z, above in ((slab.low, True), (slab.high, False)):
                if math.isfinite(z):
                    yield z, slab.lift, rounded(slab.shift), above


def breaks_into(voids: Voids, events: Events, holes: Sequence[Hole]) -> str:
    """What the holes of one passage, as large as they may get, break into; empty if nothing."""
    predicted = voids.checked.whole.predict(events)
    return next((said for hole in holes if (said := _broken_by(voids, predicted, hole))), "")


def _broken_by(voids: Voids, predicted: Predicted, hole: Hole) -> str:
    worst = hole.bore(True, -_beyond(hole))
    for other, soup in voids.around(predicted, hole):
        entering = bores.meeting(soup, worst)
        if len(entering):
            return _broken(voids, other, hole, soup[entering])
    return ""


def wall_left(voids: Voids, places: Iterable[Events], holes: Sequence[Hole]) -> Left:
    """The wall that the holes of one passage leave to all voids but their own, the least of places.

    Told up to 15 mm from where a hole cuts metal. They must break into nothing (`breaks_into`).
    """
    faces = [[Faces(voids.checked.whole, bore) for bore in _both(hole)] for hole in holes]
    least = [NEAR_MM, NEAR_MM]
    for events in places:
        predicted = voids.checked.whole.predict(events)
        for hole, both in zip(holes, faces, strict=True):
            walls = [Walls(soup) for _, soup in voids.around(predicted, hole) if len(soup)]
            for n, of in enumerate(both if walls else ()):
                metal = Walls(of.metal(predicted))
                found = (metal.apart(wall, least[n]) for wall in walls)
                least[n] = min((one for one in found if one is not None), default=least[n])
    return Left(*(wall if wall < NEAR_MM else None for wall in least))


def _both(hole: Hole) -> list[Bore]:
    """A hole as the drill measures, and as large as it may get."""
    return [hole.bore(biggest, -_beyond(hole)) for biggest in (False, True)]


def _beyond(hole: Hole) -> float:
    """How far outward of the mouth a hole is looked at, mm."""
    return 2.0 * hole.radius


def _passed(voids: Voids, predicted: Predicted, hole: Hole) -> Iterator[Mouth]:
    """The passage's own mouths, where they stand, that a hole begins or may come out at."""
    width = 2.0 * hole.radius
    for mouth in voids.own_mouths:
        moved = moved_mouth(predicted, mouth)
        rise = float(moved.plane.normal @ hole.direction)
        if abs(rise) < 1e-6:
            continue
        along = float(moved.plane.normal @ (moved.centre - hole.entry)) / rise
        beside = hole.entry + along * hole.direction - moved.centre
        reached = -width <= along <= hole.depth + hole.point + width
        if reached and np.linalg.norm(beside) <= mouth.radius + width:
            yield moved


def _below_rim(soup: Soup, mouth: Mouth) -> Soup:
    """What of the outer walls is not the face that a mouth lies in.

    That face may fall away from the mouth's rim by 45 degrees: what lies beside the rim by more
    than it lies inward of the closing surface is left out. What stays lies in a cone, and this in
    a pyramid around it, to which triangles are cut.
    """
    out = mouth.plane.normal
    rim = mouth.rim
    one = rim[0] - mouth.centre
    one = one - (one @ out) * out
    one /= np.linalg.norm(one)
    turn = np.linspace(0.0, 2.0 * math.pi, RIM_SIDES, endpoint=False)[:, None]
    aside = np.cos(turn) * one + np.sin(turn) * np.cross(out, one)
    level = float(mouth.centre @ out)
    normals = np.vstack([aside + out, out])
    offsets = np.append((rim @ aside.T).max(axis=0) + level, level) - RIM_SHARE * mouth.radius
    return bores.within(soup, normals, offsets)


def _broken(voids: Voids, other: Other, hole: Hole, entered: Soup) -> str:
    tree = box_tree.build(entered)
    far, _, at = segments.segment_clearance(tree, hole.entry, hole.tip)
    where = place(at, voids.checked.platform_z)
    return (
        f"{other.name} at {where}: {far - hole.radius:.2f} mm of wall would be left there, "
        f"drill tolerance and run-out may take {hole.taken:.2f} mm"
    )


def _circuit(mouth: str) -> str:
    return mouth.removesuffix(" inlet").removesuffix(" outlet")
