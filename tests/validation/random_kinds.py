"""Random small parts of many kinds, each with what happened to it; a seed gives the same again.

The kinds are what a build and its drawing have and a plain bent bore lacks: third mouths, bypasses,
dead ends, level faces at the cut, sheets within lying channels, measured meshes of several bodies,
shifts into foreign voids, logs, intervals, ports on steps or in the sheet, feet, thin walls.
`make_scene(seed)` takes the kinds in turn, so that each has its share of any row of seeds.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import booleans
import manifold3d as m3
import numpy as np
import shapes
from booleans import Disc
from numpy.typing import ArrayLike, NDArray
from random_parts import SEGMENTS, make_trial

Event = dict[str, Any]
BEYOND = 1.0
"""How far a tool stands out of the face that it opens, mm."""


@dataclass(frozen=True)
class Passage:
    """A passage of a scene: its name and its ports."""

    name: str
    inlet: Disc
    outlet: Disc


@dataclass(frozen=True)
class Scene:
    """A part, its mouths and what happened to it.

    Attributes
    ----------
    nominal, blank : Manifold
        The part, and the part before anything was taken out of it.
    closed, unnamed : Discs
        Third mouths that the case names under [[closed]], and those it does not.
    events : list of event lists
        All that the case leaves possible, every unknown fixed; one where it leaves nothing open.
    strays, melted : tables of the case file
        The event as the case tells it.
    plates : dict of name to solid
        Measured stray metal.
    also : Manifold or None
        Melted with the part.
    tables : dict
        Further tables of the case file.
    share : float
        Requirement over the true clear diameter, for passages that `needs` does not name.
    needs : dict of name to float, mm
    exact : bool
        The case leaves nothing of the event open.
    """

    kind: str
    nominal: m3.Manifold
    blank: m3.Manifold
    passages: tuple[Passage, ...]
    layer: float
    strays: tuple[Event, ...] = ()
    events: tuple[tuple[Event, ...], ...] = ((),)
    closed: tuple[Disc, ...] = ()
    unnamed: tuple[Disc, ...] = ()
    platform: float = 0.0
    melted: dict[str, Any] | None = None
    plates: dict[str, m3.Manifold] = field(default_factory=dict)
    also: m3.Manifold | None = None
    tables: dict[str, Any] = field(default_factory=dict)
    share: float = 0.8
    needs: dict[str, float] = field(default_factory=dict)
    pitch: float = 0.4
    exact: bool = True

    @property
    def discs(self) -> list[Disc]:
        """Every mouth: ports of the passages, then the others."""
        ports = [disc for p in self.passages for disc in (p.inlet, p.outlet)]
        return [*ports, *self.closed, *self.unnamed]


def up(height: float) -> NDArray[np.float64]:
    """A step upward."""
    return np.array([0.0, 0.0, float(height)])


# ---- tools -----------------------------------------------------------------------------------


def disc(centre: ArrayLike, radius: float, outward: ArrayLike, reach: float = 1.3) -> Disc:
    return Disc(np.array(centre, float), float(radius), np.array(outward, float), reach)


def union(tools: list[m3.Manifold]) -> m3.Manifold:
    return m3.Manifold.batch_boolean(tools, m3.OpType.Add)


def ducts(line: ArrayLike, radius: float, square: bool = False) -> list[m3.Manifold]:
    """Bores, or level ducts of square section, along a line of points, rounded at the bends."""
    points = np.asarray(line, float)
    tools = []
    for a, b in itertools.pairwise(points):
        if np.linalg.norm(b - a) < 1e-6:
            continue
        if square:
            low, high = np.minimum(a, b) - radius, np.maximum(a, b) + radius
            axis = int(np.argmax(np.abs(b - a)))
            low[axis], high[axis] = min(a[axis], b[axis]), max(a[axis], b[axis])
            tools.append(shapes.block(low, high))
        else:
            tools.append(shapes.bore(a, b, radius, segments=SEGMENTS))
    for point in points[1:-1]:
        ball = m3.Manifold.sphere(1.02 * radius, SEGMENTS)
        tools.append(
            shapes.block(point - radius, point + radius) if square else ball.translate(tuple(point))
        )
    return tools


def as_stored(solid: m3.Manifold) -> m3.Manifold:
    """The solid as a file of single precision holds it."""
    vertices, faces = shapes.indexed(shapes.soup(solid))
    # Of double precision, or booleans would take all that is nearer than 1e-5 mm for one.
    mesh = m3.Mesh64(vertices.astype(np.float64), faces.astype(np.uint64))
    return shapes.checked(m3.Manifold(mesh))


def box(rng: np.random.Generator, least: float = 10.5, most: float = 13.5) -> tuple[Any, Any]:
    """Corners of a block that stands on z = 0."""
    size = np.round(rng.uniform(least, most, 3), 1)
    corner = np.array([*np.round(rng.uniform(-8, -4, 2), 1), 0.0])
    return corner, corner + size


def sheet_at(rng: np.random.Generator, height: float, layer: float, **keys: Any) -> Event:
    """A sheet of one to four layers at a height, of slices or the whole section."""
    event: Event = {
        "height": round(float(height), 6),
        "layers": int(rng.integers(1, 5)),
        "penetration": float(rng.choice([0.0, layer, round(rng.uniform(0, 0.4), 3)])),
        "shape": str(rng.choice(["layer", "layer", "plane"])),
        "resume": str(rng.choice(["height", "height", "layer"])),
    }
    if event["shape"] == "layer":
        now = int(height / layer)
        choices = [int(rng.integers(0, 6)), max(0, now - int(rng.integers(2, 25)))]
        event["from_layer"] = int(rng.choice(choices))
    if rng.random() < 0.3:
        event["resume_shift"] = [float(x) for x in np.round(rng.normal(0, 0.5, 2), 3)]
    event.update(keys)
    if event["shape"] == "plane":
        event.pop("from_layer", None)
    if "next_layer" in event:
        event.pop("resume", None)
    return event


def thickness(rng: np.random.Generator) -> float:
    return float(rng.choice([0.1, 0.2, 0.3]))


def told(scene: Scene, *events: Event) -> Scene:
    """The scene with events that are known to the last number."""
    return replace(scene, strays=events, events=(events,))


def turned(scene: Scene, rng: np.random.Generator) -> Scene:
    """The scene turned about z by quarters and mirrored, at random (events without a shift)."""
    quarters, mirror = int(rng.integers(0, 4)), rng.random() < 0.5

    def point(p: NDArray) -> NDArray:
        x, y, z = p
        y = -y if mirror else y
        for _ in range(quarters):
            x, y = -y, x
        return np.array([x, y, z])

    def solid(one: m3.Manifold) -> m3.Manifold:
        one = one.mirror((0, 1, 0)) if mirror else one
        return one.rotate((0, 0, 90.0 * quarters))

    def mouth(one: Disc) -> Disc:
        return one._replace(centre=point(one.centre), outward=point(one.outward))

    def event(one: Event) -> Event:
        if "resume_shift" not in one:
            return one
        return {**one, "resume_shift": [float(x) for x in point([*one["resume_shift"], 0.0])[:2]]}

    return replace(
        scene,
        nominal=solid(scene.nominal),
        blank=solid(scene.blank),
        also=None if scene.also is None else solid(scene.also),
        plates={name: solid(plate) for name, plate in scene.plates.items()},
        passages=tuple(Passage(p.name, mouth(p.inlet), mouth(p.outlet)) for p in scene.passages),
        closed=tuple(map(mouth, scene.closed)),
        unnamed=tuple(map(mouth, scene.unnamed)),
        strays=tuple(map(event, scene.strays)),
        events=tuple(tuple(map(event, events)) for events in scene.events),
    )


MESH: Event = {"shape": "mesh", "mesh": "plate.stl"}


# ---- the kinds -------------------------------------------------------------------------------


def bent(rng: np.random.Generator) -> Scene:
    """A bent bore between two faces, often with a further void."""
    trial = make_trial(int(rng.integers(10_000, 10**9)))
    nominal = trial.nominal
    low, high = np.array(nominal.bounding_box()).reshape(2, 3)
    scene = Scene(
        "bent",
        nominal,
        shapes.block(low, high),
        (Passage("a", trial.inlet, trial.outlet),),
        trial.layer,
        platform=trial.platform,
        also=trial.also,
    )
    event = {**trial.event}
    shift = event.get("resume_shift")
    if shift:
        event["resume_shift"] = [round(x, 3) for x in shift]
    return told(scene, event)


def _upright(
    rng: np.random.Generator, low: NDArray, high: NDArray, radius: float, lean: float = 0.5
) -> tuple[list[m3.Manifold], Passage, NDArray]:
    """Bore from bottom to top that leans a little; its tools, its ports, its middle."""
    room = 1.6 * radius
    a, b = (np.array([*rng.uniform(low[:2] + room, high[:2] - room), z]) for z in (low[2], high[2]))
    b[:2] = np.clip(a[:2] + lean * (b[:2] - a[:2]), low[:2] + room, high[:2] - room)
    along = (b - a) / np.linalg.norm(b - a)
    wide = radius / np.sqrt(along[2])
    tool = shapes.bore(a - 2 * radius * along, b + 2 * radius * along, radius, segments=SEGMENTS)
    ports = Passage("a", disc(a, wide, (0, 0, -1)), disc(b, wide, (0, 0, 1)))
    return [tool], ports, 0.5 * (a + b)


def third_mouth(rng: np.random.Generator, named: bool) -> Scene:
    """A bore beside an outer face with a window in it, and metal before the window."""
    low, high = box(rng)
    layer, radius = thickness(rng), rng.uniform(1.0, 1.7)
    wall = rng.uniform(0.6, 2.0)
    y = rng.uniform(low[1] + 2 * radius, high[1] - 2 * radius)
    axis = np.array([high[0] - wall - radius, y, 0.0])
    square = rng.random() < 0.5
    line = [axis + up(low[2] - BEYOND), axis + up(high[2] + BEYOND)]
    tools = ducts(line, radius, square)
    z = round(rng.uniform(low[2] + 4, high[2] - 4), 1)
    half = rng.uniform(0.5, 1.0) * radius
    tall = half * rng.uniform(1.0, 1.6)
    if square:
        far = axis[0] + wall + 3 * radius
        window = shapes.block((axis[0], y - half, z - tall), (far, y + half, z + tall))
        mouth = np.sqrt(4 * half * tall / np.pi)
    else:
        at = axis + up(z)
        window = shapes.bore(at, (at[0] + wall + 3 * radius, y, z), half, segments=SEGMENTS)
        mouth, tall = half, half
    tools.append(window)
    blank = shapes.block(low, high)
    port = radius * (2 / np.sqrt(np.pi) if square else 1.0)
    third = disc((high[0], y, z), mouth, (1, 0, 0))
    scene = Scene(
        "third mouth closed" if named else "third mouth open",
        as_stored(blank - union(tools)),
        blank,
        (Passage("a", disc(axis + up(low[2]), port, (0, 0, -1)),
                 disc(axis + up(high[2]), port, (0, 0, 1))),),
        layer,
        closed=(third,) if named else (),
        unnamed=() if named else (third,),
    )  # fmt: skip
    if rng.random() < 0.7:
        # A flap over the bore that leaves a gap before the window, or reaches through it.
        gap = rng.uniform(-0.3, 0.8) * wall
        thick = rng.choice([0.1, 0.5, tall])
        flap = shapes.block(
            (axis[0] - 2 * radius, y - 2 * radius, z - 0.5 * thick),
            (high[0] - gap, y + 2 * radius, z + 0.5 * thick),
        )
        return told(replace(scene, plates={"plate": as_stored(flap)}), MESH)
    at = np.floor((z + rng.uniform(-1.2, 1.2) * tall) / layer) * layer
    return told(scene, sheet_at(rng, at, layer))


def bypass(rng: np.random.Generator) -> Scene:
    """A half covered bore, and a way beside it that rejoins over the bore's own column."""
    layer, radius = thickness(rng), rng.uniform(1.0, 1.5)
    small = rng.uniform(0.5, 1.2) * radius
    tall, away = rng.uniform(12, 15), rng.uniform(2.2, 3.2) * radius
    low, high = np.array([-away - small - 1.5, -radius - 2, 0]), np.array([6.0, radius + 2, tall])
    one, two = rng.uniform(2.2, 4.0), rng.uniform(7.5, tall - 2.0 - radius)
    top = min(two + rng.uniform(0.0, 1.0) * radius, tall - radius - 1)
    aside = rng.random() < 0.6
    main = [(0, 0, -BEYOND), (0, 0, top), (high[0] + BEYOND, 0, top)] if aside else [
        (0, 0, -BEYOND), (0, 0, tall + BEYOND)]  # fmt: skip
    around = [(0, 0, one), (-away, 0, one), (-away, 0, two), (rng.uniform(0, 1) * radius, 0, two)]
    tools = ducts(main, radius) + ducts(around, small)
    if rng.random() < 0.3:
        tools += ducts([(-away, 0, two), (-away, rng.uniform(0, 1), two)], small)
    blank = shapes.block(low, high)
    outlet = disc((high[0], 0, top), radius, (1, 0, 0)) if aside else disc(
        (0, 0, tall), radius, (0, 0, 1))  # fmt: skip
    solid, ports = blank - union(tools), [disc((0, 0, 0), radius, (0, 0, -1)), outlet]
    if rng.random() < 0.5:  # the same upside down
        solid = solid.rotate((180, 0, 0)).translate((0, 0, tall))
        flip = np.array([1.0, -1.0, -1.0])
        ports = [
            p._replace(centre=flip * p.centre + up(tall), outward=flip * p.outward) for p in ports
        ]
        blank = blank.rotate((180, 0, 0)).translate((0, 0, tall))
        one, two = tall - two, tall - one
    scene = Scene("bypass", as_stored(solid), blank, (Passage("a", *ports),), layer)
    if rng.random() < 0.6:
        cover = rng.uniform(-1.1, 0.9) * radius
        z = rng.uniform(one + 1.0, two - 1.0)
        thick = float(rng.choice([0.1, 0.4, 1.0]))
        far = -away + small + 0.3 if rng.random() < 0.7 else -radius - 0.3
        plate = shapes.block((far, -radius - 0.5, z), (cover, radius + 0.5, z + thick))
        return turned(told(replace(scene, plates={"plate": as_stored(plate)}), MESH), rng)
    at = round(rng.uniform(one, two) / layer) * layer
    event = sheet_at(rng, at, layer)
    return turned(told(scene, event), rng)


