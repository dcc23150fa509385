"""Ports given roughly, wrongly, or in another void; expectations by construction."""

from __future__ import annotations

import subprocess
import sys

import make
import numpy as np
import pytest
import shapes as s
import shared

from clearance.errors import ClearanceError

R = 2.0


def elbow():
    """Bottom port (0, 0, 0), side port (20, 0, 15)."""
    return s.elbow(R, 6.0, 64)


@pytest.fixture(scope="module")
def exact(tmp_path_factory):
    """The passage with its ports given exactly."""
    return make.first(
        tmp_path_factory.mktemp("exact"), elbow(), make.passage((0, 0, 0), (20, 0, 15), R, 3.0)
    )


@pytest.mark.parametrize(
    "off",
    [
        (0, -0.8, 0.5),
        *shared.more(
            ((0, 0, -1.9),),
            *(((0, 0, z),) for z in (1.0, -1.0, 1.9)),
            ((0.8, 0, 0),),
            ((0.5, 0.5, -1),),
        ),
    ],
)
def test_a_port_off_its_face_by_up_to_two_millimetres(tmp_path, exact, off):
    passage = make.passage(np.array((0.0, 0.0, 0.0)) + off, (20, 0, 15), R, 3.0)
    found = make.first(tmp_path, elbow(), passage)
    assert found.state == exact.state == "open"
    a, b = found.clear_diameter_mm, exact.clear_diameter_mm
    assert max(a.low, b.low) <= min(a.high, b.high)  # the same truth in both
    assert a.low <= 2 * R <= a.high + 0.02


@pytest.mark.parametrize("factor", [0.8, *shared.more(1.2)])
def test_a_port_too_small_or_too_large_by_a_fifth(tmp_path, exact, factor):
    passage = make.passage((0, 0, 0), (20, 0, 15), factor * R, 3.0)
    found = make.first(tmp_path, elbow(), passage)
    assert found.state == "open"
    a, b = found.clear_diameter_mm, exact.clear_diameter_mm
    assert max(a.low, b.low) <= min(a.high, b.high)


@pytest.mark.parametrize(("centre", "radius"), [
    ((0, 0, 0), 3.2 * R), ((60, 0, 0), R),
    *shared.more(((0, 0, 0), 0.3 * R), ((-7, 5, 0), R), ((0, 0, 8), R)),
])  # fmt: skip
def test_no_such_mouth_names_what_is_near(tmp_path, centre, radius):
    passage = make.passage((0, 0, 0), (20, 0, 15), R, 3.0) | {"inlet": make.port(centre, radius)}
    with pytest.raises(ClearanceError) as fault:
        make.first(tmp_path, elbow(), passage)
    text = str(fault.value)
    assert "a inlet" in text
    assert "case.toml" in text
    if centre == (0, 0, 0):
        assert "radius 2" in text  # the mouth that is there


def test_ports_of_two_circuits_are_refused_and_the_right_one_named(tmp_path):
    solid = s.two_bores(2.0, 10.0, 64)
    passages = [
        make.passage((-5, 0, 0), (5, 0, 30), 2.0, 3.0, "wrong"),
        make.passage((5, 0, 0), (-5, 0, 30), 2.0, 3.0, "other"),
    ]
    with pytest.raises(ClearanceError) as fault:
        make.checked(tmp_path, solid, passages)
    text = str(fault.value)
    assert "wrong" in text
    assert "different voids" in text
    assert "other outlet" in text  # the port that the inlet's void does reach


def test_a_port_of_a_blind_hole(tmp_path):
    solid = s.manifold(s.straight_bore(2.0, (20.0, 20.0, 20.0), 64))
    solid -= s.bore((6, 0, 14), (6, 0, 21), 2.0, segments=64)
    with pytest.raises(ClearanceError, match="reaches no other port"):
        make.first(tmp_path, solid, make.passage((0, 0, 0), (6, 0, 20), 2.0, 3.0))


LIMITED = """
import resource, sys
from pathlib import Path
resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30))
from clearance.case.read import read_case
from clearance.api import check
from clearance.errors import ClearanceError
try:
    check(read_case(Path(sys.argv[1])))
except ClearanceError as fault:
    print(fault)
"""


@pytest.mark.slow
@pytest.mark.parametrize("pitch", [0.001, *shared.more(0.003)])
def test_a_pitch_too_fine_for_memory_says_so(tmp_path, pitch):
    # In a process of its own with 6 GB of addresses, so that a fault does not take the tests along.
    passage = make.passage((0, 0, 0), (20, 0, 15), R, 3.0)
    path = make.write_case(tmp_path, elbow(), passage, pitch=pitch)
    run = subprocess.run(
        [sys.executable, "-c", LIMITED, str(path)], capture_output=True, text=True, timeout=120
    )
    assert run.returncode == 0, run.stderr[-500:]
    assert "pitch" in run.stdout
