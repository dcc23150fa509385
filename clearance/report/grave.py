"""What no list of passages tells and nobody may miss: circuits, joints, leak paths, powder.

In: a `Result`. Out: lines of text. Whoever reads of the passages has to read these too, however
many passages there are.
"""

from __future__ import annotations

from clearance.report.finished import finished_line
from clearance.report.headline import named
from clearance.report.joints import WHOLE_JOINT, Joint, joint_line, joints
from clearance.report.powder import powder_line
from clearance.result import Result, SeparateResult, Unmelted
from clearance.verdict.names import APART, event, leaking
from clearance.verdict.numbers import level, most, near, point
from clearance.verdict.reading_words import OTHERS, contradiction, exclusions

CARRIED_OUT = {
    True: "the balls and flow tests that the work sequence asks for were read and conform; proof "
    "test and release are for people",
    False: "what was read does not conform: the work sequence has not reached its end",
}
GAP = "unmelted gap (lack of fusion)"


def besides(result: Result) -> tuple[tuple[str, str], ...]:
    """Circuits not apart, joints not whole, paths to the outside, trapped powder: key and words."""
    said = [("circuits", separate_line(s)) for s in result.separate if s.state != "apart"]
    in_joint = [joint.gap for joint in joints(result) if joint.share < WHOLE_JOINT]
    said += [
        ("leak path", _leak(gap, any(gap is known for known in in_joint)))
        for gap in result.unmelted
        if leaking(gap.joins)
    ]
    said += [("joint", _weak(joint)) for joint in joints(result) if joint.share < WHOLE_JOINT]
    said += [
        (
            "joint",
            f"may be unmelted over its whole section, {near(gap.area_mm2, 1)} mm2: up to "
            f"{most(gap.thickness_mm)} mm of powder at {level([gap.where_mm[2]])}",
        )
        for gap in result.unmelted
        if gap.joint
    ]
    if OTHERS in result.notices:
        said.append(("causes", OTHERS))
    if apart := exclusions(list(enumerate(result.readings, 1))):
        said.append(("readings", apart))
    if against := contradiction(result.readings):
        said.append(("readings", against))
    if result.finished is not None and result.finished.inside != "yes":
        said.append(("finished shape", finished_line(result.finished)))
    done = None if result.disposition is None else result.disposition.carried_out
    if done is not None:
        said.append(("after the work", CARRIED_OUT[done]))
    if result.trapped_powder:
        said.append(("trapped powder", powder_line(result.trapped_powder)))
    return tuple(said)


def _weak(joint: Joint) -> str:
    said = joint_line(joint)
    return said if said.startswith("none") else f"only {said}"


def _leak(gap: Unmelted, told: bool) -> str:
    """That a gap may leak; its size unless the line of the joint tells it."""
    size = "" if told else f", {_size(gap)}"
    return f"{named(leaking(gap.joins))} may leak to the outside through an {GAP}{size}"


def _size(gap: Unmelted) -> str:
    return f"{near(gap.area_mm2, 1)} mm2, up to {most(gap.thickness_mm)} mm thick"


def separate_line(found: SeparateResult) -> str:
    """Whether circuits stayed apart, in words."""
    through = f" through {'an unmelted gap' if found.through == 'unmelted' else found.through}"
    where = f" at {point(found.where_mm)}" if found.where_mm is not None else ""
    before = APART[found.nominal_state]
    nominal = "" if found.nominal_state == "apart" else f" (nominal part: {before})"
    names = named(found.passages)
    return f"{names}: {APART[found.state]}{through if found.through else ''}{where}{nominal}"


def unmelted_line(found: Unmelted) -> str:
    """A gap that stayed powder, in words."""
    joins = "; ".join(named(pair) for pair in found.joins)
    what = ", in the joint itself" if found.joint else ""
    path = f"leak path: {joins}" if joins else "no leak path"
    return f"{event(found.stray)}{what}: {_size(found)}, at {point(found.where_mm)}; {path}"
