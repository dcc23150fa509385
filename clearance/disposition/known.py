"""What is known of a part and required of it, as the rules of the disposition read it.

In: numbers and words from the check, or by hand in tests. Out: frozen dataclasses without
geometry. gather.py fills them from a case and its result.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from clearance.result import State, Unmelted
from clearance.verdict.numbers import given, least, most, rounded_down, rounded_up

Source = Literal["log", "measured", "assumed"]
Kept = Literal["not given", "met", "not met", "undetermined"]
Drill = Literal["not sought", "none found", "ruled out"]
"""What is known of a straight line that is wide enough; "ruled out" is proven."""
Open = Literal["layers", "resume", "height", "penetration"]
"""What of an event may be known only as an interval."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A drilling plan for one passage, re-checked.

    Attributes
    ----------
    strokes : tuple of str
        A phrase for each stroke: drill, opening, depth.
    clear_diameter_after_mm : float
    electrode : bool
        Its operations are spark erosion, not drilling.
    not_this_way : tuple of str
        Why operations cannot be carried out as they are.
    would_do : tuple of str
        Tools and keys with which they could.
    flow_after : str
        From the re-check, which finds the passage open: there is no plan else.
    loss_after_kpa : (float or None, float or None)
        Bounds of the pressure loss after it; None where it is not known or nothing bounds it.
    whole_interval : bool
        The same plan works for every event that the case leaves possible.
    margin_mm : float
        Least distance from the drill to the wall; 0 where it is cut.
    drill_tolerance_mm, run_out_mm : float
        What the drill may take away besides: it comes off the margin, or on top of the cut.
    wall_cut_mm : float
        Metal of the passage's wall that is cut; 0 where the wall is not touched.
    wall_left_mm : float or None
        Metal left to the nearest other void; None where no other void is near.
    wall_least_mm : float or None
        The same less what drill tolerance and run-out may take.
    conflicts : tuple of str
        What speaks against drilling this as well as the part's other plans.
    """

    strokes: tuple[str, ...]
    clear_diameter_after_mm: float = 0.0
    margin_mm: float = 0.0
    drill_tolerance_mm: float = 0.0
    run_out_mm: float = 0.0
    wall_cut_mm: float = 0.0
    wall_left_mm: float | None = None
    wall_least_mm: float | None = None
    conflicts: tuple[str, ...] = ()
    electrode: bool = False
    not_this_way: tuple[str, ...] = ()
    would_do: tuple[str, ...] = ()
    flow_after: Kept = "not given"
    loss_after_kpa: tuple[float | None, float | None] = (None, None)
    whole_interval: bool = True

    @property
    def most_cut_mm(self) -> float:
        """What is cut of the wall at most, with drill tolerance and run-out; 0 if it is not."""
        taken = self.drill_tolerance_mm + self.run_out_mm
        return self.wall_cut_mm + taken if self.wall_cut_mm > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class Pin:
    """A gauge pin that a stray sheet stops; pushed along a bore that may lean against its mouth."""

    port: str
    diameter_mm: float
    stops_at_mm: float
    nominal_stops_at_mm: float | None = None
    off_normal_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Weighing:
    """Mass that the event adds to the part's, the balance that shows it, and how parts scatter."""

    added_g: float
    part_g: float
    balance_g: float
    scatter_g: float


@dataclass(frozen=True, slots=True)
class Rim:
    """What the event makes stand out of the part's side.

    Attributes
    ----------
    out_mm : float
        How far it stands out, where it does so most.
    x_mm, y_mm : float
        There.
    turn_deg : float
        Direction in plan, from +x towards +y.
    faces_mm : tuple of float
        Heights of its lower and upper face above the platform, as far as they are known.
    step : bool
        It is or may be the part itself, which goes on aside or with other layers: it cannot come
        off as a rim of stray metal can.
    """

    out_mm: float
    x_mm: float
    y_mm: float
    turn_deg: float
    faces_mm: tuple[float, ...] = ()
    step: bool = False


