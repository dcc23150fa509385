"""Whether a shop can do a drilling operation as it is planned, aspect by aspect.

In: an operation, the sheets that it meets, what the shop has. Out: `Aspect`s, each fine, careful
or not-this-way, with its numbers; docs/method.md, "Drilling in practice", has the rules.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from clearance.case.materials import alloy
from clearance.case.tables import DrillingTable, PartTable
from clearance.drilling import forces
from clearance.drilling.aslant import EDGE_ON_DEG, off_normal
from clearance.drilling.drills import point_length
from clearance.result import Drilling
from clearance.result.passage import Answer, Aspect
from clearance.verdict.numbers import given, most, near, rounded_down, rounded_up

LED = 0.1
"""Side clearance over the diameter up to which the bore leads a drill; our rule."""
SQUARE_DEG = 2.0
"""Up to this off square nothing is changed: a toolmaker's page, of drills with inserts."""
CORE_DRILL_MM, PILOT = 10.0, 0.6
"""From this diameter on core drills are made, for a hole of at least this share of theirs: two
published pages."""
THIN_MM = 0.2
"""Below about this a sheet bulges and tears before it is cut: our reading of clamped discs."""
GRAVITY: tuple[Answer, ...] = ("fine", "careful", "not-this-way")
ASKS = {
    "tilt": ("side_clearance_mm", 1.0),
    "opening": ("open_fraction", 1.0),
    "sheet": ("thickness_low_mm", -1.0),
    "thrust": ("thrust_high_n", 1.0),
    "torque": ("torque_high_nm", 1.0),
    "flushing": ("open_fraction", 1.0),
    "recast": ("", 1.0),
}
"""The number of an aspect that tells which of two crossings is graver, and which way."""


@dataclass(frozen=True, slots=True)
class Met:
    """A crossing as an operation meets it.

    Attributes
    ----------
    crossing : int
        Number in the passage's `crossings`.
    thickness_mm : (float, float)
        Of the sheet, at least and at most; (0, 0) where only a step lies there: as thick as can be.
    open_fraction : float
    axis_open : bool
        The axis meets what is open, no metal.
    opening_mm : float
        Largest circle in what is open; 0 where it is sealed.
    across_mm : float
        Diameter of the passage there, of equal area, square to the drill.
    beside_mm : float
        Side clearance, at its most, over the last diameter before its point meets the sheet;
        inf where some of that lies before the mouth.
    metal_share : float
        Of what it cuts at the sheet's height, where that is most open.
    off_deg : float or None
        How far off square the drill meets it, where it need not be level; None: it is level.
    """

    crossing: int
    thickness_mm: tuple[float, float]
    open_fraction: float
    axis_open: bool
    opening_mm: float
    across_mm: float
    beside_mm: float = 0.0
    metal_share: float = 1.0
    off_deg: float | None = None

    @property
    def step(self) -> bool:
        """No sheet: the part above stands aside."""
        return self.thickness_mm[1] <= 0.0


@dataclass(frozen=True, slots=True)
class Shop:
    """What is given of the shop and the metal.

    Attributes
    ----------
    drilling : DrillingTable
    work_constant : (float, float) or None
        None where nothing is known of the material.
    modulus_gpa : float or None
    material : str
        Whose constants they are, in words; empty where the user gave them.
    """

    drilling: DrillingTable
    work_constant: tuple[float, float] | None
    modulus_gpa: float | None
    material: str = ""

    @classmethod
    def of(cls, part: PartTable, drilling: DrillingTable) -> Shop:
        """From the case: what is given wins over what is known of the alloy by its name."""
        known = alloy(part.material)
        constant, modulus = drilling.work_constant, part.youngs_modulus
        if known is None:
            return cls(drilling, constant, modulus)
        borrowed = constant is None or modulus is None
        return cls(
            drilling,
            constant or known.work_constant,
            modulus or known.modulus_gpa,
            known.name if borrowed else "",
        )

    @property
    def whose(self) -> str:
        """Whose constants a number rests on, as a clause."""
        return f" (constants of {self.material} from memory)" if self.material else ""


def aspects(one: Drilling, met: Sequence[Met], shop: Shop) -> tuple[Aspect, ...]:
    """What a shop would say to an operation; of each aspect the crossing for which it is gravest.

    Parameters
    ----------
    one : Drilling
    met : sequence of Met
        The crossings that it clears.
    shop : Shop
    """
    looks: tuple[Callable[[Drilling, Met, Shop], Aspect], ...]
    if one.tool == "electrode":
        looks = (_flushing, _recast)
    elif off_normal(one) >= EDGE_ON_DEG:
        looks = (_tilt, _opening)  # it cuts a slot: no formula of these holds
    else:
        looks = (_tilt, _opening, _sheet, _thrust, _torque)
    return tuple(
        max((look(one, each, shop) for each in met), key=_gravity) for look in looks if met
    )


