"""The part: units, closedness, orientation, shells.

All expected numbers are analytic: boxes, tetrahedra and a six-vertex one-sided surface.
"""

import numpy as np
import pytest

from clearance.errors import PartError
from clearance.mesh.closedness import describe, number_edges, survey, weld
from clearance.mesh.mending import close
from clearance.mesh.part import Part, read_part, read_triangles
from clearance.mesh.shells import face_outward, find_shells

FACES = np.array(
    [[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4],
     [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7]]
)  # fmt: skip
UNIT = np.array(
    [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]],
    float,
)


def box(low, high):
    """Twelve outward triangles of an axis-parallel box."""
    low, high = np.array(low, float), np.array(high, float)
    return (UNIT * (high - low) + low)[FACES].astype(np.float32)


def inward(triangles):
    return triangles[:, ::-1]


def volume(triangles):
    a, b, c = np.asarray(triangles, float).transpose(1, 0, 2)
    return np.einsum("ij,ij->", a, np.cross(b, c)) / 6


def is_closed(triangles):
    """Count directed edges by hand: each must be matched by its opposite."""
    count = {}
    for corners in (np.asarray(triangles) + np.float32(0)).tolist():
        points = [tuple(p) for p in corners]
        for a, b in zip(points, points[1:] + points[:1], strict=True):
            count[a, b] = count.get((a, b), 0) + 1
    return all(count.get((b, a), 0) == n for (a, b), n in count.items())


@pytest.fixture
def stl(tmp_path):
    def write(*pieces):
        triangles = np.concatenate(pieces)
        records = np.zeros(
            len(triangles), np.dtype([("n", "<3f4"), ("v", "<f4", (3, 3)), ("a", "<u2")])
        )
        records["v"] = triangles
        path = tmp_path / "part.stl"
        path.write_bytes(bytes(80) + np.uint32(len(triangles)).tobytes() + records.tobytes())
        return path

    return write


BLOCK = box([-5, -10, 0], [5, 10, 30])


def test_a_good_part_comes_back_untouched(stl):
    path = stl(BLOCK)
    part = read_part(path)
    assert part.triangles.tolist() == BLOCK.tolist()
    assert part.triangles.dtype == np.float32
    assert (part.notices, part.path, part.closed) == ((), path, True)
    with pytest.raises(ValueError, match="read-only"):
        part.triangles[0] = 0


def test_minus_zero_becomes_zero(stl):
    triangles = BLOCK.copy()
    triangles[3][triangles[3] == 0] = -0.0
    part = read_part(stl(triangles))
    assert not np.signbit(part.triangles[part.triangles == 0]).any()
    assert part.notices == ()


# --- units


@pytest.mark.parametrize(
    ("unit", "mm"), [("mm", 1), ("cm", 10), ("inch", 25.4), ("in", 25.4), ("m", 1e3), ("um", 1e-3)]
)
def test_the_unit_scales_to_millimetres(stl, unit, mm):
    path = stl((BLOCK / np.float32(mm)).astype(np.float32))
    part = read_part(path, unit)
    assert np.allclose(part.triangles, BLOCK, rtol=1e-6, atol=1e-6)
    assert part.notices == ()


@pytest.mark.parametrize(
    ("factor", "says"),
    [
        (1e-3, r"0\.03 mm if the unit is mm, expected 1 to 2000 mm; .*metres \(unit \"m\": 30 mm"),
        (1e3, r"3e\+04 mm .*micrometres \(unit \"um\": 30 mm\)"),
        (1 / 40, r"0\.75 mm .*centimetres .*inches \(unit \"inch\": 19\.05 mm\)"),
        (1e-12, "no unit makes it plausible"),
    ],
)
def test_an_implausible_unit_is_refused_and_a_plausible_one_named(stl, factor, says):
    with pytest.raises(PartError, match=says):
        read_part(stl((BLOCK * np.float32(factor)).astype(np.float32)))


def test_an_unknown_unit_is_refused(stl):
    with pytest.raises(PartError, match="found 'furlong', expected one of mm"):
        read_part(stl(BLOCK), "furlong")


def test_a_part_far_from_its_origin_is_read_with_a_notice(stl):
    part = read_part(stl(BLOCK + np.float32(65536)))
    assert any("single precision has steps of 0.008 mm" in text for text in part.notices)


