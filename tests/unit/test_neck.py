"""Whether a ball passes a neck, in cells split as finely as it needs. Every limit is analytic."""

import numpy as np
import pytest
import shapes as s

from clearance.geometry import box_tree
from clearance.passages.neck import Neck, least_radius_mm

PITCH = 0.25


def duct():
    """2 x 2, along x."""
    return s.block((-3, -2, -2), (3, 2, 2)) - s.block((-4, -1, -1), (4, 1, 1))


def rib(gap: float):
    """The duct with a rib across it, 0.1 thick, that leaves `gap` under the roof."""
    return duct() + s.block((0.03, -1.5, -1.5), (0.13, 1.5, 1.0 - gap))


def posts():
    """The same duct with two posts, so that there are three ways; the widest is 0.7 wide."""
    post = s.bore((0, -0.45, -2), (0, -0.45, 2), 0.15, segments=64)
    return duct() + post + s.bore((0, 0.55, -2), (0, 0.55, 2), 0.15, segments=64)


def passes(solid, radius: float, throat=None) -> bool:
    neck, ends = asked(solid, radius)
    return not neck.parted(*ends, throat)


def asked(solid, radius: float):
    triangles = s.soup(solid)
    shape = (25, 17, 17)
    active = np.zeros(shape, np.uint8)
    active[:, 4:13, 4:13] = 1  # the duct's void, its rim included: |y|, |z| <= 1
    index = np.arange(active.size).reshape(shape)
    ends = index[0, 4:13, 4:13].ravel(), index[-1, 4:13, 4:13].ravel()
    origin = np.array([-3.0, -2.0, -2.0])
    return Neck(active, box_tree.build(triangles), origin, PITCH, radius), ends


@pytest.mark.parametrize("gap", [0.3, 0.5, 0.9])
def test_a_rib_stops_a_ball_wider_than_its_gap(gap):
    half_part = 0.5 * np.sqrt(3.0) * PITCH / 8
    assert not passes(rib(gap), gap / 2 + 2 * half_part)
    assert passes(rib(gap), gap / 2 - 1e-6)


def test_of_several_ways_all_have_to_be_too_narrow():
    # From -0.3 to 0.4 between the posts.
    assert passes(posts(), 0.35 - 1e-3)
    assert not passes(posts(), 0.35 + 0.06)


def test_about_the_throat_few_cells_are_split():
    split = []
    for throat in (None, np.array([-1.5, 0.0, 0.0])):
        neck, ends = asked(duct(), 1.06)
        neck.state[:, abs(np.arange(17) - 8) > 1] = 0
        neck.state[:, :, abs(np.arange(17) - 8) > 1] = 0
        assert neck.parted(*ends, throat)
        split.append(len(neck.fine))
    assert split[1] < 0.6 * split[0]


def test_a_wrong_throat_changes_no_answer():
    throat = np.array([-3.0, 0.0, 0.8])
    assert not passes(posts(), 0.35 + 0.06, throat)
    assert passes(posts(), 0.35 - 1e-3, throat)


def test_the_least_radius_grows_with_the_pitch():
    assert 0.0 < least_radius_mm(0.1) < least_radius_mm(0.2) < 0.1
