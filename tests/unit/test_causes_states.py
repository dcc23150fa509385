"""States of suspects told by sections, against a whole check of each: never another one.

The parts are small; what differs between the cases is what sections alone could get wrong. The
other way is the check itself, which looks at one event and knows nothing of the suspects.
"""

import make
import numpy as np
import pytest
import shapes

from clearance.case.read import read_case
from clearance.causes.explain import explain
from clearance.causes.states import LEFT_OUT, LOOKED_AT, Outcomes, likely_enough
from clearance.checking import judge
from clearance.result import State
from clearance.verdict.prepared import prepare

UPRIGHT = make.passage((0, 0, 0), (0, 0, 10), 1.5, 1.2)
SLANTING = make.passage((-4, 0, 0), (4, 0, 10), 1.2, 2.0)
SLANTING |= {"inlet": make.port((-4, 0, 0), 1.6), "outlet": make.port((4, 0, 10), 1.6)}


def upright():
    """A block with a bore, under it a wide recess whose roof is level in the middle of layer 4."""
    solid = shapes.block((-6, -4, 0), (6, 4, 10)) - shapes.bore(
        (0, 0, -1), (0, 0, 11), 1.5, segments=24
    )
    return solid - shapes.bore((0, 0, -1), (0, 0, 0.45), 2.5, segments=24)


def closed_low():
    """The same, its bore beginning above a level floor in the middle of layer 4."""
    solid = shapes.block((-6, -4, 0), (6, 4, 10)) - shapes.bore(
        (0, 0, 0.45), (0, 0, 11), 1.5, segments=24
    )
    return solid - shapes.bore((0, 0, 3), (0, 5, 3), 1.0, segments=24)


def slanting():
    """A block with a bore at 0.8 mm aside a mm up."""
    bore = shapes.bore((-4.8, 0, -1), (4.8, 0, 11), 1.2, segments=24)
    return shapes.block((-8, -4, 0), (8, 4, 10)) - bore


SIDE = make.passage((0, 0, 10), (0, 4, 3), 1.5, 1.2) | {"outlet": make.port((0, 4, 3), 1.0)}
DISC = {"shape": "mesh", "mesh": "disc.stl"}
TOLD = make.sheet(7.0, 1, from_layer=60)
JUMP = {"height": 5.0, "layers": 1, "from_layer": 50, "next_layer": 51, "penetration": 0.0}
CASES = {
    "stray metal given as a mesh lies in the bore": (
        upright, UPRIGHT, [DISC, TOLD], {"after_layer": [70, 70]}
    ),
    "each height lifts what lies above by another way": (
        slanting, SLANTING, [JUMP], {"after_layer": [65, 66]}
    ),
    "a slice lies in a level face": (
        closed_low, SIDE, [make.sheet(7.0, 1, from_layer=2)], {"from_layer": [2, 6]}
    ),
    "more layers lift what lies above farther than the event as told": (
        slanting, SLANTING, [TOLD], {"layers": [16, 16], "resume": ["layer"]}
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_sections_never_tell_another_state_than_a_check(tmp_path, case):
    solid, passage, strays, suspected = CASES[case]
    disc = {"disc": shapes.block((-3, -3, 4), (3, 3, 4.5))} if DISC in strays else {}
    path = make.write_case(
        tmp_path, solid(), passage, strays, pitch=0.25, meshes=disc, suspected=suspected
    )
    checked = prepare(read_case(path))
    asked = checked.case.suspected
    outcomes = Outcomes(checked, asked.suspects, asked.stray, most_checks=1)
    some = [0, len(asked.suspects) - 1]
    even = np.full(len(asked.suspects), 1.0 / len(asked.suspects))
    found = outcomes.of(np.ones(len(even)), even, range(len(even)))
    for n in some:
        (told,) = found[n].states
        (passage,) = judge(outcomes._as(asked.suspects[n]), verify=False).result.passages
        assert told in (passage.state, State.UNDETERMINED), asked.suspects[n]
    assert len({one.states for one in found.values()}) > (DISC not in strays)


def test_what_is_not_looked_at_never_weighs_much_together():
    """3,000 that are 2,000 times less likely than the best weigh more than it, all together."""
    ratio = np.concatenate([[1.0, 0.5], np.full(3000, 5e-4)])
    after = ratio / ratio.sum()
    wanted = likely_enough(ratio, after)
    assert float(after[~wanted].sum()) <= LEFT_OUT
    few = np.array([1.0, LOOKED_AT, 0.9 * LOOKED_AT, 0.0])
    assert likely_enough(few, few / few.sum()).tolist() == [True, True, False, False]
    # One that was held a thousand times likelier before any reading weighs as much as the best.
    assert likely_enough(np.array([1.0, 5e-4]), np.array([0.5, 0.5])).all()


def test_what_a_drill_reaches_from_either_end_is_not_taken_over_for_what_lies_between(tmp_path):
    """Sheets 5 and 36 mm up a bore of 40 are drilled from below and above, one at 20 from neither.

    6 diameters of 3 mm are 18 mm. Ends of a range alone would say "rework whatever the cause".
    """
    solid = shapes.block((-3, -3, 0), (3, 3, 40))
    solid -= shapes.bore((0, 0, -1), (0, 0, 41), 1.5, segments=24)
    passage = make.passage((0, 0, 0), (0, 0, 40), 1.5, 2.4)
    shop = {"series": ["jobber"], "holder_diameter": 5.0, "max_length_to_diameter": 6.0}
    tables = {"suspected": {"after_layer": [4, 35]}, "drilling": shop}
    told = make.plane(5.0, 1)
    path = make.write_case(tmp_path, solid, passage, told, layer=1.0, pitch=0.75, **tables)
    result = explain(prepare(read_case(path)), most_checks=3)
    assert result.checks == 3
    assert {one.recommendation for one in result.classes} == {"rework", "undetermined"}
    assert not result.decision.settled
    assert "whatever the cause" not in result.decision.said