def dead_ends(rng: np.random.Generator) -> Scene:
    """A bent bore with blind bores off it, one of which may meet the sheet or a wall."""
    low, high = box(rng)
    layer, radius = thickness(rng), rng.uniform(0.9, 1.4)
    tools, ports, _ = _upright(rng, low, high, radius)
    for _ in range(int(rng.integers(1, 4))):
        t = rng.uniform(0.15, 0.85)
        start = ports.inlet.centre + t * (ports.outlet.centre - ports.inlet.centre)
        end = rng.uniform(low + 1.5, high - 1.5)
        tools.append(shapes.bore(start, end, rng.uniform(0.4, 1.0) * radius, segments=16))
    blank = shapes.block(low, high)
    scene = Scene("dead ends", as_stored(blank - union(tools)), blank, (ports,), layer)
    event = sheet_at(rng, rng.uniform(low[2] + 2, high[2] - 2), layer)
    return turned(told(scene, event), rng)


def level_faces(rng: np.random.Generator) -> Scene:
    """Chambers whose floors and ceilings lie at the cut or at faces of the sheet's layers."""
    low, high = box(rng)
    layer = thickness(rng)
    height = round(round(rng.uniform(5, high[2] - 5) / layer) * layer, 6)
    event = sheet_at(rng, height, layer)
    top = height + event["layers"] * layer
    radius = rng.uniform(0.9, 1.4)
    faces = [height, height + layer, top, height - event["penetration"], top + layer]
    floor = float(rng.choice([*faces, *(faces[0] - rng.uniform(1, 3, 4))]))
    ceiling = float(
        rng.choice([f for f in faces if f > floor + 1e-6] + [floor + rng.uniform(1, 3)])
    )
    if rng.random() < 0.3:
        ceiling = float(max(height, floor + 1.0))
    a, b = (np.array([*rng.uniform(low[:2] + 2, high[:2] - 2), 0.0]) for _ in range(2))
    corners = np.array([np.minimum(a, b), np.maximum(a, b)])
    room = rng.uniform(0.2, 1.0, 2) + radius
    chamber = shapes.block(
        (*np.maximum(corners[0, :2] - room, low[:2] + 0.5), floor),
        (*np.minimum(corners[1, :2] + room, high[:2] - 0.5), ceiling),
    )
    middle = 0.5 * (floor + ceiling)
    tools = [
        chamber,
        shapes.bore((*a[:2], low[2] - BEYOND), (*a[:2], middle), radius, segments=SEGMENTS),
        shapes.bore((*b[:2], middle), (*b[:2], high[2] + BEYOND), radius, segments=SEGMENTS),
    ]
    if rng.random() < 0.3:  # a pocket whose faces lie there too
        at = rng.uniform(low + 2, high - 2)
        z = float(rng.choice(faces))
        tools.append(shapes.block((at[0] - 1, at[1] - 1, z), (at[0] + 1, at[1] + 1, z + 1.5)))
    blank = shapes.block(low, high)
    ports = Passage(
        "a",
        disc((*a[:2], low[2]), radius, (0, 0, -1)),
        disc((*b[:2], high[2]), radius, (0, 0, 1)),
    )
    scene = Scene("level faces", as_stored(blank - union(tools)), blank, (ports,), layer)
    return told(scene, event)


