"""The spine of a plate run: what is known is kept, what is new is computed, all is summed up.

In: the members of a plate, its folder, and a way to spread jobs over processes or
machines. Out: the files of each part as it ends, and a `Summary` of the plate, whose
JSON and table it writes. Drawing the map is left to `plate_plots`.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from clearance.case.plate import Plate
from clearance.checking import CAUTIONS
from clearance.disposition.known import GRAVITY as RECOMMENDATIONS
from clearance.plates.folder import PARTS, Folder
from clearance.plates.members import Member, asked, beyond_platform, jobs
from clearance.plates.table import as_csv, as_xlsx
from clearance.result import PROGRAM, as_text
from clearance.result.plate import (
    PlatePart,
    PlateResult,
    PlateSummary,
    StopBuilding,
    Verdict,
    WorstPassage,
)
from clearance.system.files import write_whole
from clearance.system.processes import Job, Outcome

GRAVITY: tuple[str, ...] = ("no verdict", "error", *RECOMMENDATIONS)
"""Recommendations, the gravest first, with what stands for one where there is none."""
STATUS_GRAVITY = (1, 2, 3, 4, 0)
STATES = ("blocked", "restricted", "undetermined", "open")
NO_VERDICT, BAD_INPUT, UNDETERMINED = 1, 2, 4

Spread = Callable[[list[Job]], Iterator[tuple[Job, Outcome]]]


@dataclass
class Tell:
    """What the run tells while it goes on; silent by default."""

    kept: Callable[[int], None] = lambda count: None
    begins: Callable[[int, int], None] = lambda parts, distinct: None
    ended: Callable[[PlatePart, Outcome | None], None] = lambda entry, outcome: None


@dataclass(frozen=True)
class Summary:
    """What is known of the plate.

    Attributes
    ----------
    data : PlateSummary
        The content of plate.json but for the hash of the map.
    outlines : dict of str to list
        Outlines in the part's own coordinates, by name; none where nothing was computed.
    boxes : dict of str to ((float, float), (float, float))
        Lowest and highest x and y of the parts whose mesh could be read.
    same : dict of str to str
        Hash of the inputs, by name: parts with one hash have one result.
    """

    data: PlateSummary
    outlines: dict[str, list[list[tuple[float, float]]]]
    boxes: dict[str, tuple[tuple[float, float], tuple[float, float]]]
    same: dict[str, str]

    @property
    def exit_status(self) -> int:
        """The gravest of all parts."""
        return self.data["exit_status"]


@dataclass
class _Run:
    plate: Plate
    folder: Folder
    tell: Tell
    entries: dict[str, PlatePart] = field(default_factory=dict)
    outlines: dict[str, Any] = field(default_factory=dict)
    _shared: dict[str, Any] = field(default_factory=dict)

    def known(self, member: Member, data: dict[str, Any]) -> PlatePart:
        """Keep what the summary needs of a result; outlines of equal parts are one object."""
        assert member.task is not None
        name = member.part.name
        outline = self._shared.setdefault(member.task.key, data["plate"]["outline_mm"])
        self.outlines[name] = outline
        self.entries[name] = self._entry(member, _verdict(data))
        return self.entries[name]

    def failed(self, member: Member, recommendation: str, status: int, why: str) -> PlatePart:
        """Enter a part without a result; one of an earlier run no longer holds."""
        name = member.part.name
        self.folder.forget(name)
        found: Verdict = {
            "recommendation": recommendation,
            "exit_status": status,
            "reasons": [why],
            "worst_passage": None,
            "result": None,
            "height_mm": None,
            "height_at_event_mm": None,
            "metal_mm3": None,
            "metal_at_event_mm3": None,
            "mass_g": None,
            "mass_at_event_g": None,
            "seconds": None,
        }
        self.entries[name] = self._entry(member, found)
        return self.entries[name]

    def _entry(self, member: Member, found: Verdict) -> PlatePart:
        part = member.part
        case = Path(os.path.relpath(part.case, self.plate.path.parent)).as_posix()
        return {
            "name": part.name,
            "serial": member.label.serial or None,
            "case": case,
            "at_mm": part.at,
            "turn_deg": part.turn,
            **found,
            "inputs_sha256": None if member.task is None else member.task.key,
        }


def run(
    plate: Plate,
    members: Sequence[Member],
    folder: Folder,
    spread: Spread,
    tell: Tell | None = None,
) -> Summary:
    """Compute what is not known yet, write each part as it ends, and sum up.

    Parameters
    ----------
    plate : Plate
    members : sequence of Member
    folder : Folder
        Held by this run.
    spread : callable
        Does jobs and gives their outcomes.
    tell : Tell, optional

    Raises
    ------
    ClearanceError
        A file cannot be written. What is written by then is whole and kept.
    """
    state = _Run(plate, folder, tell or Tell())
    groups: dict[str, list[Member]] = {}
    for member in members:
        if member.task is not None:
            groups.setdefault(member.task.key, []).append(member)
    left, renamed = _kept(state, groups)
    bad = [member for member in members if member.task is None]
    if left or renamed or bad:
        folder.withdraw()
    for member, data in renamed:
        _put(state, member, data, folder.sheet(member.part.name).read_bytes())
        state.tell.ended(state.known(member, data), None)
    for member in bad:
        state.tell.ended(state.failed(member, "error", BAD_INPUT, member.fault), None)
    new = _copied(state, left)
    state.tell.begins(sum(len(group) for group in new.values()), len(new))
    tasks = [group[0].task for group in new.values() if group[0].task is not None]
    outcomes = spread(jobs(tasks))
    with contextlib.closing(outcomes):  # type: ignore[type-var]
        for job, outcome in outcomes:
            for member in new[job.key]:
                state.tell.ended(_enter(state, member, outcome), outcome)
    return _summary(state, members)


def _kept(
    state: _Run, groups: dict[str, list[Member]]
) -> tuple[dict[str, list[Member]], list[tuple[Member, dict[str, Any]]]]:
    """Enter what an earlier run left; give the rest, and what only its label is wrong of."""
    left: dict[str, list[Member]] = {}
    renamed = []
    kept = 0
    for key, group in groups.items():
        for member in group:
            data = state.folder.stored(member.part.name, key)
            if data is None:
                left.setdefault(key, []).append(member)
            elif data["plate"]["label"] != member.label.as_json():
                renamed.append((member, data))
            else:
                state.known(member, data)
                kept += 1
    state.tell.kept(kept)
    return left, renamed


def _copied(state: _Run, left: dict[str, list[Member]]) -> dict[str, list[Member]]:
    """Write the parts of which an equal one is known; give the rest."""
    known = {
        state.folder.read(name)["plate"]["inputs_sha256"]: name
        for name in ([*state.entries] if left else [])
        if name in state.outlines
    }
    new = {}
    for key, group in left.items():
        if key not in known:
            new[key] = group
            continue
        data = state.folder.read(known[key])
        sheet = state.folder.sheet(known[key]).read_bytes()
        for member in group:
            _put(state, member, data, sheet)
            state.tell.ended(state.known(member, data), None)
    return new


def _put(state: _Run, member: Member, data: dict[str, Any], sheet: bytes) -> None:
    """Write the files of a part: equal parts differ in their labels alone."""
    from clearance.plates.stamp import stamped

    labelled = {**data, "plate": {**data["plate"], "label": member.label.as_json()}}
    state.folder.put(member.part.name, labelled, stamped(sheet, member.label))


def _enter(state: _Run, member: Member, outcome: Outcome) -> PlatePart:
    if outcome.kind == "done":
        computed = outcome.value
        about = {**computed.data["plate"], "seconds": round(outcome.seconds, 3)}
        data = {**computed.data, "plate": about}
        _put(state, member, data, computed.figure)
        return state.known(member, data)
    if outcome.kind == "refused":
        return state.failed(member, "error", BAD_INPUT, outcome.text)
    if outcome.kind == "killed":
        return state.failed(member, "undetermined", UNDETERMINED, outcome.text)
    return state.failed(member, "no verdict", NO_VERDICT, outcome.text)


# ---- what the files say ----------------------------------------------------------------------


def _verdict(data: dict[str, Any]) -> Verdict:
    """Keys of a part's entry that come from its result."""
    about, decided = data["plate"], data["disposition"]
    worst = min(data["passages"], key=_badness, default=None)
    return {
        "recommendation": decided["recommendation"],
        "exit_status": about["exit_status"],
        "reasons": list(decided["reasons"]),
        "worst_passage": worst and _worst(worst),
        "result": f"{PARTS}/{data['part']}.json",
        "height_mm": about["height_mm"],
        "height_at_event_mm": about["height_at_event_mm"],
        "metal_mm3": about["metal_mm3"],
        "metal_at_event_mm3": about["metal_at_event_mm3"],
        "mass_g": about["mass_g"],
        "mass_at_event_g": about["mass_at_event_g"],
        "seconds": about["seconds"],
    }


