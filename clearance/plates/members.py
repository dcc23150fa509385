"""The parts of a plate made ready: each with its case under the event, and its neighbours.

In: a `Plate`. Out: `Member`s, each a part with a `Task` or the reason why it has none.
A task holds all that its computation depends on, can go to another process or machine,
and is named by a hash of its inputs: equal names, equal results. Of each mesh only the
box is kept, so that memory does not grow with the number of parts.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance import __version__
from clearance.case.pitch import default_pitch
from clearance.case.plate import PlacedPart, Plate, case_on_plate, check_scan
from clearance.case.read import Case
from clearance.case.tables import PartTable
from clearance.errors import CaseError, ClearanceError
from clearance.geometry.planes import Plane
from clearance.geometry.sections import metal
from clearance.geometry.soup import extent
from clearance.mesh.part import file_sha256, read_part, read_triangles
from clearance.plates import event, placed
from clearance.plates.placed import Neighbour, Place
from clearance.system.processes import Job

Floats = NDArray[np.float64]
Outline = list[list[list[float]]]
"""Rings of points (x, y), mm."""

BASE_BYTES, TRIANGLE_BYTES, CELL_BYTES = 300e6, 1500.0, 4.0
"""Memory of a check: of the program, for each triangle, for each cell of the part's box at its
pitch. Measured over the shipped designs at 0.2 and 0.1 mm (docs: plate), where it gives 1.05 to
1.6 times the peak."""


@dataclass(frozen=True, eq=False, slots=True)
class Survey:
    """What the plate has to know of a mesh before its part is computed."""

    bounds: Floats
    triangles: int


@dataclass(frozen=True)
class Task:
    """A distinct part under its event: everything that its computation depends on.

    Attributes
    ----------
    key : str
        SHA-256 of the inputs: case text, bytes of the meshes, event, program version, and
        what the neighbours' slices may bring along.
    case : Case
    bounds : ((float, float), (float, float)), mm
        Lowest and highest x and y of the part.
    platform_z : float, mm
    stop_mm : float or None
        Height above the platform at which the machine stopped last, whether or not this part
        got anything from it.
    neighbours : tuple of Neighbour
        Parts whose footprints overlap this one's.
    others : tuple of Neighbour
        While it stands on the platform: all other parts of the plate.
    need_bytes : float
    verify : bool, optional
        Whether a second opinion is asked for; None: by the part's size.
    pages : bool
        Whether a page to turn in the hand is made of it too.
    """

    key: str
    case: Case
    bounds: tuple[tuple[float, float], tuple[float, float]]
    platform_z: float
    stop_mm: float | None
    neighbours: tuple[Neighbour, ...]
    need_bytes: float
    verify: bool | None = None
    others: tuple[Neighbour, ...] = ()
    pages: bool = False

    def files(self) -> tuple[Path, ...]:
        """Every file that its computation reads."""
        return files_of(self.case, (*self.neighbours, *self.others))

    def relocated(self, new: Callable[[Path], Path]) -> Task:
        """Return the task with every file at another place."""
        return replace(
            self,
            case=self.case.relocated(new),
            neighbours=_relocated(self.neighbours, new),
            others=_relocated(self.others, new),
        )


def _relocated(parts: Iterable[Neighbour], new: Callable[[Path], Path]) -> tuple[Neighbour, ...]:
    return tuple(replace(n, meshes=tuple(map(new, n.meshes))) for n in parts)


@dataclass(frozen=True)
class Label:
    """What tells a part of the plate from others that are equal.

    Attributes
    ----------
    name, serial, plate : str
        The serial number is empty where none is known to be this part's.
    at : (float, float), mm
    turn : float, degrees
    """

    name: str
    serial: str
    plate: str
    at: tuple[float, float]
    turn: float

    def as_json(self) -> dict[str, Any]:
        """As it stands in the part's result."""
        return {
            "name": self.name,
            "serial": self.serial or None,
            "plate": self.plate,
            "at_mm": list(self.at),
            "turn_deg": self.turn,
        }


