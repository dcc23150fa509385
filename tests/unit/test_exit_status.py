"""Exit status of a result: what fails goes before what is open, and the recommendation counts.

The rule (DESIGN): 3 if a stated requirement fails or the recommendation is rework, repair or scrap;
else 4 if anything is undetermined; else 0.
"""

import itertools

import make
import pytest
import shapes

from clearance.disposition.known import GRAVITY
from clearance.result import (
    ClearDiameter,
    DispositionResult,
    PassageResult,
    Result,
    SeparateResult,
    State,
)

ASKED = ("not given", "met", "not met", "undetermined")


def result(state=State.OPEN, apart="apart", kept="not given", recommended="use-as-is"):
    clear = ClearDiameter(5.0, 5.0, 5.0, 5.0, 5.0, 5.0)
    flow = {"requirement": {"predicted": kept, "nominal": "met", "after_rework": None}}
    passage = PassageResult("a", state, 4.0, clear, State.OPEN, (), (), flow=flow)
    decided = recommended and DispositionResult(recommended, (), False, (), ())
    pair = SeparateResult(("a", "b"), apart, None, None)
    return Result("part", 0.2, (passage,), separate=(pair,), disposition=decided)


@pytest.mark.parametrize(
    ("found", "status"),
    [
        (result(), 0),
        (result(recommended="not-affected"), 0),
        (result(kept="met"), 0),
        (result(kept="not met"), 3),
        (result(kept="not met", recommended="undetermined"), 3),
        (result(kept="undetermined"), 4),
        (result(recommended="undetermined"), 4),
        (result(recommended="rework"), 3),
        (result(recommended="repair"), 3),
        (result(recommended="scrap"), 3),
        (result(State.RESTRICTED, recommended="use-as-is"), 3),  # row 11: a concession
        (result(State.RESTRICTED, recommended="undetermined"), 3),
        (result(State.UNDETERMINED, recommended="rework"), 3),  # one plan, whatever is true
        (result(State.UNDETERMINED, recommended="undetermined"), 4),
        (result(apart="joined", recommended="undetermined"), 3),
        (result(apart="undetermined", recommended="undetermined"), 4),
        (result(recommended=None), 0),
    ],
)
def test_status(found, status):
    assert found.exit_status == status


def test_0_is_for_use_as_is_and_not_affected_with_nothing_failing_or_open():
    for state, apart, kept, said in itertools.product(
        State, ("apart", "joined", "undetermined"), ASKED, GRAVITY
    ):
        fine = state is State.OPEN and apart == "apart" and kept in ("not given", "met")
        fine = fine and said in ("use-as-is", "not-affected")
        assert (result(state, apart, kept, said).exit_status == 0) == fine


BORE = shapes.block((-10, -10, 0), (30, 10, 20)) - shapes.bore((0, 0, -1), (0, 0, 21), 3.0)
WAY = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.0)
WATER = {"density": 998.0, "viscosity": 1.0e-3, "rate": 5.0}


def test_a_pressure_loss_that_is_not_kept_fails(tmp_path):
    allowed = {**WATER, "max_pressure_loss": 1e-4}
    found = make.checked(tmp_path, BORE, WAY, flow=allowed)
    assert found.passages[0].state is State.OPEN
    assert found.exit_status == 3


@pytest.mark.parametrize("down", [False, True])
def test_trapped_powder_alone_is_undetermined(tmp_path, down):
    # A blind pocket beside the bore; from above the sheet of the first layers shuts it in, from
    # below the one of layers that lie above it.
    low, high = (-1, 12) if down else (8, 21)
    part = BORE - shapes.bore((20, 0, low), (20, 0, high), 2.0)
    height, layer = (10.0, 150) if down else (10.0, 0)
    stray = make.sheet(height, source="log", from_layer=layer, penetration=0.3)
    found = make.checked(tmp_path, part, WAY, stray, state={"on_platform": down})
    assert [p.state for p in found.passages] == [State.OPEN]
    assert found.trapped_powder
    assert found.disposition.recommendation == "undetermined"
    assert found.exit_status == 4
