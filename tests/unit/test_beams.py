"""Metal along beams in a plane: closed forms, and a fine scan by another library.

Sources: chord lengths of circles, sides of triangles: elementary geometry.
"""

import math

import numpy as np
import pytest
import shapely
import shared

from clearance.geometry.beams import edges, extent, least_and_greatest, most_beside

ROUND = 720
"""Corners of a figure that stands for a circle."""


def disc(radius, x=0.0, y=0.0):
    turn = 2.0 * np.pi * np.arange(ROUND) / ROUND
    return shapely.Polygon(np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], 1))


def scanned(shape, centre, count=7200):
    """Length of metal by a library's intersections, direction by direction."""
    turn = np.pi * (np.arange(count) + 0.5) / count
    out = 1e3 * np.stack([np.cos(turn), np.sin(turn)], 1)
    lines = shapely.linestrings(np.stack([centre - out, centre + out], 1))
    shapely.prepare(shape)
    return shapely.length(shapely.intersection(shape, lines))


def test_a_ring_seen_from_its_middle_and_from_aside():
    """Annulus 10 / 4: 12 mm through the middle; from e beside it the chords less the hole's."""
    ring = edges(disc(10.0).difference(disc(4.0)))
    least, greatest = least_and_greatest(ring, (0.0, 0.0))
    assert least.metal_mm == pytest.approx(12.0, abs=0.02)
    assert greatest.metal_mm == pytest.approx(12.0, abs=0.02)
    # From 2 mm beside the middle: across, 2 (sqrt(96) - sqrt(12)); along, 12 as before.
    least, greatest = least_and_greatest(ring, (2.0, 0.0))
    assert least.metal_mm == pytest.approx(12.0, abs=0.03)
    assert greatest.metal_mm == pytest.approx(2.0 * (96**0.5 - 12**0.5), abs=0.03)
    assert greatest.turn_deg == pytest.approx(90.0, abs=0.5)


def test_a_bore_in_a_block_is_seen_along_the_short_way():
    """80 x 20 with a bore of 8 in its middle: 20 - 8 across."""
    block = edges(shapely.box(-40.0, -10.0, 40.0, 10.0).difference(disc(4.0)))
    least, greatest = least_and_greatest(block, (0.0, 0.0))
    assert least.metal_mm == pytest.approx(12.0, abs=0.02)
    assert least.turn_deg == pytest.approx(90.0, abs=1.0)
    assert greatest.metal_mm == pytest.approx(2.0 * math.hypot(40.0, 10.0) - 8.0, abs=0.03)


def test_a_triangle_is_shortest_between_the_directions_of_its_corners():
    """Right-angled, legs 4 and 3, from the middle of the square in its corner.

    The shortest line through (1, 1) across the corner of two walls is the one that leaves equal
    angles; that to the hypotenuse is found by a scan.
    """
    shape = shapely.Polygon([(0, 0), (4, 0), (0, 3)])
    least, _ = least_and_greatest(edges(shape), (1.0, 1.0), 1e-4)
    assert least.metal_mm == pytest.approx(min(scanned(shape, (1.0, 1.0), 40000)), abs=2e-4)
    corners = [math.degrees(math.atan2(y - 1, x - 1)) % 180 for x, y in ((0, 0), (4, 0), (0, 3))]
    assert min(abs(least.turn_deg - corner) for corner in corners) > 1.0


@pytest.mark.parametrize("seed", [3, *shared.more(0, 1, 2, 4, 5)])
def test_random_figures_agree_with_a_fine_scan(seed):
    chance = np.random.default_rng(seed)
    turn = np.sort(chance.uniform(0, 2 * np.pi, 23))
    star = shapely.Polygon(
        np.stack([np.cos(turn), np.sin(turn)], 1) * chance.uniform(8, 30, (23, 1))
    ).buffer(0)
    for _ in range(5):
        star = star.difference(disc(chance.uniform(0.5, 4.0), *chance.uniform(-9, 9, 2)))
    centre = chance.uniform(-4, 4, 2)
    least, greatest = least_and_greatest(edges(star), centre)
    found = scanned(star, centre, 3000)
    # Never above what a scan finds, and no farther below than the scan is coarse.
    assert min(found) - 0.15 <= least.metal_mm <= min(found) + 0.02
    assert max(found) + 0.15 >= greatest.metal_mm >= max(found) - 0.02
    c, s = math.cos(math.radians(least.turn_deg)), math.sin(math.radians(least.turn_deg))
    line = shapely.LineString([centre - 1e3 * np.array([c, s]), centre + 1e3 * np.array([c, s])])
    assert line.intersection(star).length == pytest.approx(least.metal_mm, abs=1e-6)


def test_the_most_metal_beside_a_line():
    """Block 40 x 20, bore 8: beside the middle line the bore's chord is gone at 4 mm."""
    outline = edges(shapely.box(-20.0, -10.0, 20.0, 10.0).difference(disc(4.0)))
    beside = most_beside(outline, (0.0, 0.0), 90.0, 2.0)
    assert beside.metal_mm == pytest.approx(20.0 - 2.0 * 12**0.5, abs=1e-3)
    assert abs(beside.off_mm) == pytest.approx(2.0, abs=1e-3)
    assert most_beside(outline, (0.0, 0.0), 90.0, 6.0).metal_mm == pytest.approx(20.0)
    peak = edges(shapely.Polygon([(-10.0, 0.0), (10.0, 0.0), (3.0, 8.0)]))  # at a corner, inside
    assert most_beside(peak, (0.0, 0.0), 90.0, 6.0).metal_mm == pytest.approx(8.0, abs=1e-3)
    assert extent(disc(4.0, 1.0, 0.0), (0.0, 0.0), 90.0) == pytest.approx(5.0, abs=1e-3)


def test_nothing_is_no_metal():
    least, greatest = least_and_greatest(edges(shapely.Polygon()), (0.0, 0.0))
    assert least.metal_mm == greatest.metal_mm == 0.0
