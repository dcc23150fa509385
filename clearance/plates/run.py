"""The spine of a plate run: what is known is kept, what is new is computed, all is summed up.

In: the members of a plate, its folder, and a way to spread jobs over processes or
machines. Out: the files of each part as it ends, and a `Summary` of the plate.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from clearance.case.plate import Plate
from clearance.plates.folder import Folder
from clearance.plates.members import Member, jobs
from clearance.plates.summary import COUPON, Outlines, Summary, summed, verdict
from clearance.result.plate import PlatePart, Verdict
from clearance.system.processes import Job, Outcome

NEXT_STEPS = {
    "error": "mend the case or mesh and run the plate again; hold the part until then",
    "no verdict": "run again with --debug and report the fault; hold the part until then",
    "undetermined": "run again with more memory or a coarser pitch; hold the part until then",
}
"""Of parts without a result."""
WITNESS = "keep it: tests on it tell of the joint"
NO_WITNESS = "tells nothing of the joint, only of what was built before the stop"
NOTHING_KNOWN: Verdict = {
    "recommendation": "",
    "exit_status": 0,
    "reasons": [],
    "finding": "",
    "next_step": "",
    "worst_passage": None,
    "rework_cost": None,
    "rebuild_cost": None,
    "result": None,
    "height_mm": None,
    "height_at_event_mm": None,
    "metal_mm3": None,
    "metal_at_event_mm3": None,
    "mass_g": None,
    "mass_at_event_g": None,
    "seconds": None,
}
NO_VERDICT, BAD_INPUT, UNDETERMINED = 1, 2, 4

Spread = Callable[[list[Job]], Iterator[tuple[Job, Outcome]]]


@dataclass
class Tell:
    """What the run tells while it goes on; silent by default."""

    kept: Callable[[int], None] = lambda count: None
    begins: Callable[[int, int], None] = lambda parts, distinct: None
    ended: Callable[[PlatePart, Outcome | None], None] = lambda entry, outcome: None


@dataclass
class _Run:
    plate: Plate
    folder: Folder
    tell: Tell
    entries: dict[str, PlatePart] = field(default_factory=dict)
    outlines: Outlines = field(default_factory=dict)
    _shared: dict[str, Any] = field(default_factory=dict)

    def known(self, member: Member, data: dict[str, Any]) -> PlatePart:
        """Keep what the summary needs of a result; outlines of equal parts are one object."""
        assert member.task is not None
        name = member.part.name
        outline = self._shared.setdefault(member.task.key, data["plate"]["outline_mm"])
        self.outlines[name] = outline
        self.entries[name] = self._entry(member, verdict(data))
        return self.entries[name]

    def failed(self, member: Member, recommendation: str, status: int, why: str) -> PlatePart:
        """Enter a part without a result; one of an earlier run no longer holds."""
        name = member.part.name
        self.folder.forget(name)
        found: Verdict = {
            **NOTHING_KNOWN,
            "recommendation": recommendation,
            "exit_status": status,
            "reasons": [why],
            "finding": why,
            "next_step": NEXT_STEPS[recommendation],
        }
        self.entries[name] = self._entry(member, found)
        return self.entries[name]

    def coupon(self, member: Member) -> PlatePart:
        """Enter a test piece of which nothing is judged."""
        name, joints = member.part.name, member.crossed_mm or ()
        self.folder.forget(name)
        at = ", ".join(f"{height:g}" for height in joints)
        finding = f"has the joint at z {at} mm" if joints else "ends below the event, has no joint"
        top, stop = member.top_mm, member.stop_mm
        found: Verdict = {
            **NOTHING_KNOWN,
            "recommendation": COUPON,
            "exit_status": 0,
            "reasons": [f"a coupon, nothing is judged of it: {finding}"],
            "finding": finding,
            "next_step": WITNESS if joints else NO_WITNESS,
            "height_mm": top,
            "height_at_event_mm": top if top is None or stop is None else min(top, stop),
        }
        self.outlines[name] = member.outline_mm
        self.entries[name] = self._entry(member, found)
        return self.entries[name]

    def _entry(self, member: Member, found: Verdict) -> PlatePart:
        part = member.part
        case = Path(os.path.relpath(part.case, self.plate.path.parent)).as_posix()
        return {
            "name": part.name,
            "serial": member.label.serial or None,
            "case": case,
            "coupon": part.coupon,
            "crossed_mm": None if member.crossed_mm is None else list(member.crossed_mm),
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
    bad = [member for member in members if member.fault]
    coupons = [member for member in members if member.task is None and not member.fault]
    if left or renamed or bad or any(folder.result(m.part.name).exists() for m in coupons):
        folder.withdraw()
    for member in coupons:
        state.coupon(member)
    for member, data in renamed:
        name = member.part.name
        _put(state, member, data, folder.sheet(name).read_bytes(), folder.page_of(name))
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
    return summed(plate, state.entries, state.outlines, members)


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
        if state.entries[name]["result"] is not None
    }
    new = {}
    for key, group in left.items():
        if key not in known:
            new[key] = group
            continue
        data = state.folder.read(known[key])
        sheet = state.folder.sheet(known[key]).read_bytes()
        page = state.folder.page_of(known[key])
        for member in group:
            _put(state, member, data, sheet, page)
            state.tell.ended(state.known(member, data), None)
    return new


def _put(
    state: _Run, member: Member, data: dict[str, Any], sheet: bytes, page: bytes = b""
) -> None:
    """Write the files of a part: equal parts differ in their labels alone."""
    from clearance.plates.stamp import stamped
    from clearance.view.page import named

    labelled = {**data, "plate": {**data["plate"], "label": member.label.as_json()}}
    name = member.part.name
    own = named(page, name) if page else b""
    state.folder.put(name, labelled, stamped(sheet, member.label), own)


def _enter(state: _Run, member: Member, outcome: Outcome) -> PlatePart:
    if outcome.kind == "done":
        computed = outcome.value
        about = {**computed.data["plate"], "seconds": round(outcome.seconds, 3)}
        data = {**computed.data, "plate": about}
        _put(state, member, data, computed.figure, computed.page)
        return state.known(member, data)
    if outcome.kind == "refused":
        return state.failed(member, "error", BAD_INPUT, outcome.text)
    if outcome.kind == "killed":
        return state.failed(member, "undetermined", UNDETERMINED, outcome.text)
    return state.failed(member, "no verdict", NO_VERDICT, outcome.text)
