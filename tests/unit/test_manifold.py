"""Several tubes from one plenum: a crossing belongs to the passages on whose way it can lie.

A plenum with one inlet below, four upright tubes with an outlet each; the sheet's slices hold the
tubes at other places, so that some are sealed, some half covered, some left open. Analytic: the
open fraction of a tube is what its own crossing leaves.
"""

import make
import numpy as np
import pytest
import shapes
import shared

from clearance.case.read import read_case
from clearance.drawing.level import level_section

PLACES = (-12.0, -4.0, 4.0, 12.0)
RADIUS = 2.0


def manifold(flip=False, both=False):
    """The part, its inlet and its outlets; `both`: the tubes join again in a second plenum."""
    void = shapes.block((-15, -3, 4), (15, 3, 9))
    void += shapes.bore((0, 0, -1), (0, 0, 5), RADIUS)
    if both:
        void += shapes.block((-15, -3, 31), (15, 3, 36))
        void += shapes.bore((0, 0, 35), (0, 0, 41), RADIUS)
    for x in PLACES:
        void += shapes.bore((x, 0, 8), (x, 0, 32 if both else 41), RADIUS)
    solid = shapes.block((-18, -6, 0), (18, 6, 40)) - void
    inlet = (0, 0, 0)
    outlets = [(0, 0, 40)] if both else [(x, 0, 40) for x in PLACES]
    if flip:
        solid = solid.rotate((180, 0, 0)).translate((0, 0, 40))
        inlet = (0, 0, 40)
        outlets = [(x, y, 40 - z) for x, y, z in outlets]
    return solid, inlet, outlets


def passages(inlet, outlets, **keys):
    return [
        make.passage(inlet, outlet, RADIUS, 3.0, name=f"tube-{n}", **keys)
        for n, outlet in enumerate(outlets)
    ]


COVERED = {0: 1.0, 1: 0.0, 2: 0.5, 3: 1.0}
"""Share of each tube that the sheet covers."""


def cover(z):
    """A drawn sheet that covers tubes 0 and 3 whole, half of tube 2, nothing of tube 1."""
    plates = [shapes.block((x - 3, -3, z), (x + 3, 3, z + 0.3)) for x in (PLACES[0], PLACES[3])]
    plates.append(shapes.block((PLACES[2], -3, z), (PLACES[2] + 3, 3, z + 0.3)))
    whole = plates[0]
    for plate in plates[1:]:
        whole += plate
    return whole


DRAWN = {"shape": "mesh", "mesh": "cover.stl", "source": "log"}


def checked(folder, flip=False, **keys):
    solid, inlet, outlets = manifold(flip)
    ways = passages(inlet, outlets, **keys.pop("passage", {}))
    z = 18.0 if flip else 22.0
    return make.checked(folder, solid, ways, DRAWN, meshes={"cover": cover(z)}, pitch=0.6, **keys)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """The manifold with its drawn sheet."""
    return examined(tmp_path_factory.mktemp("drawn"), DRAWN)


@pytest.fixture(scope="module")
def level(tmp_path_factory):
    """The manifold with a sheet as wide as the part."""
    return examined(tmp_path_factory.mktemp("level"), make.plane(22.0, source="log"))


def examined(folder, stray):
    solid, inlet, outlets = manifold()
    ways = passages(inlet, outlets)
    for way in ways[1:3]:
        way["every_branch"] = True  # what is asked of them; the other two's states are told apart
    case = make.write_case(folder, solid, ways, stray, meshes={"cover": cover(22.0)}, pitch=0.6)
    return make.examined(read_case(case))


@pytest.mark.parametrize("flip", [False, *shared.more(True)])
def test_a_tube_lists_its_own_crossing_alone(tmp_path, drawn, flip):
    found = checked(tmp_path, flip) if flip else drawn.result
    assert [p.state.value for p in found.passages] == ["blocked", "open", "restricted", "blocked"]
    for n, passage in enumerate(found.passages):
        places = [c.centre_mm[0] for c in passage.crossings]
        assert all(abs(x - PLACES[n]) < RADIUS for x in places)
        assert len(places) == (1 if COVERED[n] else 0)
        heights = {e["crossing"] for e in passage.graph} - {None}
        assert heights == set(range(len(places)))
    for reason in found.disposition.reasons:
        assert reason.count("z 22.") + reason.count("z 18.") <= 1