def lying(rng: np.random.Generator) -> Scene:
    """A channel that lies level, or nearly, with the sheet's faces inside it."""
    layer, radius = thickness(rng), rng.uniform(0.5, 1.6)
    low, high = box(rng)
    z = rng.uniform(5, high[2] - 4)
    tilt = float(rng.choice([0.0, 0.0, rng.uniform(-1.5, 1.5)]))
    y = rng.uniform(low[1] + 2, high[1] - 2, 2)
    a, b = np.array([low[0], y[0], z - tilt]), np.array([high[0], y[1], z + tilt])
    if rng.random() < 0.5:
        b[1] = a[1]
    square = rng.random() < 0.3 and tilt == 0.0
    if square:
        b[1] = a[1]
    along = (b - a) / np.linalg.norm(b - a)
    tools = ducts([a - 2 * along, b + 2 * along], radius, square)
    blank = shapes.block(low, high)
    wide = radius * (2 / np.sqrt(np.pi) if square else 1.0) / np.sqrt(along[0])
    ports = Passage("a", disc(a, wide, (-1, 0, 0)), disc(b, wide, (1, 0, 0)))
    scene = Scene("lying channel", as_stored(blank - union(tools)), blank, (ports,), layer)
    at = round(z + rng.uniform(-1.3, 1.1) * radius, int(rng.choice([1, 3])))
    deep = float(rng.choice([0.0, layer, round(rng.uniform(0, 1.5), 3)]))
    event = sheet_at(rng, at, layer, penetration=deep, resume="height")
    event.pop("resume_shift", None)
    if rng.random() < 0.5 and event["shape"] == "layer":
        event["from_layer"] = max(0, int(at / layer) - int(rng.integers(1, 12)))
    return turned(told(scene, event), rng)


