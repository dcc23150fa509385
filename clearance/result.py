"""The result of a check: dataclasses whose fields are the keys of the JSON.

In: nothing. Out: `Result` and its parts, and `as_json`, which turns them into
plain values. Key names and units are the contract; they only ever grow.
"""

from __future__ import annotations

import dataclasses
import enum
import math
from dataclasses import dataclass, field
from typing import Any, Literal


class State(enum.StrEnum):
    """State of a passage."""

    OPEN = "open"
    RESTRICTED = "restricted"
    BLOCKED = "blocked"
    UNDETERMINED = "undetermined"


Point = tuple[float, float, float]


@dataclass(frozen=True)
class ClearDiameter:
    """Clear diameter of the nominal and of the predicted part, mm.

    The true value for the given geometry lies in [low, high] and [nominal_low, nominal_high].
    """

    nominal: float
    predicted: float
    low: float
    high: float
    nominal_low: float
    nominal_high: float


@dataclass(frozen=True)
class CrossingResult:
    """One crossing of a passage with a stray sheet."""

    stray: int
    height_mm: float
    centre_mm: Point
    nominal_area_mm2: float
    open_area_mm2: float
    open_fraction: float
    clear_diameter_mm: float
    sealed: bool
    loss_coefficient: float | None = None


@dataclass(frozen=True)
class Drilling:
    """One stroke of a drill."""

    crossing: int
    also_clears: tuple[int, ...]
    drill_diameter_mm: float
    series: str
    flute_mm: float
    overall_mm: float
    from_: str
    entry_mm: Point
    direction: Point
    depth_mm: float
    length_to_diameter: float
    wall_margin_mm: float
    wall_cut_mm: float
    overrun_mm: float
    tilt_tolerance_deg: float
    tilt_from_z_deg: float
    turn_about_z_deg: float
    drill_tolerance_mm: float
    run_out_mm: float


@dataclass(frozen=True)
class Rework:
    """A drilling plan and what the check says of the part after it.

    `wall_left_mm` is the least metal to another void where the wall is cut, `wall_least_mm` the
    same less what drill tolerance and run-out may take (also where only they reach the wall).
    """

    state_after: str
    clear_diameter_after_mm: float
    drilling: tuple[Drilling, ...]
    cuts_wall: bool = False
    wall_left_mm: float | None = None
    wall_least_mm: float | None = None
    conflicts: tuple[str, ...] = ()


Verified = Literal["agrees", "contradicts", "not-possible"]


@dataclass(frozen=True)
class PassageResult:
    """What is known of one passage.

    `verified` is what a second opinion says of its state and plan; None where none was asked for.
    """

    name: str
    state: State
    required_mm: float
    clear_diameter_mm: ClearDiameter
    nominal_state: State
    crossings: tuple[CrossingResult, ...]
    reasons: tuple[str, ...]
    settled_by: tuple[str, ...] = ()
    pitch_mm: float = 0.0
    throat_mm: Point | None = None
    graph: tuple[dict[str, Any], ...] = ()
    rework: Rework | None = None
    why_not: str = ""
    flow: dict[str, Any] | None = None
    verified: Verified | None = None
    verified_why: str = ""
    verified_at_mm: Point | None = None


Apart = Literal["apart", "joined", "undetermined"]


@dataclass(frozen=True)
class SeparateResult:
    """Whether circuits that must stay apart still do."""

    passages: tuple[str, ...]
    state: Apart
    where_mm: Point | None
    through: Literal["void", "unmelted"] | None
    nominal_state: Apart = "apart"


@dataclass(frozen=True)
class Unmelted:
    """Powder that may have stayed loose in the metal, as thick as it can be.

    Where the part has metal and the wrong slices had none; with `joint`, under the whole first
    layer after the stop, because the part had shrunk.
    """

    stray: int
    area_mm2: float
    thickness_mm: float
    joins: tuple[tuple[str, ...], ...]
    where_mm: Point
    joint: bool = False


@dataclass(frozen=True)
class TrappedPowder:
    """A void without a way out.

    Powder packs at one end or the other of `packing`: `mass_low_g`, `mass_high_g`; `mass_g` is
    the high one. None without a density. `certain`: whatever is true of the event; otherwise it
    is shut in for part of what the case leaves possible, and the volume is the greatest.
    """

    volume_mm3: float
    mass_g: float | None
    between: tuple[str, ...]
    centre_mm: Point
    passages: tuple[str, ...] = ()
    mass_low_g: float | None = None
    mass_high_g: float | None = None
    certain: bool = True


@dataclass(frozen=True)
class GaugePin:
    """A pin that enters a port, and where it stops; None: it goes through.

    The largest one, and where that does not tell the predicted part from the nominal one,
    the thickest that does. `residual_mm` is how far the two depths then lie apart; None
    where the pin tells the two apart.
    """

    port: str
    pin_diameter_mm: float
    stops_at_mm: float | None
    nominal_stops_at_mm: float | None = None
    tells_apart: bool = False
    residual_mm: float | None = None


