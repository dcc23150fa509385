"""The scan of a case: read, laid on the part, every passage judged in it.

In: the prepared case and its passages as checked. Out: a `Laid`: what the result says of the scan,
each passage as measured, and the surface for drawings.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from clearance.errors import PartError
from clearance.geometry.soup import Soup
from clearance.heights import above_platform
from clearance.mesh.part import read_part
from clearance.predicted.slabs import Event
from clearance.result import PassageResult, ScannedPassage, ScanResult, ScanStep
from clearance.result.passage import plain
from clearance.result.scan import VolumeResult
from clearance.scanned.from_volume import StraySheet, Volumed, volumed, windows
from clearance.scanned.measured import Measured, measured, scanned, thinnest_at
from clearance.scanned.pose import Fit
from clearance.scanned.registration import Registered, ScanError, registered
from clearance.scanned.thin_sheets import thinnest_sheet
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked

BESIDE_MM = 0.5
"""So near to a stray sheet no surface counts for where the part lies."""


@dataclass(frozen=True, eq=False)
class Laid:
    """A scan laid on the part.

    Attributes
    ----------
    result : ScanResult
    passages : tuple of ScannedPassage
        In the case's order.
    placed : Placed
        Its surface in the part's coordinates, and what holds it there.
    """

    result: ScanResult
    passages: tuple[ScannedPassage, ...]
    placed: Placed

    @property
    def triangles(self) -> Soup:
        """Its surface in the part's coordinates, (F, 3, 3) mm, for drawings."""
        return self.placed.triangles


@dataclass(frozen=True, eq=False)
class Placed:
    """A scan on the part, its passages not looked at.

    Attributes
    ----------
    registered : Registered
        By the surface that counts: of a volume that of what may be metal.
    around : tuple of Band
        Stray sheets and the heights about them that told nothing of where it lies.
    uncertainty_mm : float
        How far a surface may lie off.
    volume : Volumed or None
    """

    registered: Registered
    around: tuple[Band, ...]
    uncertainty_mm: float
    volume: Volumed | None

    @property
    def triangles(self) -> Soup:
        """Its surface, of a volume that at half grey, (F, 3, 3) mm."""
        shown = self.registered if self.volume is None else self.volume.registered
        return shown.triangles


def placed(
    checked: Checked,
    around: Sequence[Band],
    progress: Callable[[str], None],
    checks: Sequence[PassageCheck] = (),
    sheets: Sequence[StraySheet] = (),
) -> Placed:
    """Lay the scan of a case on its part; `checks` and `sheets`: where a volume is weighed.

    Raises
    ------
    PartError
        The scan cannot be read, or not be laid on the part; the text names the file.
    """
    scan = checked.case.scan
    assert scan is not None
    progress(f"laying {scan.name} on the part")
    spans = tuple(span for _, span in around)
    try:
        if scan.mesh is None:
            volume = volumed(checked, checks, spans, sheets, progress)
            return Placed(volume.mixed, tuple(around), volume.uncertainty_mm, volume)
        turn = checked.case.part.build_direction  # the file stands as the part's mesh does
        part = read_part(scan.mesh, scan.unit, build_direction=turn)
        found = registered(part.triangles, checked.bodies.part, spans, scan.placed)
    except ScanError as fault:
        raise PartError(f"{scan.files[0]}: {fault}") from None
    assert scan.uncertainty is not None
    return Placed(found, tuple(around), scan.uncertainty, None)


def laid(
    checked: Checked,
    checks: Sequence[PassageCheck],
    results: Sequence[PassageResult],
    progress: Callable[[str], None],
) -> Laid | None:
    """Lay the scan of a case on its part and judge the passages in it; None without [scan].

    Raises
    ------
    PartError
        The scan cannot be read, or not be laid on the part; the text names the file.
    """
    scan = checked.case.scan
    if scan is None:
        return None
    on_it = placed(checked, bands(possible(checked)), progress, checks, _sheets(checked))
    passages: dict[str, ScannedPassage] = {}
    results_of = {check.passage.name: one for check, one in zip(checks, results, strict=True)}
    thin, told_of = [], []
    try:
        for look, sure, own in _looks(checked, checks, on_it, progress):
            progress("the passages once more, in the measured metal")
            for check in own:
                name = check.passage.name
                passages[name] = scanned(look, check, results_of[name], sure)
                thin.append(thinnest_at(look, check))
            told_of += [] if look.volumed is None else [look.volumed.told]
    except ScanError as fault:
        raise PartError(f"{scan.files[0]}: {fault}") from None
    thinnest = min((t for t in thin if t is not None), default=None)
    thinnest = thinnest_sheet(checked) if thinnest is None else thinnest
    told = scan_result(checked, on_it, thinnest)
    if told_of:
        volume = worst(told_of)
        told = replace(told, volume=volume, thinnest_shown_mm=volume.shown_mm)
    return Laid(told, tuple(passages[check.passage.name] for check in checks), on_it)


def _looks(
    checked: Checked,
    checks: Sequence[PassageCheck],
    on_it: Placed,
    progress: Callable[[str], None],
) -> Iterator[tuple[Measured, Measured, Sequence[PassageCheck]]]:
    """What may be metal, what surely is, and the passages that are judged there."""
    if on_it.volume is None:
        look = measured(checked, on_it.registered)
        yield look, look, checks
        return
    for one, own in windows(checked, checks, on_it.volume, _sheets(checked), progress):
        yield measured(checked, one.mixed, one), measured(checked, one.sure, one), own


