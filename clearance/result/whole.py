"""The whole result of a check, and what it was computed from.

In: nothing. Out: `Result`, whose fields are the keys of the JSON.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from clearance import __version__
from clearance.errors import ClearanceError
from clearance.result.costs import CostsResult
from clearance.result.finished import FinishedResult
from clearance.result.inspection import Inspection
from clearance.result.keys import told
from clearance.result.part import (
    DispositionResult,
    JointResult,
    Margin,
    SeparateResult,
    Signs,
    TrappedPowder,
    Unmelted,
)
from clearance.result.passage import PassageResult, State
from clearance.result.plain import as_json, as_text
from clearance.result.readings import ReadingResult
from clearance.result.scan import ScanResult

PROGRAM = f"clearance {__version__}"
"""Name and version, as every result carries them."""

FAILS = frozenset(
    {State.BLOCKED, State.RESTRICTED, "joined", "not met", "rework", "repair", "scrap"}
)
"""States, answers and recommendations that do not conform."""


Role = Literal["case", "part", "also-melted", "stray", "scan", "finished"]


@dataclass(frozen=True)
class InputFile:
    """A file that a result was computed from."""

    file: Annotated[str, told("its name, without its folder")]
    sha256: Annotated[str, told("of its bytes; of a case without a file, of its tables as JSON")]
    role: Annotated[Role, told("what it is used for")]


@dataclass(frozen=True)
class Inputs:
    """What a result was computed from; on a plate see `plate.inputs_sha256` too."""

    case: Annotated[InputFile, told("the case file")]
    meshes: Annotated[tuple[InputFile, ...], told("the meshes that it names, in its order")]

    @property
    def files(self) -> tuple[InputFile, ...]:
        """The case, then each mesh once."""
        meshes = {(one.file, one.sha256): one for one in reversed(self.meshes)}
        return (self.case, *reversed(meshes.values()))


@dataclass(frozen=True)
class Result:
    """All that a check says of one part."""

    part: Annotated[str, told("name of the part; on a plate, its name there")]
    pitch_mm: Annotated[float, told("resolution: distance of the columns", "mm")]
    passages: Annotated[tuple[PassageResult, ...], told("the passages, in the case's order")]
    separate: Annotated[
        tuple[SeparateResult, ...], told("circuits that must stay apart, pair by pair")
    ] = ()
    unmelted: Annotated[tuple[Unmelted, ...], told("powder that may be left in the metal")] = ()
    trapped_powder: Annotated[tuple[TrappedPowder, ...], told("voids without a way out")] = ()
    signs: Annotated[
        Signs | None, told("what can be measured without cutting; null if not looked at")
    ] = None
    resumed_section: Annotated[tuple[JointResult, ...], told("joints that the resume leaves")] = ()
    inspection: Annotated[
        tuple[Inspection, ...],
        told("which method could see each crossing that narrows or seals, and each unmelted gap"),
    ] = ()
    disposition: Annotated[
        DispositionResult | None, told("the recommendation; null if it was not asked for")
    ] = None
    costs: Annotated[
        CostsResult | None,
        told("money and days, beside the recommendation; null without [costs] or a drilling plan"),
    ] = None
    margins: Annotated[
        tuple[Margin, ...] | None, told("how far the event may be off; null if not looked at")
    ] = None
    readings: Annotated[
        tuple[ReadingResult, ...],
        told("what was measured on the part, in the case's order; then what a scan says"),
    ] = ()
    scan: Annotated[
        ScanResult | None, told("a scan of the part, laid on it; null where the case has none")
    ] = None
    finished: Annotated[
        FinishedResult | None,
        told("the finished shape in what is left; null where the case gives none"),
    ] = None
    second_opinion: Annotated[
        tuple[str, ...],
        told("what solid booleans confirm of it; or that they were not asked, and why"),
    ] = ()
    translations: Annotated[
        tuple[str, ...], told("how [melted], after_layer and next_layer were read")
    ] = ()
    assumptions: Annotated[tuple[str, ...], told("values taken where the case is silent")] = ()
    mesh_chord_mm: Annotated[
        float | None,
        told("how far triangles made of a STEP file may lie off its surface; null of a mesh", "mm"),
    ] = None
    notices: Annotated[tuple[str, ...], told("what the user should know besides")] = ()
    cautions: Annotated[tuple[str, ...], told("what always holds")] = ()
    schema: Annotated[int, told("1; a new number would mean that a key has changed")] = 1
    inputs: Annotated[
        Inputs | None, told("what it was computed from; null if that is not known")
    ] = None
    program: Annotated[str, told("name and version of the program")] = PROGRAM

    @property
    def exit_status(self) -> int:
        """3 if a requirement fails or the part cannot stay as it is, 4 if anything is open, else 0.

        What fails goes before what is open. A requirement fails by its state (clear diameter,
        open fraction, branches), by its pressure loss, where circuits are joined, or where the
        finished shape stands out of the metal; the part
        cannot stay as it is where the recommendation is rework, repair or scrap.
        """
        found: set[str] = {p.state for p in self.passages} | {s.state for s in self.separate}
        found |= {p.flow["requirement"]["predicted"] for p in self.passages if p.flow is not None}
        told_to_be_out = self.finished is not None and self.finished.inside == "no"
        not_told = self.finished is not None and self.finished.inside == "undetermined"
        found |= {"not met"} if told_to_be_out else {"undetermined"} if not_told else set()
        if self.disposition is not None:
            found.add(self.disposition.recommendation)
        if found & FAILS:
            return 3
        return 4 if State.UNDETERMINED in found else 0

    def passage(self, name: str) -> PassageResult:
        """Give one passage by its name.

        Parameters
        ----------
        name : str
            As in the case.

        Returns
        -------
        PassageResult

        Raises
        ------
        ClearanceError
            There is no such passage; the text names the nearest.

        Examples
        --------
        >>> from clearance import State
        >>> result.passage("bore").state is State.RESTRICTED
        True
        """
        return named(name, {one.name: one for one in self.passages}, self.part)

    def to_dict(self) -> dict[str, Any]:
        """Plain dicts, lists, numbers and strings: the JSON of ``clearance check --json``.

        Returns
        -------
        dict
            Keys, units and meanings stand in docs/result.md; lengths in mm, rounded to 1e-6.

        Examples
        --------
        >>> result.to_dict()["passages"][0]["state"]
        'restricted'
        """
        found: dict[str, Any] = as_json(self)
        return found

    def to_json(self) -> str:
        """The text that ``clearance check --json`` writes, byte by byte.

        Returns
        -------
        str

        Examples
        --------
        >>> import json
        >>> json.loads(result.to_json()) == result.to_dict()
        True
        """
        return as_text(self.to_dict())


def named(name: str, known: dict[str, Any], where: str) -> Any:
    """Pick what has a name.

    Raises
    ------
    ClearanceError
        There is no such name; the text proposes the nearest.
    """
    if name in known:
        return known[name]
    near = difflib.get_close_matches(name, known, 1, 0.0)
    hint = f"; did you mean {near[0]!r}?" if near else ""
    raise ClearanceError(f"{where}: no passage {name!r}{hint}")