def bodies(rng: np.random.Generator) -> Scene:
    """Measured stray metal of several bodies: a plate, perhaps holed, and specks."""
    low, high = box(rng)
    layer, radius = thickness(rng), rng.uniform(1.0, 1.6)
    tools, ports, middle = _upright(rng, low, high, radius, 0.3)
    normal = (
        np.array([*rng.normal(0, 0.3, 2), 1.0]) if rng.random() < 0.5 else np.array([0, 0, 1.0])
    )
    normal /= np.linalg.norm(normal)
    half = 0.5 * float(rng.choice([0.1, 0.1, 0.5])) * normal
    at = middle + up(rng.uniform(-2, 2))
    plate = shapes.bore(at - half, at + half, rng.uniform(0.8, 3.0) * radius, segments=20)
    if rng.random() < 0.6:
        hole = at + np.array([*rng.uniform(-0.6, 0.6, 2) * radius, 0.0])
        plate -= shapes.bore(
            hole - 2 * normal, hole + 2 * normal, rng.uniform(0.1, 0.7) * radius, segments=16
        )
    for _ in range(int(rng.integers(1, 4))):
        size = rng.uniform(0.2, 0.6)
        spot = rng.uniform(low + 1, high - 1)
        if rng.random() < 0.4:  # in the passage
            t = rng.uniform(0.1, 0.9)
            spot = ports.inlet.centre + t * (ports.outlet.centre - ports.inlet.centre)
            spot = spot + np.array([*rng.uniform(-1, 1, 2) * radius, 0.0])
        plate += m3.Manifold.sphere(size, 12).translate(tuple(spot))
    blank = shapes.block(low, high)
    scene = Scene(
        "measured bodies",
        as_stored(blank - union(tools)),
        blank,
        (ports,),
        layer,
        plates={"plate": as_stored(plate)},
    )
    if rng.random() < 0.2:
        height = rng.uniform(2, high[2] - 3)
        event = sheet_at(rng, height, layer, shape="layer", resume="height")
        event.pop("resume_shift", None)
        return told(scene, event, MESH)
    return turned(told(scene, MESH), rng)


