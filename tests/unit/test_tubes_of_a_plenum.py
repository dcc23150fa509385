"""Twelve curved tubes from one plenum: each passage lists the crossing of its own tube alone.

All twelve are one nominal void, so that nothing but the way tells whose a crossing is. Where they
begin the walls between them are a tenth of a millimetre thick: columns see a way through.
"""

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes
import shared

from clearance.case.read import read_case
from clearance.drawing import level
from clearance.result import ClearDiameter, CrossingResult, PassageResult, State
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import prepare

COUNT, RADIUS, TOP = 12, 1.0, 14.0


def axis(number, heights):
    """Points of a tube's axis: it swings aside and outward as it rises."""
    angle = 2.0 * np.pi * number / COUNT
    out = np.array([np.cos(angle), np.sin(angle)])
    aside = np.array([-out[1], out[0]])
    t = (np.asarray(heights) - 4.0) / (TOP - 4.0)
    plan = (4.0 + 3.0 * t**2)[:, None] * out + 0.5 * np.sin(np.pi * t)[:, None] * aside
    return np.column_stack([plan, heights])


def manifold():
    """A drum with a flat plenum low in it, an inlet from below, twelve tubes to the top."""
    solid = m3.Manifold.cylinder(TOP, 10.0, 10.0, 32)
    solid -= m3.Manifold.cylinder(3.0, 6.0, 6.0, 24).translate((0, 0, 2))
    solid -= shapes.bore((0, 0, -1), (0, 0, 3), 2.0, segments=16)
    for number in range(COUNT):
        at = axis(number, np.linspace(4.0, TOP, 8))
        beyond = at[-1] + (at[-1] - at[-2])
        solid -= shapes.tube_along(np.array([*at, beyond]), RADIUS, 12)
    return solid


@pytest.mark.parametrize(
    ("over", "height", "pitch", "event"),
    [
        (False, 6.5, 0.8, {"resume": "layer"}),  # all above is lifted
        *shared.more(
            (True, 7.5, 0.4, {}),
            (False, 6.0, 0.4, {}),
            (True, 7.0, 0.4, {"resume_shift": [0.1, 0.05]}),
        ),
    ],
)
def test_a_tube_lists_its_own_crossing_alone(tmp_path, over, height, pitch, event):
    def placed(at):
        return np.array([at[0], -at[1], TOP - at[2]]) if over else np.asarray(at)

    solid = manifold().rotate((180, 0, 0)).translate((0, 0, TOP)) if over else manifold()
    ends = [axis(n, [TOP])[0] for n in range(COUNT)]
    passages = [
        {
            **make.passage(placed((0, 0, 0)), placed(ends[n]), RADIUS, 0.5, f"tube-{n}"),
            "inlet": make.port(placed((0, 0, 0)), 2.0),
        }
        for n in range(COUNT)
    ]
    sheet = make.plane(height, **event)
    path = make.write_case(tmp_path, solid, passages, sheet, pitch=pitch)
    checked = prepare(read_case(path))
    (variant,) = checked.unknowns.variants
    for number in (0, 7):
        check = PassageCheck(checked, checked.case.passage[number])
        found = check.crossed(check.predicted(variant.events, checked.pitch_mm), variant)
        assert len(found.everything) >= COUNT  # of the whole void, and what lies beside the part
        (own,) = found.crossings
        x, y, z = own.centre_mm
        back = (x, -y, TOP - z) if over else (x, y, z)
        expected = axis(number, [back[2]])[0]
        assert np.hypot(*(np.array(back) - expected)[:2]) < 0.5 * RADIUS


def test_tubes_whose_void_leads_out_are_named_in_a_section_by_their_crossings(
    tmp_path, monkeypatch
):
    """Where columns do not hold the void apart from the outside no ring may be missing."""
    ends = [axis(n, [TOP])[0] for n in (0, 7)]
    passages = [
        {
            **make.passage((0, 0, 0), end, RADIUS, 0.5, f"tube-{n}"),
            "inlet": make.port((0, 0, 0), 2.0),
        }
        for n, end in zip((0, 7), ends, strict=True)
    ]
    path = make.write_case(tmp_path, manifold(), passages, make.plane(7.5), pitch=0.4)
    checked = prepare(read_case(path))
    results = []
    for number in (0, 7):
        (at,) = axis(number, [7.5])
        crossing = CrossingResult(0, 7.5, tuple(at), 3.0, 0.0, 0.0, 0.0, sealed=True)
        clear = ClearDiameter(1.9, 0.0, 0.0, 0.0, 1.8, 1.9)
        name, blocked = f"tube-{number}", State.BLOCKED
        results.append(PassageResult(name, blocked, 0.5, clear, State.OPEN, (crossing,), ()))
    monkeypatch.setattr(level, "_owners", lambda _: {r.name: lambda _: False for r in results})
    drawn = level.level_section(checked, results, 7.55)
    assert [void.names for void in drawn.voids] == [("tube-0",), ("tube-7",)]
    assert all(void.state is State.BLOCKED for void in drawn.voids)


def ring():
    """Up an annulus, over the rim of the tube that stands in it, and down the tube."""
    solid = m3.Manifold.cylinder(20.0, 9.0, 9.0, 32)
    solid -= m3.Manifold.cylinder(14.0, 6.0, 6.0, 32).translate((0, 0, 2))
    solid += m3.Manifold.cylinder(12.0, 4.0, 4.0, 32).translate((0, 0, 2))
    solid -= shapes.bore((0, 0, -1), (0, 0, 15), 2.0, segments=24)
    solid -= shapes.bore((10, 0, 4), (5, 0, 4), 1.0, segments=24)
    passage = make.passage((9, 0, 4), (0, 0, 0), 1.0, 0.5)
    return solid, {**passage, "outlet": make.port((0, 0, 0), 2.0)}


def hairpin():
    """Two legs with a tenth of a millimetre between them, joined at the top."""
    solid = shapes.block((-8, -5, 0), (8, 5, 20)) - shapes.block((-2.05, -1, -1), (-0.05, 1, 16))
    solid -= shapes.block((0.05, -1, -1), (2.05, 1, 16))
    solid -= shapes.block((-2.05, -1, 14), (2.05, 1, 16))
    return solid, make.passage((-1.05, 0, 0), (1.05, 0, 0), 1.0, 0.5)


@pytest.mark.parametrize("event", [{"resume": "layer"}, *shared.more({"resume_shift": [0.2, 0.1]})])
@pytest.mark.parametrize("kind", [ring, hairpin])
@pytest.mark.parametrize("heights", [(7.0, 10.0), *shared.more(((9.0,),))])
def test_a_way_that_comes_back_keeps_both_crossings(tmp_path, kind, event, heights):
    solid, passage = kind()
    sheets = [make.plane(height, **event) for height in heights]
    path = make.write_case(tmp_path, solid, passage, sheets, pitch=0.5)
    checked = prepare(read_case(path))
    (variant,) = checked.unknowns.variants
    check = PassageCheck(checked, checked.case.passage[0])
    found = check.crossed(check.predicted(variant.events, checked.pitch_mm), variant)
    assert len(found.crossings) == 2 * len(heights)