# --- numbers and volume


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_number_that_is_not_finite_is_refused_with_its_triangle(stl, value):
    triangles = BLOCK.copy()
    triangles[6, 1, 2] = value
    with pytest.raises(PartError, match=rf"triangle 7 of 12 .*not finite: {value}"):
        read_part(stl(triangles))


def test_a_number_beyond_single_precision_is_refused(tmp_path):
    path = tmp_path / "big.obj"
    path.write_text("v 0 0 0\nv 1e60 0 0\nv 0 1 0\nf 1 2 3\nf 1 3 2\n")
    with pytest.raises(PartError, match=r"triangle 1 of 2 .*1e\+60"):
        read_part(path)


def test_a_sheet_without_thickness_encloses_no_volume(stl):
    sheet = BLOCK[:2]
    with pytest.raises(PartError, match="encloses no volume"):
        read_part(stl(sheet, inward(sheet)))


def test_shells_that_cancel_enclose_no_volume(stl):
    with pytest.raises(PartError, match="encloses no volume"):
        read_part(stl(BLOCK, inward(BLOCK)))


# --- closedness


def test_an_open_mesh_is_refused_with_the_number_of_edges_and_the_place(stl):
    # Analytic: without the last two triangles (x = -5) the rim has 4 edges about (-5, 0, 15).
    with pytest.raises(
        PartError,
        match=r"open: 4 edges bound .*: 4 around \(-5\.000, 0\.000, 15\.000\) "
        r"within 0\.000 x 20\.000 x 30\.000 mm",
    ):
        read_part(stl(BLOCK[:10]))


def open_edges(triangles):
    vertices, ids = weld(triangles)
    return describe(vertices, number_edges(ids, len(vertices)))


def test_the_largest_three_of_several_holes_are_named(stl):
    blocks = [box([k * 20, 0, 0], [k * 20 + 10, 10, 10]) for k in range(5)]
    holes = [block[1:] for block in blocks]
    holes[4] = blocks[4][2:]
    found = open_edges(np.concatenate(holes))
    assert found.count == 4 * 3 + 4
    assert [c.edges for c in found.clusters] == [4, 3, 3]
    assert found.clusters[0].centre_mm.tolist() == [85, 5, 0]
    assert not found.t_junctions
    with pytest.raises(PartError, match="open: 16 edges"):
        read_part(stl(*holes))


def test_a_closed_mesh_has_no_open_edges():
    assert open_edges(BLOCK).count == 0
    assert open_edges(BLOCK).clusters == ()


def test_t_junctions_are_open_and_named(stl):
    a, b, c = BLOCK[0]
    middle = (a + b) / 2
    split = np.stack([[a, middle, c], [middle, b, c]])
    with pytest.raises(PartError, match=r"open: 3 edges .*T-junctions"):
        read_part(stl(split, BLOCK[1:]))


def test_a_doubled_triangle_leaves_an_odd_count(stl):
    with pytest.raises(PartError, match="open: 3 edges"):
        read_part(stl(BLOCK, BLOCK[:1]))


def test_triangles_without_area_do_no_harm(stl):
    a, b, _ = BLOCK[0]
    needle = np.stack([[a, a, b], [b, b, b]])
    part = read_part(stl(BLOCK, needle))
    assert len(part.triangles) == 12
    assert any("2 triangles with two equal corners were dropped" in t for t in part.notices)


def test_only_triangles_without_area_are_refused(stl):
    a, b, _ = BLOCK[0]
    with pytest.raises(PartError, match="no surface"):
        read_part(stl(np.stack([[a, a, b]])))


def test_a_flat_triangle_that_keeps_the_mesh_closed_stays(stl):
    a, b, c = BLOCK[0]
    middle = (a + b) / 2
    flat = np.stack([[a, middle, c], [middle, b, c], [a, b, middle]])
    part = read_part(stl(flat, BLOCK[1:]))
    assert len(part.triangles) == 14
    assert part.notices == ()


@pytest.mark.parametrize("gap", [1e-6, 1e-5, 5e-5])
def test_a_narrow_crack_is_closed_with_a_notice(stl, gap):
    cracked = BLOCK.copy()
    corner = (cracked == np.float32([5, 10, 30])).all(axis=2)
    which = np.argwhere(corner)[0]
    cracked[which[0], which[1]] += np.float32(gap)
    assert survey(BLOCK).balanced
    assert not survey(cracked).balanced
    part = read_part(stl(cracked))
    assert is_closed(part.triangles)
    assert volume(part.triangles) == pytest.approx(6000.0, rel=1e-5)
    assert any("cracks were closed: 1 vertices" in text for text in part.notices)