def foreign(rng: np.random.Generator) -> Scene:
    """A shift that opens a bore into its neighbour, and perhaps back."""
    layer, radius = thickness(rng), rng.uniform(0.9, 1.4)
    other = rng.uniform(0.7, 1.3) * radius
    wall = rng.uniform(0.2, 1.2)
    away = radius + other + wall
    tall = rng.uniform(11, 14)
    low, high = np.array([-4.0, -4.0, 0.0]), np.array([away + other + 3.5, 4.0, tall])
    height = round(rng.uniform(4, tall - 4), 2)
    ends = (rng.uniform(1.5, height - 0.5), rng.uniform(height + 1, tall - 1.5))
    tools = ducts([(0, 0, -BEYOND), (0, 0, tall + BEYOND)], radius)
    if rng.random() < 0.5:
        tools.append(shapes.block((away - other, -other, ends[0]), (away + other, other, ends[1])))
    else:
        tools += ducts([(away, 0, ends[0]), (away, 0, ends[1])], other)
    if rng.random() < 0.4:  # the neighbour joins the bore above or below
        z = rng.uniform(ends[0] + 0.3, ends[1] - 0.3)
        tools.append(shapes.bore((0, 0, z), (away, 0, z), 0.6 * other, segments=16))
    blank = shapes.block(low, high)
    ports = Passage("a", disc((0, 0, 0), radius, (0, 0, -1)), disc((0, 0, tall), radius, (0, 0, 1)))
    event = sheet_at(rng, height, layer, shape="layer")
    event["from_layer"] = int(rng.integers(0, 6))
    far = rng.uniform(0.5, 2.3) * radius * float(rng.choice([-1, 1]))
    event["resume_shift"] = [round(far, 3), round(rng.uniform(-0.3, 0.3), 3)]
    if rng.random() < 0.4:
        event["layers"] = 0
        event["next_layer"] = round(height / layer)
        event["height"] = round(event["next_layer"] * layer, 6)
        event["penetration"] = 0.0
        event.pop("resume", None)
    scene = Scene("foreign void", as_stored(blank - union(tools)), blank, (ports,), layer)
    return turned(told(scene, event), rng)