def _gravity(found: Aspect) -> tuple[int, float]:
    """Of two crossings with the same answer that counts which asks more of the tool."""
    number, sign = ASKS[found["aspect"]]
    return GRAVITY.index(found["answer"]), sign * found["numbers"].get(number, -sign * math.inf)


def worst(found: Sequence[Aspect]) -> Answer:
    """The gravest answer of an operation; fine where nothing is told."""
    return max((one["answer"] for one in found), key=GRAVITY.index, default="fine")


def _told(
    aspect: str,
    met: Met,
    answer: Answer,
    why: str,
    numbers: dict[str, float],
    would_do: Sequence[str] = (),
) -> Aspect:
    return Aspect(
        aspect=aspect,  # type: ignore[typeddict-item]
        crossing=met.crossing,
        answer=answer,
        why=why,
        numbers=numbers,
        would_do=list(would_do),
    )


def electrode_words(one: Drilling, point_angle_deg: float) -> str:
    """The electrode that would do instead of a drill."""
    point = point_length(one.drill_diameter_mm, point_angle_deg)
    deep = (one.depth_mm - point) / one.drill_diameter_mm
    return (
        f"an electrode for a hole of {given(one.drill_diameter_mm)} mm that goes deeper than "
        f"{rounded_up(deep, 1)} diameters ([drilling] electrodes), once the powder is proven to "
        "be out ([state] emptied)"
    )


# ---- a drill ---------------------------------------------------------------------------------


def _tilt(one: Drilling, met: Met, shop: Shop) -> Aspect:
    """How far off square it meets the sheet, and whether the bore leads it."""
    off = off_normal(one) if met.off_deg is None else met.off_deg
    wide = one.drill_diameter_mm
    outside = math.isinf(met.beside_mm)
    at_sheet = max(one.wall_margin_mm, 0.5 * (met.across_mm - wide))
    beside = at_sheet if outside else max(at_sheet, met.beside_mm)
    led = not outside and beside <= LED * wide
    own = shop.drilling.max_tilt
    limit = max(own, forces.steepest(shop.drilling.point_angle)) if led else own
    numbers = {"tilt_deg": off, "limit_deg": limit, "side_clearance_mm": beside}
    meets = f"meets the sheet {near(off, 1)} deg off square"
    if off <= SQUARE_DEG:
        return _told("tilt", met, "fine", meets, numbers)
    if off >= EDGE_ON_DEG and met.thickness_mm[0] >= wide:
        why = "goes along within a sheet that is thicker than itself: as in solid metal, a bush"
        return _told("tilt", met, "careful", why, numbers)
    leads = "the bore leads it" if led else "the bore does not lead it"
    if outside:
        leads += ": its point meets the sheet before it is a diameter deep"
    else:
        leads += f", {most(beside)} mm of clearance beside it"
    if off <= limit:
        if off >= EDGE_ON_DEG:
            return _told(
                "tilt", met, "careful", f"{meets}: it runs along it, a bush first", numbers
            )
        deep = forces.uneven(wide, off, shop.drilling.point_angle)
        why = (
            f"{meets}, {given(limit)} deg at most ({leads}): a third of the feed until it cuts "
            f"all round, {most(deep)} mm"
        )
        return _told("tilt", met, "careful", why, {**numbers, "uneven_mm": deep})
    asked = rounded_up(off, 1)
    ways = (
        f"a way to start a drill {asked} deg off square, such as a bush and a spot face first "
        f"([drilling] max_tilt of {asked}, {given(own)} given)",
        electrode_words(one, shop.drilling.point_angle),
    )
    why = f"{meets}, more than {given(limit)} deg ({leads})"
    return _told("tilt", met, "not-this-way", why, numbers, ways)


def _opening(one: Drilling, met: Met, shop: Shop) -> Aspect:
    """Whether the axis meets metal, or an opening in which a drill with two flutes grabs."""
    wide = one.drill_diameter_mm
    numbers = {"open_fraction": met.open_fraction, "opening_mm": met.opening_mm}
    if met.open_fraction <= 0.0:
        return _told("opening", met, "fine", "the axis meets metal, nothing of it open", numbers)
    bush = "a guide bush, a point for thin sheet, firm clamping; or an electrode"
    if not met.axis_open:
        why = f"the axis meets metal beside an opening, whose edge a two-flute drill grabs: {bush}"
        return _told("opening", met, "careful", why, numbers)
    core = wide >= CORE_DRILL_MM and met.opening_mm >= PILOT * wide
    why = (
        f"the axis meets an opening of {rounded_down(met.opening_mm, 2)} mm, in which a two-flute "
        f"drill grabs: {'a core drill of that size, firm clamping' if core else bush}"
    )
    left, allowed = wide - met.opening_mm, forces.reaming_allowance(wide)
    numbers["on_diameter_mm"] = left
    if allowed is not None:
        numbers["reaming_mm"] = allowed
        does = "a reamer would do if it lies in the middle" if left <= allowed else "no reamer"
        why += f"; {does}: {most(left)} mm on the diameter, {given(allowed)} at most"
    return _told("opening", met, "careful", why, numbers)