@dataclass(frozen=True)
class Member:
    """A part of the plate and its task, or what is wrong with its case.

    Attributes
    ----------
    part : PlacedPart
    label : Label
    task : Task or None
        None where something is wrong, and for a coupon without a passage.
    fault : str
    told : tuple of str
        What happened to it; empty where something is wrong.
    top_mm : float or None
        Height of the nominal part above the platform.
    crossed_mm : tuple of float, or None
        Heights of the event above which it goes on.
    stop_mm : float or None
        The highest of the event.
    outline_mm : list of list of (x, y)
        Of a coupon without a passage, at the stop or at half its height.
    bottom_mm : float or None
        Height of the nominal part's lowest face above the platform.
    joints_mm : tuple of (low, high)
        Of each of `crossed_mm`: from there to the top of the wrong layers on it.
    """

    part: PlacedPart
    label: Label
    task: Task | None
    fault: str = ""
    told: tuple[str, ...] = ()
    top_mm: float | None = None
    crossed_mm: tuple[float, ...] | None = None
    stop_mm: float | None = None
    outline_mm: Outline = field(default_factory=list)
    bottom_mm: float | None = None
    joints_mm: tuple[tuple[float, float], ...] = ()

    @property
    def begun(self) -> bool:
        """Whether anything of it lies below the last stop; True where that is not known."""
        if self.bottom_mm is None or self.stop_mm is None:
            return True
        return self.bottom_mm < self.stop_mm - event.ABOVE_MM


# ---- from the plate to tasks -----------------------------------------------------------------


@dataclass
class _Reader:
    """Reads each case, mesh and hash once, and keeps of a mesh only its box."""

    plate: Plate
    verify: bool | None = None
    pages: bool = False
    _cases: dict[tuple[Any, ...], Case | ClearanceError] = field(default_factory=dict)
    _surveys: dict[tuple[Any, ...], Survey | ClearanceError] = field(default_factory=dict)
    _outlines: dict[tuple[Any, ...], Any] = field(default_factory=dict)
    _hashes: dict[Path, str] = field(default_factory=dict)

    def case(self, part: PlacedPart) -> Case:
        """Case of a part under the plate's event."""
        key = (part.case, part.turn, *(getattr(part, name) for name in _CASE_KEYS))
        if key not in self._cases:
            self._cases[key] = _or_fault(lambda: case_on_plate(self.plate, part))
        return _raised(self._cases[key])

    def survey(self, part: PartTable) -> Survey:
        """Box of a part's mesh and the number of its triangles."""
        key = _of_mesh(part)
        if key not in self._surveys:
            self._surveys[key] = _or_fault(lambda: _survey(part))
        return _raised(self._surveys[key])

    def outline(self, one: _Standing, stops: Sequence[float]) -> Outline:
        """Outline of a part that is not computed, at the last stop or at half its height."""
        part = one.case.part
        height = max((h for h in stops if h < one.top), default=0.5 * one.top)
        key = (*_of_mesh(part), one.platform_z + height)
        if key not in self._outlines:
            self._outlines[key] = _or_fault(lambda: _outline(part, one.platform_z + height))
        return _raised(self._outlines[key])

    def sha256(self, path: Path) -> str:
        """Hash of a file."""
        if path not in self._hashes:
            self._hashes[path] = file_sha256(path)
        return self._hashes[path]


_CASE_KEYS = ("layers", "resume", "next_layer", "resume_shift", "coupon")


def _or_fault(make: Callable[[], Any]) -> Any:
    try:
        return make()
    except ClearanceError as fault:
        return fault


def _raised(found: Any) -> Any:
    if isinstance(found, ClearanceError):
        raise found
    return found


def _of_mesh(part: PartTable) -> tuple[Any, ...]:
    """What the triangles of a part depend on."""
    return part.mesh, part.unit, part.build_direction, part.item


def _survey(part: PartTable) -> Survey:
    triangles, _ = read_triangles(*_of_mesh(part))
    return Survey(extent(triangles), len(triangles))


def _outline(part: PartTable, z: float) -> Outline:
    read = read_part(part.mesh, part.unit, build_direction=part.build_direction, item=part.item)
    return placed.outline(metal(read.triangles, Plane.level(z), overlapping=True))


@dataclass(frozen=True, eq=False)
class _Standing:
    """A part whose case and mesh can be read."""

    number: int
    part: PlacedPart
    case: Case
    survey: Survey
    footprint: Any
    platform_z: float

    @property
    def place(self) -> Place:
        return Place(self.part.at, self.part.turn)

    @property
    def top(self) -> float:
        """Height above the platform, mm."""
        return float(self.survey.bounds[1, 2]) - self.platform_z

    @property
    def bottom(self) -> float:
        """Height of its lowest face above the platform, mm."""
        return float(self.survey.bounds[0, 2]) - self.platform_z


