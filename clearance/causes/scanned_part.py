"""A scan among the readings that causes are weighed by.

In: a part that is read, its suspects, its scan. Out: the same part with the scan's readings behind
those of the case, and what is said of the scan. It is laid on the part anew: only what lies clear
of every suspect's sheet tells where it lies.
"""

from __future__ import annotations

from dataclasses import replace

from clearance.case.suspected import Suspect, Suspected, as_stray
from clearance.predicted.slabs import Event
from clearance.readings.scan import scan_readings
from clearance.readings.scan_sheets import sheets_seen
from clearance.scanned.laid import bands, in_doubt, placed, scan_result
from clearance.verdict.other_event import unknown_of
from clearance.verdict.prepared import Checked, Progress

SUM_ALONE = (
    "so near to each other that the scan tells the sum of their steps alone: that is not weighed"
)


def with_scan(checked: Checked, suspected: Suspected, progress: Progress) -> Checked:
    """The part with what its scan says among its readings; as it is without one.

    Raises
    ------
    PartError
        The scan cannot be laid on the part.
    """
    case = checked.case
    if case.scan is None:
        return checked
    laid = placed(checked, bands(_possible(checked, suspected)), progress)
    scan = replace(scan_result(checked, laid), sheets=sheets_seen(checked, laid))
    made = scan_readings(scan, laid.around, checked.platform_z)
    said = [
        f"{scan.file}: {len(made)} readings of it are weighed, not what it shows of the passages",
        *in_doubt(scan, checked.platform_z),
    ]
    for strays, _ in laid.around:
        if len(strays) > 1:
            which = " and ".join(str(stray + 1) for stray in strays)
            said.append(f"stray sheets {which} may lie {SUM_ALONE}")
    notices = [*checked.notices, *said]
    return replace(checked, case=replace(case, reading=(*case.reading, *made)), notices=notices)


def _possible(checked: Checked, suspected: Suspected) -> list[Event]:
    """Events of the suspects that reach lowest and highest, and of those as told."""
    found = [event for variant in checked.unknowns.variants for event in variant.events or ()]
    layer = checked.case.part.layer_thickness
    events = [one for one in suspected.suspects if one.cause == "event"]
    if not events:
        return found

    def top(one: Suspect) -> float:
        return one.height + 2.0 * one.layers * layer

    for one in (min(events, key=lambda e: e.height), max(events, key=top)):
        strays = list(checked.case.stray)
        strays[suspected.stray] = as_stray(strays[suspected.stray], one)
        unknown = unknown_of(checked, replace(checked.case, stray=tuple(strays)))
        found += [event for variant in unknown.variants for event in variant.events or ()]
    return found
