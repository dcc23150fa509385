"""Plans of one part judged together. Expected walls are analytic: axes apart less radii."""

import make
import numpy as np
import pytest
import shared
from test_wall_left import both, drilled, of, two_bores


@pytest.mark.parametrize(
    ("apart", "diameter", "least", "wrong"),
    [
        (7.0, 7.1, 0.01, "the two holes meet"),  # 7.0 - 3.55 - 3.55 = -0.10
        (7.6, 6.6, 0.6, "0.60 required"),  # 1.00, of which run-out takes 2 x 0.21
        (8.4, 6.6, 0.6, ""),  # 1.80
        # 0.02 of wall, which run-out takes
        *shared.more((7.0, 6.98, None, "the two holes meet")),
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