def members(plate: Plate, verify: bool | None = None, pages: bool = False) -> tuple[Member, ...]:
    """Read the cases of all parts and find what each depends on, in the plate's order.

    With `verify` a second opinion is asked for on every part; with None up to a fixed size. With
    `pages` a page to turn in the hand is made of each.

    Raises
    ------
    CaseError
        The plate's first wrong layer lies above all of its parts.
    """
    reader = _Reader(plate, verify, pages)
    found: dict[int, Member] = {}
    standing: list[_Standing] = []
    for number, part in enumerate(plate.part):
        try:
            standing.append(_standing(reader, number, part))
        except ClearanceError as fault:
            found[number] = Member(part, _label(plate, part), None, str(fault))
    _check_slices(plate, standing)
    overlapping = placed.over([one.footprint for one in standing])
    for one, numbers in zip(standing, overlapping, strict=True):
        others = [standing[n] for n in numbers]
        try:
            everyone = [o for o in standing if o is not one]
            check_scan(one.case, {other.part.name: other.case for other in everyone})
            found[one.number] = _member(reader, one, others, everyone)
        except ClearanceError as fault:
            label = _label(plate, one.part, one.case)
            found[one.number] = Member(one.part, label, None, str(fault))
    return tuple(found[number] for number in range(len(plate.part)))


def _member(
    reader: _Reader, one: _Standing, others: Sequence[_Standing], everyone: Sequence[_Standing]
) -> Member:
    plate, case = reader.plate, one.case
    stops = event.heights(plate, case)
    # A shift is given in the platform's axes, and the case has it in those of the turned part.
    unturned = reader.case(one.part.model_copy(update={"turn": 0.0}))
    crossed = event.crossed(stops, one.top, one.bottom)
    return Member(
        one.part,
        _label(plate, one.part, case),
        _task(reader, one, others, everyone) if case.passage else None,
        told=event.told(plate, unturned),
        top_mm=one.top,
        crossed_mm=crossed,
        stop_mm=max(stops, default=None),
        outline_mm=[] if case.passage else reader.outline(one, stops),
        bottom_mm=one.bottom,
        joints_mm=event.joints(case, crossed),
    )


def _label(plate: Plate, part: PlacedPart, case: Case | None = None) -> Label:
    """The label of a part; a case that several parts share tells nobody's serial number."""
    serial = part.serial
    if serial is None and case is not None and sum(p.case == part.case for p in plate.part) == 1:
        serial = case.record.serial
    return Label(part.name, serial or "", plate.name, part.at, part.turn)


def jobs(tasks: Iterable[Task]) -> list[Job]:
    """Jobs of tasks."""
    return [Job(task.key, task, task.need_bytes) for task in tasks]


def beyond_platform(plate: Plate, found: Sequence[Member]) -> list[str]:
    """Notices of parts that stand out of the platform."""
    half = 0.5 * np.asarray(plate.size)
    out = []
    for member in found:
        if member.task is None:
            continue
        place = Place(member.part.at, member.part.turn)
        x0, y0, x1, y1 = placed.footprint(member.task.bounds, place).bounds
        if min(x0 + half[0], y0 + half[1], half[0] - x1, half[1] - y1) < -1e-6:
            out.append(f"{member.part.name} stands out of the platform: check `at` and `size`")
    return out


def asked(found: Sequence[Member]) -> list[str]:
    """Whether a second opinion was asked for; each part's result says what came of it."""
    wanted = {member.task.verify for member in found if member.task is not None}
    words = {None: "asked for by each part's size", True: "asked for every part"}
    return [f"second opinion: {words.get(one, 'not asked for: --no-verify')}" for one in wanted]


def _standing(reader: _Reader, number: int, part: PlacedPart) -> _Standing:
    case = reader.case(part)
    survey = reader.survey(case.part)
    return _Standing(
        number,
        part,
        case,
        survey,
        placed.footprint(survey.bounds, Place(part.at, part.turn)),
        case.part.platform(float(survey.bounds[0, 2])),
    )