def _badness(passage: dict[str, Any]) -> tuple[int, float]:
    low = passage["clear_diameter_mm"]["low"]
    return STATES.index(passage["state"]), low / passage["required_mm"]


def _worst(passage: dict[str, Any]) -> WorstPassage:
    return {
        "name": passage["name"],
        "state": passage["state"],
        "clear_low_mm": passage["clear_diameter_mm"]["low"],
        "clear_high_mm": passage["clear_diameter_mm"]["high"],
        "required_mm": passage["required_mm"],
    }


def _summary(state: _Run, members: Sequence[Member]) -> Summary:
    entries = []
    for member in members:
        entry = state.entries[member.part.name]
        if entry["result"] is not None:  # an equal part's result has that part's name
            entry["result"] = f"{PARTS}/{member.part.name}.json"
        entries.append(entry)
    counts = Counter(entry["recommendation"] for entry in entries)
    statuses = {entry["exit_status"] for entry in entries}
    data: PlateSummary = {
        "schema": 1,
        "plate": state.plate.name,
        "size_mm": state.plate.size,
        "plate_sha256": state.plate.text_sha256,
        "program": PROGRAM,
        "exit_status": next(status for status in STATUS_GRAVITY if status in statuses),
        "counts": {name: counts[name] for name in GRAVITY if counts[name]},
        "stop_building": stop_building(entries),
        "parts": entries,
        "notices": [*beyond_platform(state.plate, members), *asked(members)],
        "cautions": list(CAUTIONS),
    }
    tasks = {member.part.name: member.task for member in members if member.task is not None}
    return Summary(
        data,
        state.outlines,
        {name: task.bounds for name, task in tasks.items()},
        {name: task.key for name, task in tasks.items()},
    )