def two_events(rng: np.random.Generator) -> Scene:
    """Two events, one above the other; sometimes measured metal as well."""
    low, high = box(rng, 12, 14)
    layer, radius = thickness(rng), rng.uniform(1.0, 1.5)
    tools, ports, _ = _upright(rng, low, high, radius, 0.7)
    heights = np.sort(rng.uniform(2, high[2] - 4, 2)) + np.array([0.0, 2.0])
    blank = shapes.block(low, high)
    scene = Scene("two events", as_stored(blank - union(tools)), blank, (ports,), layer)
    events = [sheet_at(rng, round(h, 2), layer) for h in heights]
    if rng.random() < 0.3:
        now = int(heights[1] / layer)
        events[1]["next_layer"] = max(1, now + int(rng.integers(-4, 5)))
        events[1].pop("resume", None)
    return told(scene, *events)


def also_melted(rng: np.random.Generator) -> Scene:
    """A part over its platform, with supports whose slices came into it, or none known."""
    low, high = box(rng)
    layer, radius = thickness(rng), rng.uniform(0.9, 1.5)
    tools, ports, middle = _upright(rng, low, high, radius, 0.4)
    platform = -round(rng.uniform(1.0, 2.0), 1)
    posts = []
    for _ in range(int(rng.integers(1, 5))):
        at, size = rng.uniform(low[:2], high[:2]), rng.uniform(0.5, 4.0)
        posts.append(
            shapes.block((*(at - size), platform), (*(at + size), float(rng.choice([0.0, 0.01]))))
        )
    if rng.random() < 0.3:  # a ring under the bore
        foot, head = (np.array([*middle[:2], z]) for z in (platform, 0.0))
        ring = shapes.bore(foot, head, 3.0, segments=16)
        posts = [ring - shapes.bore(foot - up(1), head + up(1), 1.2, segments=16)]
    event = sheet_at(rng, rng.uniform(2, high[2] - 2) - platform, layer, shape="layer")
    event["from_layer"] = int(rng.integers(0, 9))
    blank = shapes.block(low, high)
    scene = Scene(
        "also melted",
        as_stored(blank - union(tools)),
        blank,
        (ports,),
        layer,
        platform=platform,
        also=as_stored(union(posts)),
    )
    return told(scene, event)


def log(rng: np.random.Generator) -> Scene:
    """The event as the machine's log has it."""
    low, high = box(rng)
    layer, radius = thickness(rng), rng.uniform(1.0, 1.6)
    tools, ports, _ = _upright(rng, low, high, radius, 0.8)
    last = int(high[2] / layer)
    at = int(rng.uniform(0.25, 0.75) * last)
    first, count = int(rng.integers(0, max(1, at - 3))), int(rng.integers(1, 4))
    after = int(rng.choice([at, at + count, at + count]))
    base = int(rng.integers(0, 2))
    ranges = [f"{base}-{at - 1 + base}", f"{first + base}-{first + count - 1 + base}"]
    ranges.append(f"{after + base}-{last - 1 + base}")
    event = {
        "shape": "layer",
        "height": round(at * layer, 9),
        "from_layer": first,
        "layers": count,
        "next_layer": after,
        "penetration": 2 * layer,
    }
    blank = shapes.block(low, high)
    scene = Scene("log", as_stored(blank - union(tools)), blank, (ports,), layer)
    return replace(
        scene,
        events=((event,),),
        melted={"layers": ranges, "first_number": base},
    )


def height_range(rng: np.random.Generator) -> Scene:
    """A height that is known within an interval only."""
    scene = lying(rng) if rng.random() < 0.5 else dead_ends(rng)
    (event,) = scene.strays
    half = round(float(rng.choice([0.05, 0.1, 0.3])), 3)
    heights = event["height"] + half * np.linspace(-1, 1, 5)
    table = {**event, "height_uncertainty": half}
    return replace(
        scene,
        kind="height range",
        strays=(table,),
        events=tuple(({**event, "height": float(h)},) for h in heights),
        exact=False,
    )


def layers_range(rng: np.random.Generator) -> Scene:
    """A number of layers, or a way to resume, that is not known."""
    scene = dead_ends(rng)
    (event,) = scene.strays
    low = int(rng.integers(1, 3))
    counts = range(low, low + int(rng.integers(1, 3)))
    resumes = ["height", "layer"] if rng.random() < 0.5 else [event.get("resume", "height")]
    table = {**event, "layers": [counts[0], counts[-1]]}
    if len(resumes) == 2:
        table["resume"] = "unknown"
    if rng.random() < 0.5:
        table["penetration"] = [0.5 * event["penetration"], event["penetration"]]
    events = tuple(({**event, "layers": n, "resume": how},) for n in counts for how in resumes)
    return replace(scene, kind="layers range", strays=(table,), events=events, exact=False)