def test_what_another_tube_lacks_fails_no_tube_that_is_whole(drawn):
    """Each asks for every branch, of which its own is one."""
    assert drawn.checked.case.passage[1].every_branch
    assert [p.state.value for p in drawn.result.passages[1:3]] == ["open", "restricted"]


@pytest.mark.more
@pytest.mark.parametrize("key", [{"every_branch": True}, {"min_open_fraction": 0.9}])
def test_what_another_tube_lacks_fails_none_that_asks_alike(tmp_path, key):
    found = checked(tmp_path, passage=key)
    assert found.passages[1].state.value == "open"
    assert found.passages[2].state.value == "restricted"


def test_a_plane_sheet_crosses_each_tube_once(level):
    for n, passage in enumerate(level.result.passages):
        assert passage.state.value == "blocked"
        (crossing,) = passage.crossings
        assert crossing.centre_mm[0] == pytest.approx(PLACES[n], abs=0.05)
        assert crossing.sealed


def test_tubes_that_join_again_are_all_on_the_way(tmp_path):
    solid, inlet, outlets = manifold(both=True)
    found = make.first(
        tmp_path, solid, passages(inlet, outlets), make.plane(20.0, source="log"), pitch=0.6
    )
    assert sorted(c.centre_mm[0] for c in found.crossings) == pytest.approx(PLACES, abs=0.05)


def test_a_sheet_in_the_plenum_and_one_in_the_tubes(tmp_path):
    # Every tube lists the plenum's inlet bore and itself; strokes count them as they are listed.
    solid, inlet, outlets = manifold()
    strays = [make.plane(2.0, source="log"), make.plane(25.0, source="log")]
    drilling = {"max_length_to_diameter": 30.0, "series": ["jobber", "long", "extra-long"]}
    ways = passages(inlet, outlets[:2])
    found = make.checked(
        tmp_path, solid, ways, strays, drilling=drilling, closed=closed(outlets), pitch=0.5
    )
    for n, passage in enumerate(found.passages):
        assert [c.stray for c in passage.crossings] == [0, 1]
        xs = [c.centre_mm[0] for c in passage.crossings]
        assert xs == pytest.approx([0.0, PLACES[n]], abs=0.05)
        for stroke in passage.rework.drilling if passage.rework else ():
            at = np.array(passage.crossings[stroke.crossing].centre_mm)
            line = np.array(stroke.entry_mm), np.array(stroke.direction)
            off = at - line[0] - ((at - line[0]) @ line[1]) * line[1]
            assert np.linalg.norm(off) < RADIUS
    assert any(p.rework for p in found.passages)


def closed(outlets):
    return [
        {"name": f"shut-{n}", "centre": list(map(float, o)), "radius": RADIUS}
        for n, o in enumerate(outlets[2:])
    ]


@pytest.mark.parametrize("height", [9.0, 11.5])
def test_a_sheet_along_a_level_bore_is_its_own_though_the_way_is_on_one_side(tmp_path, height):
    # The bore at z 10 is entered from below; above the sheet it has no other way in.
    void = shapes.bore((-8, 0, -1), (-8, 0, 10), 3.0) + shapes.bore((-8, 0, 10), (9, 0, 10), 3.0)
    solid = shapes.block((-12, -6, 0), (8, 6, 16)) - void
    way = make.passage((-8, 0, 0), (8, 0, 10), 3.0, 5.0)
    found = make.first(tmp_path, solid, way, make.plane(height, 1, source="log"))
    assert found.state.value == "restricted"
    assert found.crossings


@pytest.mark.parametrize("kind", ["level", "drawn"])
def test_a_picture_names_each_tube_for_its_own_passage(request, kind):
    found = request.getfixturevalue(kind)
    checked, results = found.checked, found.result.passages
    section = level_section(checked, results, 22.1)
    named = {void.names: void for void in section.voids}
    assert sorted(named) == [(f"tube-{n}",) for n in range(4)]
    for n, x in enumerate(PLACES):
        void = named[(f"tube-{n}",)]
        assert abs(void.at[0] - x) < RADIUS
        assert void.state is results[n].state
    (plenum,) = level_section(checked, results, 6.0).voids  # theirs alike: no one's state is all's
    states = {result.state for result in results}
    worst = "blocked" if len(states) == 1 else "at worst blocked"
    assert plenum.label[:2] == ("tube-0 to tube-3", worst)