def test_a_wide_crack_is_not_closed(stl):
    cracked = BLOCK.copy()
    cracked[0, 0] += np.float32(2e-3)
    with pytest.raises(PartError, match="the mesh is open"):
        read_part(stl(cracked))


def test_a_crack_is_not_closed_by_fusing_what_leaves_holes(stl):
    cracked = BLOCK[:11].copy()
    cracked[0, 0] += np.float32(2e-5)
    with pytest.raises(PartError, match="the mesh is open"):
        read_part(stl(cracked))


def test_distinct_vertices_closer_than_a_crack_stay_distinct_in_a_closed_mesh(stl):
    thin = box([0, 0, 0], [10, 10, 2e-5])
    part = read_part(stl(thin, box([20, 0, 0], [30, 10, 10])))
    assert len(np.unique(part.triangles.reshape(-1, 3), axis=0)) == 16


def test_the_hash_sees_every_single_change():
    # Property: no single moved, turned or missing triangle may pass for closed.
    for i in range(12):
        moved, turned = BLOCK.copy(), BLOCK.copy()
        moved[i, 1, 0] = np.nextafter(moved[i, 1, 0], np.float32(100))
        turned[i] = turned[i, ::-1]
        for changed in (moved, turned, np.delete(BLOCK, i, axis=0)):
            assert not survey(np.ascontiguousarray(changed)).balanced


def test_welding_gives_the_vertices_back():
    vertices, ids = weld(BLOCK)
    assert len(vertices) == 8
    assert vertices[ids].tolist() == BLOCK.tolist()
    assert len(number_edges(ids, 8).ends) == 18  # Euler: 8 - 18 + 12 = 2


# --- orientation


def test_a_mesh_that_is_inside_out_is_turned_with_a_notice(stl):
    part = read_part(stl(inward(BLOCK)))
    assert volume(part.triangles) == pytest.approx(6000.0)
    assert any("whole mesh was inside out" in text for text in part.notices)


@pytest.mark.parametrize("wrong", [[3], [0, 5, 7], [0, 1, 2, 3, 4, 5, 6, 8, 9]])
def test_mixed_orientation_is_mended_with_a_notice(stl, wrong):
    mixed = BLOCK.copy()
    mixed[wrong] = mixed[wrong][:, ::-1]
    part = read_part(stl(mixed))
    assert is_closed(part.triangles)
    assert volume(part.triangles) == pytest.approx(6000.0)
    fewer = min(len(wrong), 12 - len(wrong))
    assert any(f"{fewer} triangles faced against" in text for text in part.notices)


def test_boxes_that_share_an_edge_are_mended_one_by_one(stl):
    other = box([5, 10, 0], [15, 20, 30])
    mixed = np.concatenate([BLOCK, other])
    mixed[[2, 17]] = mixed[[2, 17]][:, ::-1]
    part = read_part(stl(mixed))
    assert is_closed(part.triangles)
    assert volume(part.triangles) == pytest.approx(9000.0)


def test_a_one_sided_surface_is_refused(stl):
    # The six-vertex projective plane: every edge bounds two triangles, it has no inside.
    faces = np.array(
        [[0, 1, 2], [0, 2, 3], [0, 3, 4], [0, 4, 5], [0, 5, 1],
         [1, 2, 4], [2, 3, 5], [3, 4, 1], [4, 5, 2], [5, 1, 3]]
    )  # fmt: skip
    points = np.random.default_rng(1).uniform(0, 50, (6, 3)).astype(np.float32)
    with pytest.raises(PartError, match="no inside"):
        read_part(stl(points[faces]))


# --- shells

INNER = box([-2, -4, 5], [2, 4, 15])  # 320 mm3, within BLOCK
APART = box([20, 0, 0], [24, 8, 10])  # 320 mm3, beside it


def test_a_cavity_is_kept(stl):
    part = read_part(stl(BLOCK, inward(INNER)))
    assert volume(part.triangles) == pytest.approx(6000.0 - 320.0)
    assert part.notices == ("2 closed shells, 1 of them cavities that face inward",)


def test_a_cavity_in_a_mesh_inside_out_is_kept(stl):
    part = read_part(stl(inward(BLOCK), INNER))
    assert volume(part.triangles) == pytest.approx(6000.0 - 320.0)