def step_port(rng: np.random.Generator) -> Scene:
    """A port whose rim lies on a step, and perhaps a second bore close to it."""
    low, high = box(rng)
    layer, radius = thickness(rng), rng.uniform(1.0, 1.5)
    x, y = (rng.uniform(low[k] + 3.5, high[k] - 3.5) for k in range(2))
    down = rng.uniform(0.3, 1.5)
    top = high[2] - down
    cut = x + rng.uniform(-0.8, 0.8) * radius
    blank = shapes.block(low, high) - shapes.block(
        (cut, low[1] - 1, top), (high[0] + 1, high[1] + 1, high[2] + 1)
    )
    end = np.array([*rng.uniform(low[:2] + 2, high[:2] - 2), low[2]])
    turn = np.array([x, y, rng.uniform(5, 7)])
    tools = ducts([(x, y, high[2] + BEYOND), turn, (*end[:2], 3.0), (*end[:2], -BEYOND)], radius)
    ports = Passage("a", disc(end, radius, (0, 0, -1)), disc((x, y, top), radius, (0, 0, 1)))
    scene = Scene("port on a step", as_stored(blank - union(tools)), blank, (ports,), layer)
    height = float(rng.choice([rng.uniform(2, top - 2.5), rng.uniform(7, top - 2.5)]))
    event = sheet_at(rng, round(height, 2), layer, resume="height")
    return turned(told(scene, event), rng)


def cut_port(rng: np.random.Generator) -> Scene:
    """A port in a side face with the sheet in it; nothing moves."""
    low, high = box(rng)
    layer, radius = thickness(rng), rng.uniform(0.9, 1.5)
    z = rng.uniform(3, high[2] - 3)
    a = np.array([low[0], rng.uniform(low[1] + 3, high[1] - 3), z])
    b = np.array([*rng.uniform(low[:2] + 3, high[:2] - 3), high[2]])
    turn = np.array([b[0], b[1], z])
    tools = ducts([a - np.array([BEYOND, 0, 0]), (a[0] + 3, a[1], z), turn, b + up(BEYOND)], radius)
    blank = shapes.block(low, high)
    ports = Passage("a", disc(a, radius, (-1, 0, 0)), disc(b, radius, (0, 0, 1)))
    scene = Scene("port in the sheet", as_stored(blank - union(tools)), blank, (ports,), layer)
    at = round(z + rng.uniform(-1.1, 1.0) * radius, 2)
    event = sheet_at(rng, at, layer, resume="height")
    event.pop("resume_shift", None)
    return turned(told(scene, event), rng)


def feet(rng: np.random.Generator) -> Scene:
    """A body on legs: its first slices are legs and air."""
    low, high = box(rng)
    low[2] = round(rng.uniform(1.0, 2.0), 1)
    layer, radius = thickness(rng), rng.uniform(0.9, 1.5)
    tools, ports, _ = _upright(rng, low, high, radius, 0.4)
    legs = []
    for _ in range(int(rng.integers(2, 5))):
        at = np.array([*rng.uniform(low[:2] + 1, high[:2] - 1)])
        if np.linalg.norm(at - ports.inlet.centre[:2]) < 2.0 + 1.8 * radius:
            continue  # not before the port
        foot = np.array([*at, 0.0])
        legs.append(shapes.bore(foot, foot + up(low[2] + 0.2), rng.uniform(0.5, 1.6), segments=16))
    blank = union([shapes.block(low, high), *legs]) if legs else shapes.block(low, high)
    event = sheet_at(rng, round(rng.uniform(low[2] + 2, high[2] - 2), 2), layer, shape="layer")
    event["from_layer"] = int(rng.integers(0, 14))
    solid = blank - union(tools)
    also = None
    if rng.random() < 0.5 or not legs:  # the legs are supports, not the part
        also = as_stored(union(legs or [shapes.block((*low[:2], 0), (*(low[:2] + 4), low[2]))]))
        blank = shapes.block(low, high)
        solid = blank - union(tools)
    scene = Scene("on legs", as_stored(solid), blank, (ports,), layer, also=also)
    return told(scene, event)


