"""Which drill would be needed where none is at hand: up to the end of the table of tolerances.

h8 ends at 120 mm in the program's table (ISO 286-2, from memory: 54 um above 80 mm).
"""

from types import SimpleNamespace

import pytest

from clearance.drilling import needed


@pytest.mark.parametrize(
    ("required", "least"), [(100.0, 100.054), (119.9, 119.954), (119.97, None)]
)
def test_a_drill_is_named_up_to_the_end_of_the_table(monkeypatch, required, least):
    monkeypatch.setattr(needed, "_change", lambda along, drill: drill)
    along = SimpleNamespace(line=SimpleNamespace(radius=62.0), ideal=lambda diameter: diameter)
    expected = () if least is None else (pytest.approx(least, abs=2e-3),)
    assert needed.needed(along, required, ()) == expected
    along.line.radius = 0.0
    assert needed.needed(along, required, ()) == ()