@dataclass(frozen=True, slots=True)
class Passage:
    """One passage.

    Attributes
    ----------
    required_mm : float
        Ball that has to pass, as the case gives it.
    nominal_mm, low_mm, high_mm : float
        Clear diameter of the nominal part and bounds of the predicted one.
    source : {"log", "measured", "assumed"}
        How the stray sheets that matter here are known; the weakest of them.
    heights_mm : tuple of float
        Of the crossings that keep the passage from conforming.
    narrowed : bool
        Stray metal stands in it: some crossing is not fully open.
    crossing_found : bool
        A crossing that is not fully open is listed.
    said : tuple of str
        What the check says of its state.
    why_not : str
        Why no straight drill works.
    entry_faces_platform : bool
        The only openings from which it could be entered face the platform.
    drill : {"not sought", "none found", "ruled out"}
        Ruled out: no straight line is wide enough for one, proven to the end.
    drill_settled_by : tuple of str
        Tools and keys with which a drill might reopen it.
    changes : tuple of str
        What it would take along the straight lines that there are, the widest first, in numbers.
    remedies : tuple of str
        Those of them that are no redesign: less of the wall is cut.
    slices_unknown : bool
        It meets a stray sheet of whose shape nothing is known.
    flow, flow_nominal : str
        Whether the allowed pressure loss is kept, in the worst case.
    loss_kpa, loss_low_kpa, allowed_kpa : float or None
        Upper bound of the pressure loss in the worst case (None: nothing bounds it), lower bound at
        the good end (None: nothing flows), and what is allowed.
    pin : Pin or None
        A pin that tells the predicted part from the nominal one.
    ball_mm : float or None
        A ball that passes the nominal part and not the predicted one.
    contradiction : str
        What a second opinion says against its state or plan.
    """

    name: str
    state: State
    required_mm: float
    nominal_state: State = State.OPEN
    nominal_mm: float = 0.0
    low_mm: float = 0.0
    high_mm: float = 0.0
    source: Source = "assumed"
    heights_mm: tuple[float, ...] = ()
    narrowed: bool = True
    crossing_found: bool = True
    said: tuple[str, ...] = ()
    settled_by: tuple[str, ...] = ()
    plan: Plan | None = None
    why_not: str = ""
    entry_faces_platform: bool = False
    drill: Drill = "not sought"
    drill_settled_by: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()
    slices_unknown: bool = False
    flow: Kept = "not given"
    flow_nominal: Kept = "not given"
    loss_kpa: float | None = None
    loss_low_kpa: float | None = None
    allowed_kpa: float | None = None
    pin: Pin | None = None
    ball_mm: float | None = None
    contradiction: str = ""


@dataclass(frozen=True, slots=True)
class Pair:
    """Circuits that must stay apart; `source` as for a passage."""

    passages: tuple[str, ...]
    state: Literal["apart", "joined", "undetermined"]
    through: Literal["void", "unmelted"] | None = None
    nominal_state: str = "apart"
    source: Source = "assumed"
    where_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Powder:
    """Powder shut in: where, by what, and the passage whose plan opens it (empty: none)."""

    volume_mm3: float
    between: tuple[str, ...]
    passages: tuple[str, ...] = ()
    opened_by: str = ""
    source: Source = "assumed"
    mass_g: float | None = None
    certain: bool = True

    @property
    def nominal(self) -> bool:
        """Shut in by the design already."""
        return self.between == ("nominal",)


@dataclass(frozen=True, slots=True)
class Known:
    """All that the disposition rests on.

    Attributes
    ----------
    affected : bool
        Stray, unmelted, shifted or lifted metal is in this part.
    event : bool
        The case gives one at all.
    open_questions : tuple of str
        What of the event is known only as an interval.
    height_added_mm : (float, float)
        Least and greatest growth of the part.
    rate_l_min : float or None
        Of the flow requirement.
    weighing : Weighing or None
        Where the mass added is more than good parts scatter by.
    rim : Rim or None
        Where stray metal stands out of the side so far that it can be measured.
    lower_mm : float
        By so much a face may lie below its counted height: packing of the powder, and cooling as
        far as it is given.
    against : str
        Which readings of the part contradict the event as told; empty if none does.
    """

    passages: tuple[Passage, ...]
    pairs: tuple[Pair, ...] = ()
    powder: tuple[Powder, ...] = ()
    gaps: tuple[Unmelted, ...] = ()
    affected: bool = True
    event: bool = True
    on_platform: bool = False
    emptied: bool = False
    heat_treated: bool = False
    wall_allowance_mm: float = 0.0
    min_wall_mm: float | None = None
    build_allowance_mm: float = 0.0
    mesh_tolerance_mm: float = 0.0
    layer_thickness_mm: float = 0.05
    open_questions: tuple[Open, ...] = ()
    height_added_mm: tuple[float, float] = (0.0, 0.0)
    rate_l_min: float | None = None
    weighing: Weighing | None = None
    rim: Rim | None = None
    lower_mm: float = 0.0
    against: str = ""

    def need(self, passage: Passage) -> float:
        """Clear diameter that the predicted mesh has to have, mm."""
        return passage.required_mm + self.build_allowance_mm - self.mesh_tolerance_mm

    def wide_enough(self, passage: Passage) -> bool:
        """The ball passes; what fails is another requirement, such as an open fraction."""
        return passage.low_mm >= self.need(passage) and bool(passage.said)

    def plan_of(self, name: str) -> Plan | None:
        """Plan of a passage by its name."""
        return next((p.plan for p in self.passages if p.name == name), None)


