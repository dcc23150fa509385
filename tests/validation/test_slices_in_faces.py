"""A slice that lies in a level face of the part: which side of it was melted is not known.

Layers of 0.04 mm, slice 52 at z 2.1: a height that a drawing has too. A pocket ends or begins
there, where the bore stands at the height of the event: the slice has a hole there, or has not.
"""

import make
import pytest
import shapes
import shared

T = 0.04
OFF = 1e-3


def part(pocket, x=(-1.3, 3.7)):
    """A block with a bore that leans from x = -4 to 4, and a pocket where it stands at z 12."""
    solid = shapes.block((-8, -8, 0), (8, 8, 20))
    solid -= shapes.bore((-4, 0, -1), (4, 0, 21), 1.5, segments=64)
    return solid - shapes.block((x[0], -3, pocket[0]), (x[1], 3, pocket[1]))


WAY = make.passage((-4 + 8 / 22, 0, 0), (-4 + 8 * 21 / 22, 0, 20), 1.6, 1.0)


def checked(folder, pocket, first=52, layers=1, **keys):
    stray = make.sheet(12.0, layers, from_layer=first, source="log")
    return make.checked(folder, part(pocket, **keys), WAY, stray, layer=T, pitch=0.2)


@pytest.mark.parametrize(("pocket", "below", "above"), [
    ((2.1, 3.6), "blocked", "open"),  # a floor
    *shared.more(((-1.0, 2.1), "open", "blocked")),  # a ceiling
])  # fmt: skip
def test_what_the_side_decides_is_not_told(tmp_path, pocket, below, above):
    found = checked(tmp_path / "in", pocket)
    (passage,) = found.passages
    assert passage.state.value == "undetermined"
    assert any(text.startswith(below) and "just below" in text for text in passage.reasons)
    assert any(text.startswith(above) and "just above" in text for text in passage.reasons)
    assert found.disposition.recommendation == "undetermined"
    assert found.exit_status == 4
    assert any("z 2.100 lie in a level face" in text for text in found.notices)
    # A micron off, it is told: a slice just above a face is what it is just below a slice.
    for off, state in ((-OFF, above), (OFF, below)):
        moved = tuple(z + off if abs(z - 2.1) < 1e-9 else z for z in pocket)
        beside = checked(tmp_path / f"{off}", moved)
        assert beside.passages[0].state.value == state
        assert not any("level face" in text for text in beside.notices)


def test_only_the_slice_in_the_face_is_in_doubt(tmp_path):
    # Slices 51 and 53 lie in the pocket and in the metal above it: sealed whatever 52 is.
    (passage,) = checked(tmp_path, (-1.0, 2.1), first=51, layers=3).passages
    assert passage.state.value == "blocked"


def test_a_face_that_the_passage_does_not_meet_changes_nothing(tmp_path):
    found = checked(tmp_path, (-1.0, 2.1), x=(5.0, 7.0))
    assert [p.state.value for p in found.passages] == ["blocked"]
    # One case, not two that differ: what is open is which drill there is, not the event.
    assert 2 not in found.disposition.rows