@dataclass(frozen=True)
class Ball:
    """What bearing balls of stock sizes say of a passage; None where there is no such size.

    Attributes
    ----------
    passes_nominal_mm, passes_predicted_mm : float or None
        The largest that surely passes.
    stops_predicted_mm : float or None
        The smallest that surely does not pass the predicted part.
    tells_apart : bool
    tells_mm : float or None
        The ball that passes the nominal part and not the predicted one, if there is one.
    residual_mm : float or None
        By how much the clear diameters may differ where no ball tells.
    """

    passage: str
    passes_nominal_mm: float | None
    passes_predicted_mm: float | None
    stops_predicted_mm: float | None
    tells_apart: bool
    tells_mm: float | None
    residual_mm: float | None


@dataclass(frozen=True)
class Signs:
    """What can be seen or measured on the part without cutting it.

    Attributes
    ----------
    share_of_part : float
        Volume added over the nominal part's; negative where metal is missing.
    balance_resolution_g : float or None
        Readability of a balance that would show the mass added.
    mass_scatter_g : float or None
        By how much good parts may differ in mass.
    weighing_tells : bool or None
        The mass added is more than that; None without a density.
    outside_overhang_at_mm, outside_overhang_direction : point and unit vector, or None
        Where it is largest, and which way it points; None where nothing stands out.
    outside_overhang_turn_deg : float or None
        The same direction in plan, from +x towards +y.
    """

    mass_added_g: float | None
    volume_added_mm3: float
    height_added_mm: float
    outside_overhang_mm: float
    gauge_pins: tuple[GaugePin, ...] = ()
    balls: tuple[Ball, ...] = ()
    part_volume_mm3: float = 0.0
    part_mass_g: float | None = None
    share_of_part: float = 0.0
    balance_resolution_g: float | None = None
    mass_scatter_g: float | None = None
    weighing_tells: bool | None = None
    outside_overhang_at_mm: Point | None = None
    outside_overhang_direction: Point | None = None
    outside_overhang_turn_deg: float | None = None


@dataclass(frozen=True)
class DispositionResult:
    """What the rules recommend, and why."""

    recommendation: str
    reasons: tuple[str, ...]
    concession: bool
    order_of_work: tuple[str, ...]
    settled_by: tuple[str, ...]


STATES, STATES_AND_RECOMMENDATION = "states", "states and recommendation"


@dataclass(frozen=True)
class Margin:
    """How far one number of a stray sheet may be off before a state or the recommendation changes.

    Attributes
    ----------
    stray : int
    what, unit : str
        "height" in "mm", "from_layer" or "layers" in "layers".
    down, up : float
        Off by so much less or more nothing changes, in steps of a layer.
    looked_down, looked_up : float
        How far it was looked: where nothing had changed there, the margin may be larger.
    changes_down, changes_up : str
        What changes at the next step; empty if nothing was found to.
    judged : str
        "states and recommendation", or "states" where the recommendation was not looked at.
    """

    stray: int
    what: str
    unit: str
    down: float
    up: float
    looked_down: float
    looked_up: float
    changes_down: str = ""
    changes_up: str = ""
    judged: str = STATES_AND_RECOMMENDATION


FAILS = frozenset(
    {State.BLOCKED, State.RESTRICTED, "joined", "not met", "rework", "repair", "scrap"}
)
"""States, answers and recommendations that do not conform."""


@dataclass(frozen=True)
class Result:
    """All that a check says of one part."""

    part: str
    pitch_mm: float
    passages: tuple[PassageResult, ...]
    separate: tuple[SeparateResult, ...] = ()
    unmelted: tuple[Unmelted, ...] = ()
    trapped_powder: tuple[TrappedPowder, ...] = ()
    signs: Signs | None = None
    resumed_section: tuple[dict[str, float], ...] = ()
    disposition: DispositionResult | None = None
    margins: tuple[Margin, ...] | None = None
    translations: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    schema: int = 1
    inputs: dict[str, Any] = field(default_factory=dict)

    @property
    def exit_status(self) -> int:
        """3 if a requirement fails or the part cannot stay as it is, 4 if anything is open, else 0.

        What fails goes before what is open. A requirement fails by its state (clear diameter,
        open fraction, branches), by its pressure loss, or where circuits are joined; the part
        cannot stay as it is where the recommendation is rework, repair or scrap.
        """
        found: set[str] = {p.state for p in self.passages} | {s.state for s in self.separate}
        asked = [p.flow.get("requirement", {}) for p in self.passages if p.flow is not None]
        found |= {requirement.get("predicted") for requirement in asked}
        if self.disposition is not None:
            found.add(self.disposition.recommendation)
        if found & FAILS:
            return 3
        return 4 if State.UNDETERMINED in found else 0


KEY_NAMES = {"from_": "from"}
"""Fields whose key is a word that Python keeps for itself."""


def as_json(value: Any) -> Any:
    """Plain dicts, lists, numbers and strings; a number that is not finite becomes null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        names = [f.name for f in dataclasses.fields(value)]
        return {KEY_NAMES.get(n, n): as_json(getattr(value, n)) for n in names}
    if isinstance(value, dict):
        return {str(k): as_json(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [as_json(v) for v in value]
    if isinstance(value, enum.Enum):
        return value.value
    if isinstance(value, float) or hasattr(value, "dtype"):
        number = float(value)
        return round(number, 6) if math.isfinite(number) else None
    return value