class Stood(NamedTuple):
    """How much of a part stood when the machine stopped."""

    height_mm: float
    of_height_mm: float
    metal_mm3: float
    of_metal_mm3: float

    @property
    def percent(self) -> float:
        """Share of its metal."""
        return 100.0 * self.metal_mm3 / self.of_metal_mm3


def stood(entry: PlatePart) -> Stood | None:
    """How much of a part stood; None where that is not known."""
    height, of_height = entry["height_at_event_mm"], entry["height_mm"]
    metal, of_metal = entry["metal_at_event_mm3"], entry["metal_mm3"]
    if height is None or of_height is None or metal is None or not of_metal:
        return None
    return Stood(height, of_height, metal, of_metal)


def stop_building(entries: Sequence[PlatePart]) -> StopBuilding:
    """Parts recommended for scrap that were not complete, and the metal still to be put in."""
    left = {
        entry["name"]: (metal, _left(entry["mass_g"], entry["mass_at_event_g"]))
        for entry in entries
        if entry["recommendation"] == "scrap"
        and (metal := _left(entry["metal_mm3"], entry["metal_at_event_mm3"]))
    }
    masses = [mass for _, mass in left.values() if mass is not None]
    return {
        "parts": list(left),
        "metal_left_mm3": round(sum(metal for metal, _ in left.values()), 6),
        "mass_left_g": round(sum(masses), 6) if len(masses) == len(left) else None,
    }


def _left(whole: float | None, at_event: float | None) -> float | None:
    return None if whole is None or at_event is None else whole - at_event


def gravest_first(entries: Sequence[PlatePart]) -> list[PlatePart]:
    """Entries by recommendation, the gravest first; equals in the plate's order."""
    return sorted(entries, key=lambda entry: GRAVITY.index(entry["recommendation"]))


def unchanged(folder: Folder, summary: Summary) -> bool:
    """Whether the folder holds this very summary, map and tables undamaged."""
    try:
        found = (folder.path / "plate.json").read_text(encoding="utf-8")
        drawn = (folder.path / "plate.pdf").read_bytes()
        tables = [(folder.path / name).read_bytes() for name in _tables(summary)]
    except (OSError, ValueError):
        return False
    same = tables == list(_tables(summary).values())
    return same and found == as_text(_with_map(summary, drawn))


def _with_map(summary: Summary, drawn: bytes) -> PlateResult:
    return {**summary.data, "map_sha256": hashlib.sha256(drawn).hexdigest()}


def _tables(summary: Summary) -> dict[str, bytes]:
    return {
        "plate.csv": as_csv(summary.data).encode(),
        "plate.xlsx": as_xlsx(summary.data),
    }


def write_summary(folder: Folder, summary: Summary, drawn: bytes) -> None:
    """Write plate.pdf, plate.csv, plate.xlsx and plate.json."""
    write_whole(folder.path / "plate.pdf", drawn)
    for name, table in _tables(summary).items():
        write_whole(folder.path / name, table)
    write_whole(folder.path / "plate.json", as_text(_with_map(summary, drawn)).encode())
