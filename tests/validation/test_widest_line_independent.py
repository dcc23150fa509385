"""No straight line that somebody else finds is refused as impossible, and every plan holds.

Parts with planted lines, the search for lines and the solid booleans stand in planted_lines.py and
share no code with the program. docs/method.md, "No straight line": scrap for want of a line needs
the proof that none is wider than the required diameter less 0.5 mm of cut on each side.
"""

import dataclasses

import make
import numpy as np
import planted_lines as planted
import pytest
import shared

ALL = {"series": ["jobber", "long", "extra-long"], "max_length_to_diameter": 40}
CUT_MM = 0.5
"""A line that cuts so much of the wall is no reason for scrap either (docs/method.md)."""
ROUNDING_MM = 0.02


def needed(made, line):
    """Required diameter: what the line has, a little or far more; never more than the bore."""
    clear = 0.0 if line is None else line.radius
    wanted = {planted.FITS: -0.1, planted.CUTS: 0.25, planted.TOO_NARROW: 0.7}[made.wanted]
    most = 0.97 * made.radius
    return 2.0 * (min(clear + wanted, most) if clear > 0.1 else most)


def looked_at(folder, made, need):
    """Result of the check, and the predicted part by solid booleans."""
    passages = [
        make.passage(made.openings[0].centre, made.openings[1].centre, 1.1 * made.radius, need),
        make.passage(*made.ends_n, made.radius_n, made.radius_n, name="n"),
    ]
    if len(made.openings) > 2:
        outlet, third = passages[0]["outlet"], made.openings[2]
        ends = {"inlet": make.port(third.centre, 1.1 * third.radius), "outlet": outlet}
        passages.append({"name": "b", "min_clear_diameter": 1.0, **ends})
    tables = {
        "drilling": {**ALL, "wall_allowance": 0.4 if made.wanted == planted.CUTS else 0.0},
        "state": {"on_platform": made.on_platform},
    }
    if made.beside is not None:
        tables |= {"part": {"also_melted": ["bar.stl"]}, "meshes": {"bar": made.beside}}
    result = make.checked(folder, made.solid, passages, made.stray, pitch=0.4, **tables)
    return result, planted.after(made)


def held(folder, seed, tries=3):
    """Look at one part; returns what became of it."""
    made = planted.part(seed)
    line = planted.widest(made, tries)
    need = needed(made, line)
    result, after = looked_at(folder, made, need)
    found = result.passages[0]
    clear = 0.0 if line is None else line.radius
    possible = clear >= need / 2 - CUT_MM + ROUNDING_MM
    scrap = result.disposition.recommendation == "scrap"
    said = f"{made.kind}: {2 * clear:.3f} mm clear, {need:.3f} needed, {found.why_not}"
    assert not (possible and scrap), said
    if found.rework is not None:
        faults = list(planted.faults(made, after, found))
        assert not faults, f"{said}: {faults}"
    plan = "plan" if found.rework is not None else "no plan"
    return made.kind, possible, found.state.value, plan, result.disposition.recommendation


PLAIN = (0,)


@pytest.mark.parametrize("seed", [*PLAIN, *shared.more(*(n for n in range(50) if n not in PLAIN))])
def test_no_line_that_is_found_is_refused_as_impossible(tmp_path, seed):
    _, possible, state, _, _ = held(tmp_path, seed, tries=1 if seed in PLAIN else 3)
    assert state in ("blocked", "restricted")
    assert possible or seed not in PLAIN


def test_where_no_line_is_found_scrap_is_possible(tmp_path):
    """Otherwise the test above could not fail."""
    kind, possible, _, _, recommended = held(tmp_path, 5, tries=1)
    assert (kind, possible, recommended) == ("zigzag", False, "scrap")


def test_the_distance_of_a_line_is_that_of_closed_forms():
    """A segment beside, over and through a triangle in the plane z = 0."""
    t = np.array([[[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0]]])
    at = np.array

    def of(p, q):
        return planted.clearance(t, at(p, float), at(q, float))

    assert of((1, 1, 2), (1, 1, 5)) == pytest.approx(2.0)  # over its inside
    assert of((1, 1, 3), (2, 1, 2)) == pytest.approx(2.0)
    assert of((-3, 1, -1), (-3, 1, 1)) == pytest.approx(3.0)  # beside an edge
    assert of((-3, -4, 0), (-3, -4, 5)) == pytest.approx(5.0)  # a corner
    assert of((1, 1, 1), (1, 1, -2)) == pytest.approx(-2.0, abs=1e-5)  # two of three mm in metal
    assert of((5, 5, 3), (5, 5, -3)) == pytest.approx(6.0 / 2**0.5)


def test_a_plan_that_is_wrong_has_faults(tmp_path):
    """A drill that is wider, deeper or elsewhere than it may be; otherwise none could be found."""
    made = planted.part(6)
    found = looked_at(tmp_path, made, 3.0)[0].passages[0]
    (stroke,) = found.rework.drilling

    def said(**keys):
        other = dataclasses.replace(found.rework, drilling=(dataclasses.replace(stroke, **keys),))
        wrong = dataclasses.replace(found, rework=other)
        return set(planted.faults(made, planted.after(made), wrong))

    x, y, z = stroke.entry_mm
    aside = x + 0.5, y, z
    assert said() == set()
    assert "the line is not as clear as its margin says" in said(entry_mm=aside)
    assert "it breaks into the neighbour" in said(run_out_mm=2.5)
    assert "no way is left after it" in said(depth_mm=stroke.depth_mm - 3.0)
    inside = {"entry_mm": (0.0, 0.0, 16.0), "direction": (1.0, 0.0, 0.0)}
    assert "drill or holder meets the part" in said(**inside)
