"""Plans of one part judged together. Expected walls are analytic: axes apart less radii."""

import make
import manifold3d as m3
import numpy as np
import pytest
import shared
from test_wall_left import alone, both, drilled, hole, of, two_bores

from clearance.drilling import together


@pytest.mark.parametrize(
    ("apart", "diameter", "least", "wrong"),
    [
        (7.6, 6.6, 0.6, "0.60 required"),  # 1.00, of which run-out takes 2 x 0.21
        *shared.more(
            (7.0, 7.1, 0.01, "the two holes meet"),  # 7.0 - 3.55 - 3.55 = -0.10
            (8.4, 6.6, 0.6, ""),  # 1.80
            (7.0, 6.98, None, "the two holes meet"),  # 0.02 of wall, which run-out takes
        ),
    ],
)
def test_two_holes_must_not_meet(tmp_path, apart, diameter, least, wrong):
    part = two_bores(apart)
    keys = {} if least is None else {"least": least}
    result = drilled(
        tmp_path,
        part,
        both(apart, 5.9),
        make.plane(10.0, 2, source="log"),
        diameter,
        0.8,
        keys.get("least", 0.01),
    )
    for name in "ab":
        rework = of(result, name).rework
        assert rework is not None, of(result, name).why_not
        assert bool(rework.conflicts) == bool(wrong)
        assert all(wrong in said for said in rework.conflicts)
        assert all(("b" if name == "a" else "a") in said for said in rework.conflicts)
    assert result.disposition.recommendation == ("undetermined" if wrong else "repair")


@pytest.mark.more
def test_upside_down_and_turned_they_meet_as_well(tmp_path):
    part = two_bores(7.0).rotate((180, 0, 0)).translate((0, 0, 20)).rotate((0, 0, 30))
    c, s = np.cos(np.radians(30)), np.sin(np.radians(30))
    passages = [
        make.passage((x * c, x * s, 20), (x * c, x * s, 0), 3.0, 5.9, name=name)
        for x, name in ((-3.5, "a"), (3.5, "b"))
    ]
    result = drilled(
        tmp_path, part, passages, make.plane(5.0, 2, source="log"), 7.1, 0.8, 0.01, pitch=0.45
    )
    assert "the two holes meet" in result.disposition.reasons[0]
    assert result.disposition.recommendation == "undetermined"


# ---- holes set by hand: the part is read, and no passage judged ------------------------------


@pytest.mark.parametrize(
    ("apart", "radius", "taken", "least", "wrong"),
    [
        (7.0, 3.55, 0.0, 0.01, "the two holes meet near (-3.5, 0.0, 20.0) mm: -0.10 mm"),
        (7.0, 3.49, 0.02, None, "0.02 mm of wall between them, of which drill tolerances and"),
        (7.6, 3.3, 0.21, 0.6, "0.58 mm of wall would be left between the two holes near ("),
        (7.6, 3.3, 0.21, 0.56, ""),
        (7.6, 3.3, 0.21, None, ""),
        (24.0, 3.3, 0.21, 18.0, ""),  # farther than walls are looked for
    ],
)
def test_what_stands_between_two_holes(tmp_path, apart, radius, taken, least, wrong):
    part = two_bores(apart, size=(apart + 12.0, 12.0, 20.0), segments=48)
    drilling = {"series": []} if least is None else {"series": [], "min_wall": least}
    sheet = make.plane(10.0, 2, source="log")
    checked, events = alone(tmp_path, part, both(apart, 5.9), sheet, drilling=drilling)
    one, two = (hole(x, radius, taken) for x in (-apart / 2, apart / 2))
    said = together.conflicts(checked, events, {"a": (one,), "b": (two,)})
    for name, other in ("ab", "ba"):
        assert bool(said[name]) == bool(wrong)
        for line in said[name]:
            assert line.startswith(f"drilled as well as the plan of {other}, ")
            assert wrong in line
    # Each with itself alone, nothing.
    assert together.conflicts(checked, events, {"a": (one, one)}) == {"a": ()}


def test_holes_of_one_void_may_meet(tmp_path):
    part = two_bores(7.0, segments=48)
    part -= m3.Manifold.cube((7.0, 2.0, 4.0), True).translate((0, 0, 15))
    checked, events = alone(tmp_path, part, both(7.0, 5.9), make.plane(10.0, 2, source="log"))
    plans = {"a": (hole(-3.5, 3.55),), "b": (hole(3.5, 3.55),)}
    assert together.conflicts(checked, events, plans) == {"a": (), "b": ()}