KNOWN_EVENT: tuple[Source, ...] = ("log", "measured")
"""Sources on which a part may be recommended for scrap; nobody scraps on an assumption."""


def weakest(sources: Iterable[str]) -> Source:
    """The least certain of some sources; assumed if there is none."""
    found = set(sources)
    for source in ("assumed", "measured", "log"):
        if source in found:
            return source
    return "assumed"


Recommendation = Literal["scrap", "undetermined", "repair", "rework", "use-as-is", "not-affected"]
GRAVITY: tuple[Recommendation, ...] = (
    "scrap",
    "undetermined",
    "repair",
    "rework",
    "use-as-is",
    "not-affected",
)
"""The recommendations, the gravest first."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What one row of the table says of one requirement."""

    item: Passage | Pair | Powder | Unmelted
    row: int
    recommendation: Recommendation
    reason: str


# ---- what is asked of a passage and of its plan ---------------------------------------------


def meets(passage: Passage) -> bool:
    """The predicted passage meets its requirements, the pressure loss too."""
    return passage.state is State.OPEN and passage.flow in ("not given", "met")


def unclear(passage: Passage) -> bool:
    """Something that decides is not known: a slice, the state, the nominal part, the loss."""
    if passage.slices_unknown or passage.state is State.UNDETERMINED:
        return True
    if meets(passage):
        return False
    return (
        passage.nominal_state is State.UNDETERMINED
        or passage.flow_nominal == "undetermined"
        or (passage.state is State.OPEN and passage.flow == "undetermined")
    )


def forbidden(known: Known, plan: Plan | None) -> str:
    """Why a plan must not be used; empty if nothing forbids it, or there is none."""
    if plan is None:
        return ""
    left = thinnest(known, plan)
    if left is not None:
        said = (
            "" if left == plan.wall_left_mm else " once drill tolerance and run-out are taken off"
        )
        need = known.min_wall_mm or 0.0
        return f"it would leave a wall of {least(left, need)} mm{said}, {given(need)} required"
    if plan.flow_after == "not met":
        return f"after it the {loss_words(*plan.loss_after_kpa)}: still more than allowed"
    return ""


def thinnest(known: Known, plan: Plan) -> float | None:
    """The wall that a plan leaves, where that is less than `min_wall`; else None."""
    left = [wall for wall in (plan.wall_left_mm, plan.wall_least_mm) if wall is not None]
    need = known.min_wall_mm
    return None if need is None else next((wall for wall in left if wall < need), None)


def loss_words(low_kpa: float | None, high_kpa: float | None) -> str:
    """A pressure loss with the bounds that are known, each rounded outward to three digits."""
    low = "" if low_kpa is None else _three_digits(low_kpa, rounded_down)
    high = "" if high_kpa is None else _three_digits(high_kpa, rounded_up)
    if not low and not high:
        return "pressure loss not known"
    if not low:
        return f"pressure loss up to {high} kPa"
    if not high:
        return f"pressure loss {low} kPa or more, nothing bounds it"
    return f"pressure loss {low} to {high} kPa"


def _three_digits(value: float, rounded: Callable[[float, int], str]) -> str:
    decimals = 2 - math.floor(math.log10(value)) if value > 0.0 else 0
    return f"{float(rounded(value, max(decimals, 0))):g}"


def asked(known: Known, plan: Plan) -> tuple[str, ...]:
    """What the design authority has to answer before a plan that cuts the wall may be used."""
    if plan.wall_cut_mm <= 0.0:
        return ()
    said = []
    if plan.most_cut_mm > known.wall_allowance_mm + 1e-9:
        cut, allowed = most(plan.most_cut_mm), given(known.wall_allowance_mm)
        said.append(f"may {cut} mm of the wall be cut (wall_allowance, {allowed} given)")
    if known.min_wall_mm is None:
        said.append("how much metal must stay (min_wall, not given)")
    return tuple(said)


def candidate(known: Known, plan: Plan | None) -> Plan | None:
    """The plan, if nothing forbids it."""
    return None if forbidden(known, plan) else plan


def doubt(plan: Plan | None) -> str:
    """Why it is not sure that a plan works; empty if it is, or there is none."""
    if plan is None:
        return ""
    if plan.conflicts:
        return "; ".join(plan.conflicts)
    if plan.not_this_way:
        said = "; ".join(plan.not_this_way)
        return f"the drilling plan that was found cannot be carried out this way: {said}"
    if not plan.whole_interval:
        return "the plan works for part of what is possible only"
    if plan.flow_after == "undetermined":
        return (
            f"after the plan the {loss_words(*plan.loss_after_kpa)}: whether that keeps it is open"
        )
    return ""


def usable(known: Known, plan: Plan | None) -> Plan | None:
    """The plan, if it restores the requirements whatever of the event is left open."""
    plan = candidate(known, plan)
    return None if doubt(plan) else plan