def _check_slices(plate: Plate, standing: Sequence[_Standing]) -> None:
    """A slice beyond one part is that of a taller one; beyond all it is a mistake."""
    for number, stray in enumerate(plate.stray):
        if stray.shape != "layer" or not standing:
            continue
        last = max(int(s.top / s.case.part.layer_thickness - 0.5 + 1e-9) for s in standing)
        if (stray.from_layer or 0) > last:
            raise CaseError(
                f"{plate.path}: [[stray]] number {number + 1} from_layer: found "
                f"{stray.from_layer}, expected at most {last}, the last layer of the tallest part"
            )


def _task(
    reader: _Reader, one: _Standing, others: Sequence[_Standing], everyone: Sequence[_Standing]
) -> Task:
    """The task of a part: `others` stand over its place in plan, `everyone` on the platform."""
    case = one.case
    # Without an event of the plate each case has its own, and nothing is known of the others.
    slices = placed.slice_heights(case, one.platform_z) if reader.plate.stray else []
    neighbours = tuple(_neighbour(one, other) for other in others if slices and _melted_too(other))
    around = everyone if case.state.on_platform else []
    on_platform = tuple(_neighbour(one, other) for other in around)
    stop = max(event.heights(reader.plate, case), default=None)
    pitch = _pitch(case, one.survey.bounds)
    cells = float(np.prod(one.survey.bounds[1] - one.survey.bounds[0])) / pitch**3
    count = one.survey.triangles + sum(o.survey.triangles for o in others if neighbours)
    (x0, y0), (x1, y1) = ((float(v) for v in corner[:2]) for corner in one.survey.bounds)
    return Task(
        key=_key(reader, case, stop, neighbours, on_platform),
        case=case,
        bounds=((x0, y0), (x1, y1)),
        platform_z=one.platform_z,
        stop_mm=stop,
        neighbours=neighbours,
        need_bytes=BASE_BYTES + TRIANGLE_BYTES * count + CELL_BYTES * cells,
        verify=reader.verify,
        others=on_platform,
        pages=reader.pages,
    )


def _pitch(case: Case, bounds: Floats) -> float:
    return case.grid.pitch or default_pitch(case, *bounds)


def _melted_too(other: _Standing) -> bool:
    """Whether the stray slices of another part were melted at all: it may have been left out."""
    return any(stray.layers_high > 0 for stray in other.case.stray)


def _neighbour(one: _Standing, other: _Standing) -> Neighbour:
    part = other.case.part
    return Neighbour(
        other.part.name,
        (part.mesh, *part.also_melted),
        part.unit,
        other.place.within(one.place),
        one.platform_z - other.platform_z,
        tuple(map(tuple, other.survey.bounds.tolist())),
        part.build_direction,
        part.item,
    )


def files_of(case: Case, neighbours: Sequence[Neighbour] = ()) -> tuple[Path, ...]:
    """Every mesh file that a case and its neighbours read, each once."""
    beside = [mesh for neighbour in neighbours for mesh in neighbour.meshes]
    return tuple(dict.fromkeys([*case.files[1:], *beside]))


def _key(
    reader: _Reader,
    case: Case,
    stop: float | None,
    neighbours: Sequence[Neighbour],
    on_platform: Sequence[Neighbour],
) -> str:
    """Name of the inputs; where the files lie does not matter."""

    def plain(value: Any) -> Any:
        return reader.sha256(value) if isinstance(value, Path) else str(value)

    inputs = [
        __version__,
        "sheet with a label, finding in short and next step",
        case.path.name,
        case.text_sha256,
        [reader.sha256(path) for path in case.files[1:]],
        [dataclasses.asdict(stray) for stray in case.stray],
        stop,
        [*case.translations, "", *case.assumptions, "", *case.notices],
        [dataclasses.asdict(_rounded(neighbour)) for neighbour in neighbours],
        [dataclasses.asdict(_rounded(neighbour)) for neighbour in on_platform],
        reader.verify,
        *(["with a page"] if reader.pages else []),
    ]
    text = json.dumps(inputs, default=plain, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _rounded(neighbour: Neighbour) -> Neighbour:
    place = neighbour.place
    at = (round(place.at[0], 6) + 0.0, round(place.at[1], 6) + 0.0)
    return replace(neighbour, place=Place(at, round(place.turn, 6)))
