"""A scan in words: how it lies on the part, and each passage as measured beside as predicted.

In: a `Result` with a scan in it. Out: lines of text.
"""

from __future__ import annotations

from collections.abc import Iterator

from clearance.result import PassageResult, Result, ScanResult, VolumeResult
from clearance.verdict.names import event
from clearance.verdict.numbers import given, most, span

AGAINST = {
    "agrees": "the predicted state stands",
    "contradicts": "CONTRADICTS what is predicted",
    "not-told": "does not decide",
}


def scan_lines(result: Result) -> Iterator[str]:
    """What a scan says: first of itself, then passage by passage; nothing without one."""
    if result.scan is None:
        return
    yield _laid(result.scan)
    if result.scan.volume is not None:
        yield _greys(result.scan.volume)
    yield _sheets(result.scan)
    yield from (_passage(passage) for passage in result.passages if passage.scanned is not None)


def _laid(scan: ScanResult) -> str:
    return (
        f"{scan.file}: turned by {scan.turned_deg:.2f} deg onto the part, "
        f"{scan.misfit_mm:.3f} mm off on the average (root mean square), "
        f"{100.0 * (scan.scale - 1.0):+z.2f} % larger; a surface counts as known to "
        f"{given(round(scan.uncertainty_mm, 4))} mm"
    )


def moved_lines(scan: ScanResult, platform_z: float) -> Iterator[str]:
    """What it has measured of the event: steps, growth, faces of sheets; z above the platform."""
    for step in scan.steps:
        found = zip(("x", "y", "growth"), step.moved_mm, step.u_mm, strict=True)
        told = [f"{name} {v:+z.2f} (u {u:.2f})" for name, v, u in found if v is not None]
        if told:
            yield f"measured above {event(step.stray)}, mm: {', '.join(told)}"
    for sheet in scan.sheets:
        low = sheet.where_mm[2] - platform_z
        yield (
            f"measured sheet in {sheet.passage}: z {low:.2f} to {low + sheet.thickness_mm:.2f} mm "
            f"(u {sheet.u_mm:.2f})"
        )


def _greys(volume: VolumeResult) -> str:
    blur = "measured on the part's own faces" if volume.blur_measured else "as given"
    shown = "no sheet" if volume.shown_mm is None else f"sheets from {most(volume.shown_mm)} mm on"
    cubes = f"; cubes of {volume.averaged}^3 voxels averaged" if volume.averaged > 1 else ""
    lost = f"; {100.0 * volume.not_scanned:.0f} % of its voxels hold nothing that was scanned"
    return (
        f"grey values: void {volume.void:.4g}, metal {volume.metal:.4g}, noise "
        f"{100.0 * volume.noise:.1f} % of the step, blur {volume.blur_mm:.3f} mm (standard "
        f"deviation, {blur}): a threshold surely shows {shown}{cubes}"
        f"{lost if volume.not_scanned >= 0.005 else ''}"
    )


def _sheets(scan: ScanResult) -> str:
    if scan.thinnest_sheet_mm is None:
        return "the case gives no sheet that the scan would have to show"
    shown = scan.thinnest_shown_mm
    thin = f"the event can leave a sheet of {scan.thinnest_sheet_mm:.3f} mm"
    enough = shown is not None and shown <= scan.thinnest_sheet_mm
    if scan.volume is not None:
        summed = "at its height metal is what the grey values do not prove empty"
        return f"{thin}, which a threshold shows" if enough else f"{thin}: {summed}"
    said = "which sheets it shows is not known" if shown is None else f"it shows {given(shown)} mm"
    thin = f"{thin}; {said}"
    return thin if enough else f"{thin}: no passage that the sheet can reach is open on the scan"


def _passage(passage: PassageResult) -> str:
    found, clear, need = passage.scanned, passage.clear_diameter_mm, passage.required_mm
    assert found is not None
    predicted = f"predicted {passage.state.value}, {span(clear.low, clear.high, need)} mm"
    measured = f"measured {found.state.value}"
    if found.high_mm is not None:
        measured += f", {span(found.low_mm, found.high_mm, need)} mm"
    measured += "".join(
        f", grey values sum to {one.sheet_mm:.3f} mm of metal at crossing {one.crossing + 1} "
        f"(u {one.sheet_u_mm:.3f} mm)"
        for one in found.crossings
        if one.sheet_mm is not None
    )
    why = "".join(f"; {reason}" for reason in found.reasons)
    return f"{passage.name}: {predicted}; {measured}: {AGAINST[found.against]}{why}"