@pytest.mark.parametrize("pieces", [(BLOCK, inward(APART)), (inward(BLOCK), APART)])
def test_a_shell_that_is_inside_out_is_turned_with_a_notice(stl, pieces):
    part = read_part(stl(*pieces))
    assert is_closed(part.triangles)
    assert volume(part.triangles) == pytest.approx(6320.0)
    assert any("1 shell is inside out and turned" in text for text in part.notices)


def test_a_shell_inside_out_with_a_cavity_is_turned_and_its_cavity_kept(stl):
    # Beside a larger block: the outer box faces inward, its cavity rightly inward too.
    outer, hole = box([20, 0, 0], [30, 10, 10]), box([22, 2, 2], [28, 8, 8])
    part = read_part(stl(BLOCK, inward(outer), inward(hole)))
    assert volume(part.triangles) == pytest.approx(6000.0 + 1000.0 - 216.0)


def test_metal_within_a_cavity_is_kept(stl):
    core = box([-1, -1, 8], [1, 1, 10])
    part = read_part(stl(BLOCK, inward(INNER), core))
    assert volume(part.triangles) == pytest.approx(6000.0 - 320.0 + 8.0)
    assert not any("wholly within the metal" in text for text in part.notices)


def test_a_shell_within_metal_that_faces_outward_is_named(stl):
    part = read_part(stl(BLOCK, INNER))
    assert any("1 shell is wholly within the metal" in text for text in part.notices)


def test_overlapping_shells_are_named(stl):
    part = read_part(stl(BLOCK, box([-20, -5, 10], [20, 5, 20])))
    assert any("overlapping" in text for text in part.notices)


def test_a_cavity_that_sticks_out_of_the_metal_is_refused(stl):
    with pytest.raises(PartError, match="partly within the metal and partly outside"):
        read_part(stl(BLOCK, inward(box([-2, -4, 20], [2, 4, 60]))))


def test_a_bore_as_one_shell_with_the_outside_is_no_cavity(stl):
    # A square tube: four walls that meet at shared vertices, one shell of two surfaces.
    outer, inner = UNIT[:, :2] * 20, UNIT[:, :2] * 10 + 5
    ring = [np.c_[outer[:4], np.zeros(4)], np.c_[inner[:4], np.zeros(4)]]
    low = np.concatenate(ring)
    points = np.concatenate([low, low + np.array([0, 0, 40])]).astype(np.float32)
    faces = []
    for k in range(4):
        n = (k + 1) % 4
        for a, b, c, d in (
            (k, n, n + 8, k + 8),
            (n + 4, k + 4, k + 12, n + 12),
            (n, k, k + 4, n + 4),
            (k + 8, n + 8, n + 12, k + 12),
        ):
            faces += [[a, b, c], [a, c, d]]
    part = read_part(stl(points[np.array(faces)]))
    assert volume(part.triangles) == pytest.approx((400 - 100) * 40.0)
    assert part.notices == ()


def test_many_shells_keep_their_volumes():
    low = np.random.default_rng(2).uniform(0, 1000, (300, 3))
    pieces = np.concatenate([box(at, at + np.array([1, 2, 3])) for at in low])
    shells = find_shells(pieces)
    assert shells.label.tolist() == np.repeat(np.arange(300), 12).tolist()
    assert np.allclose(shells.volume_mm3, 6.0, rtol=1e-3)


def test_order_of_triangles_does_not_matter():
    pieces = np.concatenate([BLOCK, inward(APART), inward(INNER)])
    shuffled = pieces[np.random.default_rng(3).permutation(len(pieces))]
    turned, notices = face_outward(np.ascontiguousarray(shuffled))
    assert volume(turned) == pytest.approx(6000.0)
    assert notices[0] == "3 closed shells, 1 of them cavities that face inward"


def test_the_look_at_shells_can_be_left_to_the_caller(stl):
    part = read_part(stl(BLOCK, inward(APART)), shells=False)
    assert volume(part.triangles) == pytest.approx(6000.0 - 320.0)
    assert part.notices == ()


def test_an_open_mesh_can_be_read_for_inspection(stl):
    triangles, notices = read_triangles(stl(BLOCK[:11]))
    assert (len(triangles), notices) == (11, ())
    with pytest.raises(PartError):
        close(triangles)


def test_a_part_needs_no_file():
    part = Part(BLOCK, (), None)
    assert part.closed
    assert not part.triangles.flags.writeable
    assert BLOCK.flags.writeable
