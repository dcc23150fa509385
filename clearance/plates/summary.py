"""All parts of a plate summed up: plate.json, and the tables and the map beside it.

In: what is found of each part. Out: a `Summary`, and the files that say it. What stands on the
pages of plate.pdf is left to `map`.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from clearance.case.plate import Plate
from clearance.checking import CAUTIONS
from clearance.disposition.known import GRAVITY as RECOMMENDATIONS
from clearance.plates.after import coupons, unfinished
from clearance.plates.folder import PARTS, Folder
from clearance.plates.members import Member, asked, beyond_platform
from clearance.plates.page import plate_page
from clearance.plates.placed import Place, overlapping
from clearance.plates.table import as_csv, as_xlsx
from clearance.result import PROGRAM, as_text
from clearance.result.plate import (
    PlateEvent,
    PlatePart,
    PlateResult,
    PlateSummary,
    StopBuilding,
    Verdict,
    WorstPassage,
)
from clearance.system.files import write_whole
from clearance.verdict.numbers import counted

CONFORM = ("use-as-is", "not-affected")
COUPON, UNTOUCHED = "coupon", "not-affected"
GRAVITY: tuple[str, ...] = ("no verdict", "error", *RECOMMENDATIONS, COUPON)
"""Recommendations, the gravest first, with what stands for one where there is none."""
STATUS_GRAVITY = (1, 2, 3, 4, 0)
STATES = ("blocked", "restricted", "undetermined", "open")

Entries = Mapping[str, PlatePart]
Outlines = dict[str, Any]


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


def verdict(data: dict[str, Any]) -> Verdict:
    """Keys of a part's entry that come from its result."""
    about, decided = data["plate"], data["disposition"]
    worst = min(data["passages"], key=_badness, default=None)
    money = data["costs"]
    return {
        "recommendation": decided["recommendation"],
        "exit_status": about["exit_status"],
        "reasons": list(decided["reasons"]),
        "finding": about["finding"],
        "next_step": about["next_step"],
        "worst_passage": worst and _worst(worst),
        "result": f"{PARTS}/{data['part']}.json",
        "rework_cost": None if money is None else money["rework_cost"],
        "rebuild_cost": None if money is None else money["rebuild_cost"],
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


def summed(plate: Plate, known: Entries, outlines: Outlines, members: Sequence[Member]) -> Summary:
    """All parts of a plate summed up, in its order."""
    entries = []
    for member in members:
        entry = known[member.part.name]
        if entry["result"] is not None:  # an equal part's result has that part's name
            entry["result"] = f"{PARTS}/{member.part.name}.json"
        entries.append(entry)
    counts = Counter(entry["recommendation"] for entry in entries)
    statuses = {entry["exit_status"] for entry in entries}
    data: PlateSummary = {
        "schema": 1,
        "plate": plate.name,
        "size_mm": plate.size,
        "plate_sha256": plate.text_sha256,
        "program": PROGRAM,
        "exit_status": next(status for status in STATUS_GRAVITY if status in statuses),
        "counts": {name: counts[name] for name in GRAVITY if counts[name]},
        "events": _events(members),
        "hold": [e["name"] for e in gravest_first(entries) if e["recommendation"] not in FREE],
        "stop_building": stop_building(entries),
        "coupons": coupons(members),
        "unfinished": unfinished(members, known),
        "parts": entries,
        "notices": [
            *beyond_platform(plate, members),
            *_overlaps(outlines, members),
            *asked(members),
        ],
        "cautions": list(CAUTIONS),
    }
    tasks = {member.part.name: member.task for member in members if member.task is not None}
    return Summary(
        data,
        outlines,
        {name: task.bounds for name, task in tasks.items()},
        {name: task.key for name, task in tasks.items()},
    )


FREE = (UNTOUCHED, COUPON)
"""Of these no part is held because of the event."""


def _events(members: Sequence[Member]) -> list[PlateEvent]:
    """What happened, most parts first."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for member in members:
        if member.told:
            alike.setdefault(member.told, []).append(member.part.name)
    groups = sorted(alike.items(), key=lambda group: -len(group[1]))
    return [{"said": list(said), "parts": names} for said, names in groups]


def _overlaps(outlines: Outlines, members: Sequence[Member]) -> list[str]:
    """Notices of parts whose outlines overlap on the platform: where they stand may be wrong."""
    import shapely

    drawn = [member for member in members if outlines.get(member.part.name)]
    shapes = []
    for member in drawn:
        place = Place(member.part.at, member.part.turn)
        rings = [place.to_platform(ring) for ring in outlines[member.part.name]]
        shapes.append(shapely.union_all([shapely.make_valid(shapely.Polygon(r)) for r in rings]))
    out = []
    for a, b, area in overlapping(shapes):
        both = drawn[a], drawn[b]
        said = f"outlines of {both[0].part.name} and {both[1].part.name} overlap, {area:.1f} mm2"
        if all(m.stop_mm is not None and m.crossed_mm and m.stop_mm in m.crossed_mm for m in both):
            said += " at the height of the stop, where two parts cannot stand"
        out.append(f"{said}: check `at` and `turn` of both")
    return out


def hold(data: PlateSummary) -> str:
    """What to hold, in a few words."""
    held = data["hold"]
    if not held:
        return "no part is held because of the event"
    return f"HOLD {len(held)} of {counted(len(data['parts']), 'part')}"


def happened(data: PlateSummary) -> list[str]:
    """What happened, with names where it was not the same for all parts."""
    out = []
    for event in data["events"]:
        whose = (
            "" if len(event["parts"]) == len(data["parts"]) else f"{', '.join(event['parts'])}: "
        )
        out += [f"{whose}{said}" for said in event["said"]]
    return out or ["of no part it is known"]


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
        made = _tables(summary, folder)
        tables = [(folder.path / name).read_bytes() for name in made]
    except (OSError, ValueError):
        return False
    same = tables == list(made.values())
    return same and found == as_text(_with_map(summary, drawn))


def _with_map(summary: Summary, drawn: bytes) -> PlateResult:
    return {**summary.data, "map_sha256": hashlib.sha256(drawn).hexdigest()}


def _tables(summary: Summary, folder: Folder) -> dict[str, bytes]:
    names = (entry["name"] for entry in summary.data["parts"])
    pages = frozenset(name for name in names if folder.page(name).exists())
    return {
        "plate.csv": as_csv(summary.data).encode(),
        "plate.xlsx": as_xlsx(summary.data),
        "plate.html": plate_page(summary.data, summary.outlines, summary.boxes, pages),
    }


def write_summary(folder: Folder, summary: Summary, drawn: bytes) -> None:
    """Write plate.pdf, plate.csv, plate.xlsx, plate.html and plate.json."""
    write_whole(folder.path / "plate.pdf", drawn)
    for name, table in _tables(summary, folder).items():
        write_whole(folder.path / name, table)
    write_whole(folder.path / "plate.json", as_text(_with_map(summary, drawn)).encode())