def worst(told: Sequence[VolumeResult]) -> VolumeResult:
    """Of several windows one: the least that is shown, the coarsest voxels, the widest blur."""
    shown = [one.shown_mm for one in told]
    return replace(
        told[0],
        noise=max(one.noise for one in told),
        blur_mm=max(one.blur_mm for one in told),
        averaged=max(one.averaged for one in told),
        shown_mm=None if None in shown else max(one for one in shown if one is not None),
    )


Band = tuple[tuple[int, ...], tuple[float, float]]


def possible(checked: Checked) -> Iterator[Event]:
    """Every event that a case leaves possible."""
    for variant in checked.unknowns.variants:
        yield from variant.events or ()


def bands(events: Iterable[Event]) -> list[Band]:
    """Stray sheets, and heights around them in which no surface tells where the part lies.

    Of all events that are possible. The lowest first; sheets so near to each other that nothing
    is between them share a band.
    """
    lows: dict[int, list[float]] = {}
    for event in events:
        ends = [event.lowest - BESIDE_MM, event.top + abs(event.rise) + BESIDE_MM]
        lows.setdefault(event.stray, []).extend(ends)
    found: list[Band] = []
    for stray, ends in sorted(lows.items(), key=lambda item: min(item[1])):
        if found and min(ends) <= found[-1][1][1]:
            strays, (low, high) = found.pop()
            found.append(((*strays, stray), (low, max(high, *ends))))
        else:
            found.append(((stray,), (min(ends), max(ends))))
    return found


def _sheets(checked: Checked) -> list[StraySheet]:
    """By stray sheet: heights that it may have; it may lie a layer lower, since powder packs."""
    ends: dict[int, list[float]] = {}
    for event in possible(checked):
        if event.slices:
            own = [event.lowest - event.layer, event.top + abs(event.rise)]
            ends.setdefault(event.stray, []).extend(own)
    return [(stray, (min(own), max(own))) for stray, own in ends.items()]


def scan_result(checked: Checked, on_it: Placed, thinnest_mm: float | None = None) -> ScanResult:
    """What is said of a scan on the part; `thinnest_mm`: thinnest sheet that the event can make."""
    scan, found, uncertainty = checked.case.scan, on_it.registered, on_it.uncertainty_mm
    fit = found.fit
    assert scan is not None
    steps = [
        _step(checked, fit, n, strays[-1], found.effective, uncertainty)
        for n, (strays, _) in enumerate(on_it.around, 1)
    ]
    low, high = found.missing_low, found.missing_high
    return ScanResult(
        file=scan.name,
        turned_deg=fit.pose.turn_deg,
        misfit_mm=fit.rms_mm,
        scale=fit.scale,
        missing=found.missing,
        missing_low_mm=None if low is None else plain(low),
        missing_high_mm=None if high is None else plain(high),
        also_fits=found.also,
        steps=tuple(steps),
        uncertainty_mm=uncertainty,
        thinnest_shown_mm=scan.thinnest_shown,
        thinnest_sheet_mm=thinnest_mm,
        turned_u_deg=found.turn_u_deg,
    )


def _step(
    checked: Checked, fit: Fit, piece: int, stray: int, effective: float, uncertainty: float
) -> ScanStep:
    """How far one piece lies off the piece below it."""
    moved = -(fit.moves[piece] - fit.moves[piece - 1])
    unlike = np.zeros((3, 3 * len(fit.moves)))
    unlike[:, 3 * piece : 3 * piece + 3] = np.eye(3)
    unlike[:, 3 * piece - 3 : 3 * piece] = -np.eye(3)
    own = np.diag(unlike @ fit.covariance @ unlike.T) * effective
    u = np.sqrt(np.maximum(own, 0.0) + (0.5 * uncertainty) ** 2)
    known = [bool(one) for one in fit.told(piece)]
    bottoms = [e.bottom for e in checked.unknowns.variants[0].events or () if e.stray == stray]
    x, y, z = (float(v) if k else None for v, k in zip(moved, known, strict=True))
    ux, uy, uz = (float(v) if k else None for v, k in zip(u, known, strict=True))
    return ScanStep(
        stray,
        float(bottoms[0]),
        (x, y, z),
        (ux, uy, uz),
        max(float(fit.held_mm[piece] - fit.held_mm[piece - 1]), 0.0),
        float(fit.looks_up[piece] - fit.looks_up[piece - 1]),
    )


def in_doubt(scan: ScanResult, platform_z: float) -> tuple[str, ...]:
    """What a reader should know before trusting how the scan lies; heights above the platform."""
    said = [f"the scan fits nearly as well {way}" for way in scan.also_fits]
    low, high = scan.missing_low_mm, scan.missing_high_mm
    if low is not None and high is not None:
        ends = above_platform({"missing_low_mm": low, "missing_high_mm": high}, platform_z).values()
        box = ", ".join(f"{a} {p:z.1f} to {q:z.1f}" for a, p, q in zip("xyz", *ends, strict=True))
        said.append(
            f"the scan does not show {100.0 * scan.missing:.0f} % of the part's surface, at {box} "
            "mm: what lies there is not measured"
        )
    return tuple(said)