def _sheet(one: Drilling, met: Met, shop: Shop) -> Aspect:
    """Whether the sheet stands the chisel edge, or bulges and tears."""
    low, high = met.thickness_mm
    if met.step:
        return _told("sheet", met, "fine", "a step of the part itself, no sheet", {})
    numbers = {"thickness_low_mm": low, "thickness_high_mm": high}
    torn = "it bulges and tears to a ragged rim, whose flaps have to be found"
    if shop.modulus_gpa is None or shop.work_constant is None:
        thin = low < THIN_MM
        what = f"down to {rounded_down(low, 2)} mm thick"
        why = f"{what}, of about {THIN_MM} mm below which {torn}"
        if not thin:
            why = f"{what}: cut rather than torn, from about {THIN_MM} mm on"
        return _told("sheet", met, "careful" if thin else "fine", why + UNKNOWN_SHEET, numbers)
    chisel = _needed(one, met, shop)["chisel_high_n"]
    plan = met.across_mm / math.sqrt(math.cos(math.radians(off_normal(one))))  # the sheet is level
    across = max(plan, one.drill_diameter_mm)  # the wider the softer
    stands = forces.sheet_load(low, across, shop.modulus_gpa)
    numbers |= {"chisel_high_n": chisel, "sheet_n": stands}
    dents = (
        f"{rounded_down(stands, 1)} N in its middle bend a sheet of {rounded_down(low, 2)} mm by "
        "its own thickness"
    )
    brings = f"the chisel edge brings up to {rounded_up(chisel, 0)} N{shop.whose}"
    if met.open_fraction > 0.0 and low < _point(one, shop):
        why = (
            f"{brings}; with an opening the sheet is softer than one clamped all round "
            f"({rounded_down(stands, 1)} N): its edge bends and tears; a point for thin sheet"
        )
        return _told("sheet", met, "careful", why, numbers)
    if stands >= chisel:
        return _told("sheet", met, "fine", f"{dents}, {brings}", numbers)
    why = f"{dents}, {brings}: {torn}; a point for thin sheet"
    return _told("sheet", met, "careful", why, numbers)


def _point(one: Drilling, shop: Shop) -> float:
    return point_length(one.drill_diameter_mm, shop.drilling.point_angle)


UNKNOWN_SHEET = "; the material's stiffness or work constant is not known"
UNKNOWN_FORCE = (
    "not computed: the work constant of the material is not known ([drilling] work_constant)"
)


def _thrust(one: Drilling, met: Met, shop: Shop) -> Aspect:
    """Thrust against what buckles the drill, with its tip held and free."""
    table, wide = shop.drilling, one.drill_diameter_mm
    modulus, safety = 1e3 * table.drill_modulus, table.safety
    held, free = (
        forces.buckling(wide, one.flute_mm, how, modulus, table.drill_strength) / safety
        for how in (True, False)
    )
    numbers = {"held_n": held, "free_n": free}
    stands = (
        f"the drill stands {rounded_down(free, 0)} N with its tip free, {rounded_down(held, 0)} N "
        f"with it held, safety {given(safety)}"
    )
    if shop.work_constant is None:
        return _told("thrust", met, "careful", f"{UNKNOWN_FORCE}; {stands}", numbers)
    need = _needed(one, met, shop)
    low, high = need["thrust_low_n"], need["thrust_high_n"]
    numbers |= need
    solid = need["lip_share"] >= 1.0
    where = "in solid metal" if solid else "in this sheet, the chisel edge first"
    ends = dict.fromkeys(given(need[end]) for end in ("feed_low_mm", "feed_high_mm"))
    fed = " to ".join(ends)
    why = (
        f"{rounded_down(low, 0)} to {rounded_up(high, 0)} N {where}, at {fed} mm a turn"
        f"{shop.whose}; {stands}"
    )
    if high <= free:
        return _told("thrust", met, "fine", why, numbers)
    if low > held:
        long = rounded_down(forces.longest(wide, safety * low, modulus), 0)
        ways = (
            f"a drill of {given(wide)} mm with at most {long} mm of flute ([drilling] drills), "
            "less feed, a split point or a stiffer drill ([drilling] feed, split_point, "
            "drill_modulus)",
            electrode_words(one, shop.drilling.point_angle),
        )
        return _told("thrust", met, "not-this-way", f"{why}: it buckles", numbers, ways)
    feed = ", with the least feed" if high > held else ""
    hold = f"hold its tip in a bush near the sheet{feed}"
    return _told("thrust", met, "careful", f"{why}: {hold}", numbers)