def thin_walls(rng: np.random.Generator) -> Scene:
    """A bore to be drilled open, its neighbour behind a wall thinner than the cells."""
    layer, radius = 0.2, float(rng.choice([1.5, 2.0]))
    wall = float(rng.choice([0.1, 0.25, 0.5, 1.0, 2.0]))
    other = rng.uniform(0.8, 1.5)
    away, tall = radius + wall + other, rng.uniform(11, 14)
    low = np.array([-radius - 2.5, -radius - 2.0, 0.0])
    high = np.array([away + other + 2.0, radius + 2.0, tall])
    lean = float(rng.choice([0.0, rng.uniform(-0.12, 0.12)]))
    # The drilled bore leans in y, its neighbour stands or leans with it.
    a, b = np.array([0.0, -0.5 * lean * tall, 0.0]), np.array([0.0, 0.5 * lean * tall, tall])
    along = (b - a) / np.linalg.norm(b - a)
    tools = [shapes.bore(a - 2 * along, b + 2 * along, radius, segments=32)]
    ends = (disc(a, radius, (0, 0, -1), 1.02), disc(b, radius, (0, 0, 1), 1.02))
    passages = [Passage("a", *ends)]
    side = np.array([away, 0.0, 0.0])
    short = rng.random() < 0.3
    if short:  # a neighbour that is no passage
        c, d = a + side + 0.25 * (b - a), a + side + 0.75 * (b - a)
        tools.append(shapes.bore(c, d, other, segments=24))
    else:
        c, d = a + side, b + side
        tools.append(shapes.bore(c - 2 * along, d + 2 * along, other, segments=24))
        ends = (disc(c, other, (0, 0, -1), 1.02), disc(d, other, (0, 0, 1), 1.02))
        passages.append(Passage("b", *ends))
    blank = shapes.block(low, high)
    z = rng.uniform(3, tall - 3)
    at = a + (b - a) * z / tall
    off = np.array([rng.uniform(-0.5, 0.5), rng.uniform(-0.5, 0.5), 0.0])
    plate = shapes.bore(at, at + up(0.3), radius + 0.05, segments=32)
    if rng.random() < 0.5:
        plate -= shapes.bore(at + off - up(1), at + off + up(1), 0.6, segments=16)
    if not short and rng.random() < 0.4:  # both are to be drilled
        at = c + (d - c) * z / tall
        plate += shapes.bore(at, at + up(0.3), other + 0.05, segments=24)
    share = float(rng.choice([0.8, 0.9, 1.0, 1.1]))
    sizes = np.round(2 * radius * np.array([share, share + 0.1, share + 0.2]), 1)
    sizes = np.unique([*sizes, *np.round(2 * other * np.array([0.8, 1.0]), 1)])
    drilling: dict[str, Any] = {
        "series": [],
        "drills": [{"diameter": float(s), "flute": 60.0, "overall": 100.0} for s in sizes],
        "wall_allowance": float(rng.choice([0.0, 0.3, 0.6])),
        "holder_diameter": 10.0,
        "max_length_to_diameter": 20.0,
    }
    if rng.random() < 0.7:
        drilling["min_wall"] = float(rng.choice([0.1, 0.3, 1.0]))
    tables: dict[str, Any] = {"drilling": drilling}
    if len(passages) == 2:
        tables["separate"] = [{"passages": ["a", "b"]}]
    scene = Scene(
        "thin walls, drilled",
        as_stored(blank - union(tools)),
        blank,
        tuple(passages),
        layer,
        plates={"plate": as_stored(plate)},
        tables=tables,
        needs={
            "a": round(2 * radius * min(share, 0.95) - 0.05, 2),
            "b": round(2 * other * 0.8 - 0.15, 2),
        },
    )
    return turned(told(scene, {**MESH, "source": "measured"}), rng)


KINDS: dict[str, Callable[[np.random.Generator], Scene]] = {
    "bent": bent,
    "third mouth closed": lambda rng: third_mouth(rng, True),
    "third mouth open": lambda rng: third_mouth(rng, False),
    "bypass": bypass,
    "dead ends": dead_ends,
    "level faces": level_faces,
    "lying channel": lying,
    "measured bodies": bodies,
    "foreign void": foreign,
    "two events": two_events,
    "also melted": also_melted,
    "log": log,
    "height range": height_range,
    "layers range": layers_range,
    "port on a step": step_port,
    "port in the sheet": cut_port,
    "on legs": feet,
    "thin walls, drilled": thin_walls,
}
SHARES = (0.4, 0.5, 0.6, 0.7, 0.75, 0.8, 1.25, 1.35, 1.5, 1.7, 2.0, 0.95, 1.05)
"""Requirement over what is true; two of them within what most brackets tell."""


def sound(scene: Scene) -> bool:
    """Whether every passage of the nominal part joins its ports and is closed to the outside."""
    nominal = booleans.Predicted(scene.nominal, [], [])
    behind = booleans.behind(nominal, scene.discs)
    ends = [behind[2 * n : 2 * n + 2] for n in range(len(scene.passages))]
    if any(booleans.OUTSIDE in a | b or not a & b for a, b in ends):
        return False
    low = scene.nominal.bounding_box()[2]
    for event in itertools.chain(*scene.events):
        if event.get("shape") != "mesh" and event["layers"] and scene.also is None:
            first = scene.platform + (event.get("from_layer", 0) + 0.5) * scene.layer
            if event.get("shape") != "plane" and first < low:
                return False  # what such a slice holds the case does not say
    return True


def make_scene(seed: int) -> Scene:
    """Make the part of a seed; one whose nominal passage leaks or ends is drawn again."""
    kind = list(KINDS)[seed % len(KINDS)]
    for attempt in range(40):
        rng = np.random.default_rng((seed, attempt))
        try:
            scene = KINDS[kind](rng)
        except ValueError:
            continue  # a tool without volume
        if sound(scene):
            share = float(rng.choice(SHARES))
            return replace(scene, share=share, pitch=float(rng.choice([0.4, 0.5, 0.6])))
    raise RuntimeError(f"seed {seed}: no sound part of kind {kind}")
