"""Where the platform is, said in numbers: a caliper reads heights above it."""

import json

import make
import pytest
import shapes

from clearance.report.full import text
from clearance.result import as_json


def lifted(tmp_path, z, **part):
    """An open bore in a block that stands at a height of the mesh's frame."""
    mesh = shapes.straight_bore(radius=3.0, segments=48)
    top = float(mesh[..., 2].max())
    solid = shapes.manifold(mesh).translate((0, 0, z))
    passage = make.passage((0, 0, z), (0, 0, z + top), 3.0, 5.0)
    return make.checked(tmp_path, solid, passage, part={"platform_z": None, **part})


@pytest.mark.parametrize("z", [12.7, -3.25])
def test_an_assumed_platform_is_a_number(tmp_path, z):
    result = lifted(tmp_path, z)
    for said in (" ".join(text(result).split()), json.dumps(as_json(result))):
        assert f"at the mesh's lowest z, {z:.3f} mm" in said
        assert f"whose platform is at z {z:.3f} mm" in said
        assert f"mm: {abs(z):.3f} mm {'more' if z > 0 else 'less'}" in said


def test_what_stands_on_supports_reads_as_it_is(tmp_path):
    result = lifted(tmp_path, 12.7, platform_z=0.0)
    assert not any("platform" in said for said in (*result.assumptions, *result.notices))


def test_a_given_platform_is_no_assumption_but_heights_differ(tmp_path):
    result = lifted(tmp_path, 12.7, platform_z=10.0)
    assert not any("platform" in said for said in result.assumptions)
    assert any("is at z 10.000 mm: 10.000 mm more" in said for said in result.notices)


def test_a_part_at_the_origin_has_one_height(tmp_path):
    result = lifted(tmp_path, 0.0)
    assert "lowest z, 0.000 mm" in result.assumptions[0]
    assert not any("platform" in said for said in result.notices)
