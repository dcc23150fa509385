"""Readings in words: what was read, what should be, what it says.

In: a `ReadingResult`. Out: a line of text.
"""

from __future__ import annotations

from clearance.result import ReadingResult
from clearance.verdict.reading_words import called, expected, read

SAYS = {
    "as-predicted": "as predicted",
    "as-nominal": "as in the nominal part, not as predicted",
    "both": "fits both",
    "neither": "fits neither",
}
NAMEWORTHY_OFF = 0.05
"""Standard uncertainties off that are printed: less would read 0.0."""
WHAT = {"open_area": "area", "pressure_loss": "loss", "seen": "metal"}
CELL = {"as-predicted": "as predicted", "as-nominal": "NOT as predicted", "both": "fits both",
        "neither": "fits neither"}  # fmt: skip
CELL_DRILLED = {True: "conforms", False: "DOES NOT CONFORM", None: "does not tell"}
DRILLED = {True: "conforms", False: "DOES NOT CONFORM", None: "does not tell whether it conforms"}


def reading_line(reading: ReadingResult) -> str:
    """One reading, answered."""
    said = f"{called(reading)} ({reading.stage}): {read(reading)}"
    if reading.excluded_by is not None:
        said += f" (EXCLUDED by reading {reading.excluded_by}, whatever the event)"
    if reading.stage == "drilled":
        return f"{said}; {DRILLED[reading.conforms]}"
    if reading.note:
        return f"{said}; {reading.note}"
    predicted, nominal = (expected(reading, e) for e in (reading.predicted, reading.nominal))
    off = ""
    if reading.off_u is not None and reading.off_u >= NAMEWORTHY_OFF:
        off = f", {reading.off_u:.1f} standard uncertainties off what is predicted"
    against = "; CONTRADICTS the event as told" if reading.contradicts else ""
    return f"{said}; predicted {predicted}, nominal {nominal}: {SAYS[reading.says]}{off}{against}"


def short_line(reading: ReadingResult) -> str:
    """The same for a cell of the sheet."""
    size = reading.where.split(" mm, ")[0] if reading.kind in ("ball", "pin") else ""
    said = " ".join(word for word in (WHAT.get(reading.kind, reading.kind), size) if word)
    if reading.kind == "scan" and reading.note:
        return f"{said}: {read(reading)}"
    told = CELL_DRILLED[reading.conforms] if reading.stage == "drilled" else CELL[reading.says]
    other = "" if reading.excluded_by is None else f", EXCLUDED by reading {reading.excluded_by}"
    return f"{said} {read(reading)}: {told}{other}"
