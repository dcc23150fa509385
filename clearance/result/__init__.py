"""The result: dataclasses whose fields are the keys of the JSON, each with its unit and meaning.

In: nothing. Out: `Result` and its parts, their plain values, and the JSON Schema that is made
of them. Key names and units are the contract; they only ever grow.
"""

from clearance.result.finished import FinishedResult, MovedResult, StockResult
from clearance.result.flow import (
    FlowRequirement,
    FlowResult,
    FlowVerdict,
    RestrictionResult,
    Reynolds,
    Scenario,
    Shares,
)
from clearance.result.inspection import Inspection
from clearance.result.part import (
    STATES,
    STATES_AND_RECOMMENDATION,
    Apart,
    Ball,
    DispositionResult,
    GaugePin,
    JointResult,
    Margin,
    SectionProperties,
    SeparateResult,
    Signs,
    TrappedPowder,
    Unmelted,
)
from clearance.result.passage import (
    Against,
    ClearDiameter,
    CrossingResult,
    Drilling,
    GraphEdge,
    NearestLine,
    OpenTogether,
    PassageResult,
    Pieces,
    Point,
    Rework,
    ScannedCrossing,
    ScannedPassage,
    State,
    Verified,
)
from clearance.result.plain import as_json, as_text
from clearance.result.readings import ReadingResult
from clearance.result.scan import ScanResult, ScanSheet, ScanStep, VolumeResult
from clearance.result.whole import FAILS, PROGRAM, InputFile, Inputs, Result, Role

__all__ = [
    "FAILS",
    "PROGRAM",
    "STATES",
    "STATES_AND_RECOMMENDATION",
    "Against",
    "Apart",
    "Ball",
    "ClearDiameter",
    "CrossingResult",
    "DispositionResult",
    "Drilling",
    "FinishedResult",
    "FlowRequirement",
    "FlowResult",
    "FlowVerdict",
    "GaugePin",
    "GraphEdge",
    "InputFile",
    "Inputs",
    "Inspection",
    "JointResult",
    "Margin",
    "MovedResult",
    "NearestLine",
    "OpenTogether",
    "PassageResult",
    "Pieces",
    "Point",
    "ReadingResult",
    "RestrictionResult",
    "Result",
    "Rework",
    "Reynolds",
    "Role",
    "ScanResult",
    "ScanSheet",
    "ScanStep",
    "ScannedCrossing",
    "ScannedPassage",
    "Scenario",
    "SectionProperties",
    "SeparateResult",
    "Shares",
    "Signs",
    "State",
    "StockResult",
    "TrappedPowder",
    "Unmelted",
    "Verified",
    "VolumeResult",
    "as_json",
    "as_text",
]