def _torque(one: Drilling, met: Met, shop: Shop) -> Aspect:
    """Torque against what twists the drill off."""
    table = shop.drilling
    limit = forces.torque_limit(one.drill_diameter_mm, table.drill_strength)
    numbers = {"torque_limit_nm": limit}
    if shop.work_constant is None:
        why = f"{UNKNOWN_FORCE}; the drill stands {rounded_down(limit, 2)} N m"
        return _told("torque", met, "careful", why, numbers)
    need = _needed(one, met, shop)
    low, high = need["torque_low_nm"], need["torque_high_nm"]
    numbers |= {"torque_low_nm": low, "torque_high_nm": high}
    why = (
        f"{rounded_down(low, 2)} to {rounded_up(high, 2)} N m{shop.whose}; the drill stands "
        f"{rounded_down(limit, 2)} N m"
    )
    if low > limit:
        ways = (
            "a drill of stronger steel ([drilling] drill_strength)",
            electrode_words(one, table.point_angle),
        )
        return _told("torque", met, "not-this-way", f"{why}: it twists off", numbers, ways)
    if high > limit / table.safety:
        why += f", less than {given(table.safety)} times as much: little feed, no jam"
        return _told("torque", met, "careful", why, numbers)
    return _told("torque", met, "fine", why, numbers)


def _needed(one: Drilling, met: Met, shop: Shop) -> dict[str, float]:
    """Thrust, N, and torque, N m, over all that is possible of feed, constant and thickness.

    At its most the chisel edge is still in the sheet while the lips are in it over its thickness;
    at its least, where the axis meets an opening, there is no metal before the chisel edge, and
    over a turn the lips cut only as much as there is of metal.
    """
    table, wide = shop.drilling, one.drill_diameter_mm
    assert shop.work_constant is not None
    feeds = table.feed or forces.usual_feed(wide)
    ends = [
        forces.cutting(wide, feed, constant, table.split_point)
        for feed, constant in zip(feeds, shop.work_constant, strict=True)
    ]
    shares = [
        1.0 if met.step else forces.lip_share(wide, thick, table.point_angle)
        for thick in met.thickness_mm
    ]
    chisel = [0.0 if met.axis_open else ends[0].chisel_n, ends[1].chisel_n]
    metal = (met.metal_share, 1.0)
    thrust = [c + m * s * e.lips_n for c, m, s, e in zip(chisel, metal, shares, ends, strict=True)]
    torque = [
        m * forces.torque_share(s) * e.torque_nm
        for m, s, e in zip(metal, shares, ends, strict=True)
    ]
    return {
        "thrust_low_n": thrust[0],
        "thrust_high_n": thrust[1],
        "chisel_low_n": chisel[0],
        "chisel_high_n": chisel[1],
        "lip_share": shares[1],
        "torque_low_nm": torque[0],
        "torque_high_nm": torque[1],
        "feed_low_mm": feeds[0],
        "feed_high_mm": feeds[1],
    }


# ---- an electrode ----------------------------------------------------------------------------


def _flushing(one: Drilling, met: Met, shop: Shop) -> Aspect:
    """Whether the spark has metal all round."""
    lost = "the flushing is lost"
    if met.open_fraction > 0.0:
        lost += " from the start on, the sheet has an opening"
    else:
        lost += " where it breaks into the void"
    why = f"{lost}: little power there, flush through the passage"
    return _told("flushing", met, "careful", why, {"open_fraction": met.open_fraction})


def _recast(one: Drilling, met: Met, shop: Shop) -> Aspect:
    """What spark erosion leaves."""
    why = "a recast layer stays on what is cut: off where the part is loaded in fatigue"
    return _told("recast", met, "careful", why, {})


def worded(found: Sequence[Aspect]) -> Iterator[str]:
    """An operation's aspects in words: those that are not fine, then the names of the others."""
    for one in sorted(found, key=lambda each: -GRAVITY.index(each["answer"])):
        if one["answer"] != "fine":
            yield f"{one['aspect']}, {one['answer'].replace('-', ' ')}: {one['why']}"
    fine = [one["aspect"] for one in found if one["answer"] == "fine"]
    if fine:
        yield f"fine: {', '.join(fine)}"


def equal_diameter(area_mm2: float, tilt_deg: float) -> float:
    """Diameter of a passage square to a drill, from its area in plan."""
    return math.sqrt(4.0 * area_mm2 * math.cos(math.radians(tilt_deg)) / math.pi)
