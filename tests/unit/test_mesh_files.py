"""The formats: what is read is what was written, and damaged files are refused.

All expected numbers are analytic: the solids are tetrahedra and boxes made here.
"""

import io
import sys
import zipfile
from functools import cache

import numpy as np
import pytest

from clearance.errors import PartError
from clearance.mesh.formats import file_kind, read_mesh
from clearance.mesh.part import file_sha256, read_part

BOX = [10.0, 20.0, 30.0]
FACES = np.array(
    [[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4],
     [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7]]
)  # fmt: skip
VERTICES = (
    np.array(
        [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]],
        float,
    )
    * BOX
)


def volume(triangles):
    """Signed volume, mm3, of (F, 3, 3) triangles."""
    a, b, c = np.asarray(triangles, float).transpose(1, 0, 2)
    return np.einsum("ij,ij->", a, np.cross(b, c)) / 6


def binary_stl(triangles, header=b"made here"):
    records = np.zeros(
        len(triangles), np.dtype([("n", "<3f4"), ("v", "<f4", (3, 3)), ("a", "<u2")])
    )
    records["v"] = triangles
    return header.ljust(80) + np.uint32(len(triangles)).tobytes() + records.tobytes()


def text_stl(triangles, name="block"):
    lines = [f"solid {name}"]
    for corners in np.asarray(triangles, float).tolist():
        lines += ["facet normal 0 0 0", " outer loop"]
        lines += [f"  vertex {x!r} {y!r} {z!r}" for x, y, z in corners]
        lines += [" endloop", "endfacet"]
    return "\n".join([*lines, f"endsolid {name}", ""]).encode()


def text_ply(vertices, faces, stated=None):
    head = (
        f"ply\nformat ascii 1.0\nelement vertex {len(vertices)}\nproperty float x\n"
        f"property float y\nproperty float z\nelement face {stated or len(faces)}\n"
        "property list uchar int vertex_indices\nend_header\n"
    )
    rows = [" ".join(map(str, v)) for v in np.asarray(vertices).tolist()]
    rows += [" ".join(map(str, [len(f), *f])) for f in faces]
    return (head + "\n".join(rows) + "\n").encode()


def binary_ply(vertices, faces):
    head = text_ply(vertices, faces).partition(b"end_header\n")
    rows = np.zeros(len(faces), np.dtype([("k", "u1"), ("i", "<i4", (len(faces[0]),))]))
    rows["k"], rows["i"] = len(faces[0]), faces
    body = np.asarray(vertices, "<f4").tobytes() + rows.tobytes()
    return (head[0] + head[1]).replace(b"ascii", b"binary_little_endian") + body


def obj(vertices, faces):
    lines = ["# a block", "o block"]
    lines += [f"v {x!r} {y!r} {z!r}" for x, y, z in np.asarray(vertices).tolist()]
    lines += ["f " + " ".join(f"{i + 1}//1" for i in f) for f in np.asarray(faces).tolist()]
    return "\n".join([*lines, ""]).encode()


def mesh_xml(vertices=VERTICES, faces=FACES, inside=""):
    points = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in vertices.tolist())
    rows = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces.tolist())
    return f"<mesh><vertices>{points}</vertices><triangles>{rows}</triangles>{inside}</mesh>"


def threemf(resources, items, attributes='unit="millimeter"', other=None, build_extra=""):
    kinds = "application/vnd.openxmlformats-package.relationships+xml"
    model = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
    start = '<?xml version="1.0" encoding="UTF-8"?>'
    core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "[Content_Types].xml",
            f'{start}<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
            f'<Default Extension="rels" ContentType="{kinds}"/>'
            f'<Default Extension="model" ContentType="{model}"/></Types>',
        )
        archive.writestr(
            "_rels/.rels",
            f"{start}<Relationships "
            'xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
            '<Relationship Target="/3D/3dmodel.model" Id="r0" '
            'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>'
            "</Relationships>",
        )
        archive.writestr(
            "3D/3dmodel.model",
            f'{start}<model xmlns="{core}" {attributes}><resources>{resources}</resources>'
            f"<build {build_extra}>{items}</build></model>",
        )
        if other is not None:  # a second model file, that the first one refers to
            archive.writestr(
                "3D/other.model",
                f'{start}<model xmlns="{core}" unit="millimeter"><resources>{other}</resources>'
                "<build/></model>",
            )
            archive.writestr(
                "3D/_rels/3dmodel.model.rels",
                f"{start}<Relationships "
                'xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
                '<Relationship Target="/3D/other.model" Id="r1" '
                'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>'
                "</Relationships>",
            )
    return packed.getvalue()


def an_object(number=1, kind="model", name="block", inside="", extra=""):
    return (
        f'<object id="{number}" type="{kind}" name="{name}" {extra}>{mesh_xml(inside=inside)}'
        "</object>"
    )


@pytest.fixture
def write(tmp_path):
    def to(name, data):
        path = tmp_path / name
        path.write_bytes(data)
        return path

    return to


@pytest.fixture(params=["lib3mf", "lxml"])
def either_reader(request, monkeypatch):
    """Run a test with lib3mf and again as if it could not be imported."""
    if request.param == "lxml":
        monkeypatch.setitem(sys.modules, "lib3mf", None)
    return request.param


# --- round trips


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("b.stl", binary_stl(VERTICES[FACES])),
        ("solid.stl", binary_stl(VERTICES[FACES], b"solid with a facet normal")),
        ("t.stl", text_stl(VERTICES[FACES])),
        ("t.ply", text_ply(VERTICES, FACES.tolist())),
        ("b.ply", binary_ply(VERTICES, FACES.tolist())),
        ("o.obj", obj(VERTICES, FACES)),
        ("m.3mf", threemf(an_object(), '<item objectid="1"/>')),
    ],
)
def test_every_format_gives_back_the_triangles_in_order(write, name, data):
    mesh = read_mesh(write(name, data))
    assert mesh.triangles.tolist() == VERTICES[FACES].tolist()
    assert mesh.notices == ()
    assert mesh.unit == ("mm" if name.endswith("3mf") else None)


def test_two_solids_in_a_text_file_are_joined(write):
    data = text_stl(VERTICES[FACES]) + text_stl(VERTICES[FACES] + [50, 0, 0], "other vertex")
    assert volume(read_mesh(write("two.stl", data)).triangles) == pytest.approx(12000.0)


def test_a_text_file_with_tabs_capitals_and_carriage_returns_is_read(write):
    data = text_stl(VERTICES[FACES]).upper().replace(b"\n", b"\r\n").replace(b" ", b"\t")
    assert read_mesh(write("t.stl", data)).triangles.tolist() == VERTICES[FACES].tolist()


def test_a_text_file_read_in_pieces_is_the_same(write, monkeypatch):
    monkeypatch.setattr("clearance.mesh.formats._PIECE_BYTES", 100)
    mesh = read_mesh(write("t.stl", text_stl(VERTICES[FACES])))
    assert mesh.triangles.tolist() == VERTICES[FACES].tolist()


QUADS = [[3, 2, 1, 0], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]]
MIXED = [*QUADS[:5], [3, 0, 4], [3, 4, 7]]
PENTAGON = [[0, 1, 2, 3, 4]]


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("q.ply", text_ply(VERTICES, QUADS)),
        ("qb.ply", binary_ply(VERTICES, QUADS)),
        ("mixed.ply", text_ply(VERTICES, MIXED)),
        ("q.obj", obj(VERTICES, QUADS)),
    ],
)
def test_polygons_are_cut_into_triangles(write, name, data):
    mesh = read_mesh(write(name, data))
    assert len(mesh.triangles) == 12
    assert volume(mesh.triangles) == pytest.approx(6000.0)


def test_pentagons_of_a_ply_are_fans(write):
    mesh = read_mesh(write("p.ply", text_ply(VERTICES, PENTAGON)))
    assert mesh.triangles.tolist() == VERTICES[[[0, 1, 2], [0, 2, 3], [0, 3, 4]]].tolist()


def test_obj_counts_relative_numbers_from_the_vertices_seen_so_far(write):
    one = obj(VERTICES, FACES - 8).replace(b"//1", b"")
    one = one.replace(b"f ", b"f  ")  # FACES - 8 + 1 is one too high for relative numbers
    lines = [
        b"f " + b" ".join(str(int(w) - 1).encode() for w in line[1:].split())
        if line.startswith(b"f")
        else line
        for line in one.splitlines()
    ]
    data = b"\n".join([*lines, *(b"v 500 500 500" for _ in range(3)), b""])
    assert read_mesh(write("r.obj", data)).triangles.tolist() == VERTICES[FACES].tolist()


# --- bytes decide


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (threemf(an_object(), '<item objectid="1"/>'), "3MF"),
        (text_ply(VERTICES, FACES.tolist()), "PLY"),
        (obj(VERTICES, FACES), "OBJ"),
    ],
)
def test_a_file_of_another_format_than_its_name_is_read_with_a_notice(write, data, kind):
    mesh = read_mesh(write("part.stl", data))
    assert mesh.kind == kind
    assert len(mesh.triangles) == 12
    assert any(".stl" in text and kind in text for text in mesh.notices)


@pytest.mark.parametrize(
    ("head", "says"),
    [
        (b"<!DOCTYPE html><html>not found</html>", "web page"),
        (b"\x7fELF\x00\x00", "none of STL, PLY, OBJ, 3MF"),
    ],
)
def test_what_is_no_mesh_is_named(head, says):
    with pytest.raises(PartError, match=says):
        file_kind(head, len(head))


# --- refusals: (file name, bytes, what the message must say)

GOOD = binary_stl(VERTICES[FACES])
TEXT = text_stl(VERTICES[FACES])
REFUSED = {
    "empty": ("e.stl", b"", "the file is empty"),
    "no triangles": ("n.stl", binary_stl(VERTICES[FACES][:0]), "no triangles"),
    "short": ("s.stl", GOOD[:50], "cut off or no STL: 50 bytes"),
    "truncated": ("t.stl", GOOD[:-20], "cut off: its header says 12 triangles"),
    "truncated solid": ("t.stl", b"solid" + GOOD[5:-20], "cut off: its header says 12"),
    "count lies": ("c.stl", GOOD + bytes(50), "longer than its triangle count"),
    "text cut": ("x.stl", TEXT[: len(TEXT) // 2], "cut off: 1 'solid', 0 'endsolid'"),
    "text cut in a facet": (
        "x.stl",
        TEXT[: TEXT.rindex(b"vertex")] + b"\nendsolid block\n",
        "cut off in facet 12",
    ),
    "text without facets": ("x.stl", b"solid a\nendsolid a\n", "no triangles"),
    "text polygon": (
        "x.stl",
        TEXT.replace(b" endloop", b"vertex 1 2 3\n endloop", 1),
        "in facet 1: found 'vertex', expected 'endloop'",
    ),
    "comma": ("x.stl", TEXT.replace(b"20.0", b"20,0"), "'20,0'.*decimal comma"),
    "word": ("x.stl", TEXT.replace(b"20.0", b"twenty", 1), "facet 1 'twenty'"),
    "ply header": ("p.ply", b"ply\nformat ascii 1.0\n", "no end_header"),
    "ply cut": ("p.ply", binary_ply(VERTICES, FACES.tolist())[:-5], "damaged or cut off"),
    "ply text cut": ("p.ply", text_ply(VERTICES, FACES.tolist())[:-20], "PLY"),
    "ply count": (
        "p.ply",
        text_ply(VERTICES, FACES.tolist(), stated=14),
        "says 8 vertices and 14 faces, its body holds 8 and 12",
    ),
    "ply points": (
        "p.ply",
        text_ply(VERTICES, []).replace(b"face 0", b"face 0"),
        "no triangles: 8 vertices, 0 faces",
    ),
    "ply index": ("p.ply", text_ply(VERTICES, [[0, 1, 9]]), "triangle 1 names vertex"),
    "ply words": (
        "p.ply",
        text_ply(VERTICES, FACES.tolist()).replace(b"20.0", b"2x.0", 1),
        "damaged",
    ),
    "obj index": ("o.obj", obj(VERTICES, [[0, 1, 8]]), "names vertex"),
    "obj zero": ("o.obj", obj(VERTICES, [[-1, 1, 2]]), "line 11.*vertex number 0"),
    "obj comma": ("o.obj", obj(VERTICES, FACES).replace(b"20.0", b"20,0"), "decimal comma"),
    "obj two": ("o.obj", obj(VERTICES, [[0, 1]]), "line 11.*three vertices"),
    "obj short vertex": ("o.obj", b"v 1 2\nv 1 2 3\nf 1 2 2\n", "line 1.*three numbers"),
    "obj no faces": ("o.obj", obj(VERTICES, FACES[:0]), "no faces"),
    "html": ("d.stl", b"<html><body>sign in</body></html>" * 9, "web page"),
    "zip": ("z.3mf", b"PK\x03\x04 not a zip at all", "3MF file is damaged"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_bad_file_is_refused_by_name_with_the_reason(write, case):
    name, data, says = REFUSED[case]
    path = write(name, data)
    with pytest.raises(PartError, match=says) as caught:
        read_part(path)
    assert str(caught.value).startswith(f"{path}: ")


def test_a_missing_file_and_a_directory_are_refused(tmp_path):
    with pytest.raises(PartError, match=r"none\.stl: cannot be read: No such file"):
        read_part(tmp_path / "none.stl")
    with pytest.raises(PartError, match="is a directory"):
        read_part(tmp_path)
    with pytest.raises(PartError, match="cannot be read"):
        file_sha256(tmp_path / "none.stl")


def test_the_hash_is_that_of_the_bytes(write):
    # Published: FIPS 180-2, appendix B.1, the message "abc".
    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert file_sha256(write("abc", b"abc")) == expected


# --- 3MF


def test_a_3mf_in_inches_is_read_in_millimetres_with_a_notice(write, either_reader):
    data = threemf(an_object(), '<item objectid="1"/>', 'unit="inch"')
    part = read_part(write("i.3mf", data))
    assert volume(part.triangles) == pytest.approx(6000.0 * 25.4**3, rel=1e-6)
    assert any("own unit, inch, is used, not mm" in text for text in part.notices)


def test_components_and_items_are_moved_and_mirrored(write, either_reader):
    # The block mirrored in x by the component, then turned 90 deg about z and moved by the
    # item: x' = -y, y' = x. Analytic: x from -20 to 0, y from -10 to 0, z from 5 to 35.
    nest = '<object id="2" name="nest"><components>' + (
        '<component objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 5"/></components></object>'
    )
    item = '<item objectid="2" transform="0 1 0 -1 0 0 0 0 1 100 200 0"/>'
    part = read_part(write("c.3mf", threemf(an_object() + nest, item)))
    assert part.triangles.min(axis=(0, 1)).tolist() == [80.0, 190.0, 5.0]
    assert part.triangles.max(axis=(0, 1)).tolist() == [100.0, 200.0, 35.0]
    assert volume(part.triangles) == pytest.approx(6000.0)
    assert part.notices == ()  # the mirror was undone in reading, not mended afterwards


def test_support_objects_are_left_out_aloud(write, either_reader):
    resources = an_object() + an_object(2, "support", "tree")
    items = '<item objectid="1"/><item objectid="2" transform="1 0 0 0 1 0 0 0 1 50 0 0"/>'
    part = read_part(write("s.3mf", threemf(resources, items)))
    assert volume(part.triangles) == pytest.approx(6000.0)
    assert any("support object 'tree' is left out" in text for text in part.notices)


def test_support_within_a_component_is_left_out_too(write, either_reader):
    nest = '<object id="3"><components><component objectid="1"/>' + (
        '<component objectid="2"/></components></object>'
    )
    resources = an_object() + an_object(2, "support", "tree") + nest
    part = read_part(write("s.3mf", threemf(resources, '<item objectid="3"/>')))
    assert len(part.triangles) == 12
    assert any("'tree' is left out" in text for text in part.notices)


def test_several_build_items_become_one_part_and_are_named(write, either_reader):
    resources = an_object() + an_object(2, name="lid")
    items = '<item objectid="1"/><item objectid="2" transform="1 0 0 0 1 0 0 0 1 50 0 0"/>'
    part = read_part(write("two.3mf", threemf(resources, items)))
    assert volume(part.triangles) == pytest.approx(12000.0)
    assert any("'block', 'lid'" in text for text in part.notices)


THREE = (
    an_object(1, name="block") + an_object(2, name="lid"),
    '<item objectid="1" partnumber="B-1"/>'
    '<item objectid="2" partnumber="L-1" transform="1 0 0 0 1 0 0 0 1 50 0 0"/>'
    '<item objectid="2" partnumber="L-2" transform="0 1 0 -1 0 0 0 0 1 0 80 0"/>',
)
LIDS = "'block', 'lid #1', 'lid #2'"


@pytest.mark.parametrize(
    ("item", "low", "high"),
    [
        ("block", (0, 0, 0), (10, 20, 30)),
        ("lid #1", (50, 0, 0), (60, 20, 30)),
        ("lid #2", (-20, 80, 0), (0, 90, 30)),  # a quarter turn, then moved (3MF core, 3.3)
        ("L-2", (-20, 80, 0), (0, 90, 30)),
    ],
)
def test_one_build_item_is_the_part(write, either_reader, item, low, high):
    path = write("three.3mf", threemf(*THREE, attributes='unit="centimeter"'))
    part = read_part(path, "cm", item=item)
    assert part.triangles.min((0, 1)) == pytest.approx(10.0 * np.array(low))
    assert part.triangles.max((0, 1)) == pytest.approx(10.0 * np.array(high))
    assert part.notices == (f"of 3 build items '{item}' alone is the part",)


@pytest.mark.parametrize(
    ("item", "says"),
    [
        ("lid", f"found 'lid', which 2 build items are called, expected one of {LIDS}"),
        ("lid #3", f"found 'lid #3', expected one of {LIDS}"),
    ],
)
def test_a_build_item_that_is_not_meant_clearly_lists_those_found(write, either_reader, item, says):
    path = write("three.3mf", threemf(*THREE))
    with pytest.raises(PartError) as fault:
        read_part(path, item=item)
    assert str(fault.value) == f"{path}: [part] item: {says}"


def test_only_a_3mf_has_named_items(write):
    path = write("a.stl", binary_stl(VERTICES[FACES]))
    with pytest.raises(PartError, match="found 'lid', expected none: binary STL has no named"):
        read_part(path, item="lid")


def test_an_object_outside_the_build_is_no_part_of_it(write, either_reader):
    resources = an_object() + an_object(2, name="spare")
    part = read_part(write("o.3mf", threemf(resources, '<item objectid="1"/>')))
    assert len(part.triangles) == 12


SLICES = (
    '<s:slicestack id="5" zbottom="0"><s:slice ztop="1"><s:vertices><s:vertex x="0" y="0"/>'
    '<s:vertex x="1" y="0"/><s:vertex x="0" y="1"/></s:vertices><s:polygon startv="0">'
    '<s:segment v2="1"/><s:segment v2="2"/><s:segment v2="0"/></s:polygon></s:slice>'
    "</s:slicestack>"
)
SPACE = "http://schemas.microsoft.com/3dmanufacturing/"
BEAMS = (
    '<b:beamlattice minlength="0.1" radius="1"><b:beams><b:beam v1="0" v2="6"/></b:beams>'
    "</b:beamlattice>"
)
ITEM = '<item objectid="1"/>'
REFUSED_3MF = {
    "unit": (an_object(), ITEM, 'unit="furlong"', "unit 'furlong', expected one of micron"),
    "unknown extension": (
        an_object(),
        ITEM,
        'xmlns:q="http://example.org/q" requiredextensions="q"',
        "requires the 3MF extension http://example.org/q",
    ),
    "beam extension": (
        an_object(inside=BEAMS),
        ITEM,
        f'xmlns:b="{SPACE}beamlattice/2017/02" requiredextensions="b"',
        "beamlattice",
    ),
    "beams not required": (
        an_object(inside=BEAMS),
        ITEM,
        f'xmlns:b="{SPACE}beamlattice/2017/02"',
        "beam lattice",
    ),
    "slices": (
        SLICES + an_object(extra='s:slicestackid="5" s:meshresolution="lowres"'),
        ITEM,
        f'xmlns:s="{SPACE}slice/2015/07" requiredextensions="s"',
        "'block' is a slice stack",
    ),
    "only support": (an_object(kind="support"), ITEM, "", "holds only support objects"),
    "empty build": (an_object(), "", "", "holds nothing"),
    "other": (an_object(kind="other"), ITEM, "", "(?i)other"),
    "flat": (
        an_object(),
        '<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>',
        "",
        "3MF|flattens",
    ),
    "index": (an_object().replace('v1="0"', 'v1="99"'), ITEM, "", "3MF|vertex 99"),
    "nan": (an_object().replace('x="10.0"', 'x="nan"'), ITEM, "", "3MF|not finite"),
    "missing object": (an_object(), '<item objectid="7"/>', "", "3MF"),
}


@pytest.mark.parametrize("case", REFUSED_3MF)
def test_a_3mf_that_would_be_misread_is_refused(write, either_reader, case):
    resources, items, attributes, says = REFUSED_3MF[case]
    with pytest.raises(PartError, match=says):
        read_part(write("r.3mf", threemf(resources, items, attributes)))


def with_a_second_model(unit):
    """Make a component of an object in another model file (production extension)."""
    uuid = (f'p:UUID="00000000-0000-4000-8000-{k:012}"' for k in range(9))
    nest = f'<object id="2" {next(uuid)}><components><component objectid="1" ' + (
        f'p:path="/3D/other.model" {next(uuid)}/></components></object>'
    )
    space = f'xmlns:p="{SPACE}production/2015/06" requiredextensions="p"'
    build = f'<item objectid="2" {next(uuid)}/>'
    return threemf(
        nest,
        build,
        f'unit="{unit}" {space}',
        other=an_object(extra=f'xmlns:p="{SPACE}production/2015/06" {next(uuid)}'),
        build_extra=next(uuid),
    )


def test_a_component_in_another_model_file_is_followed(write, either_reader):
    part = read_part(write("p.3mf", with_a_second_model("millimeter")))
    assert part.triangles.tolist() == VERTICES[FACES].tolist()


def test_model_files_of_different_units_are_refused(write, either_reader):
    with pytest.raises(PartError, match="mixes units in one 3MF file: centimeter, millimeter"):
        read_part(write("p.3mf", with_a_second_model("centimeter")))


def test_components_in_a_circle_are_refused(write, either_reader):
    nest = '<object id="1"><components><component objectid="1"/></components></object>'
    with pytest.raises(PartError, match="3MF"):
        read_part(write("c.3mf", threemf(nest, ITEM)))


def test_a_slice_stack_beside_a_full_mesh_is_harmless(write, either_reader):
    resources = SLICES + an_object(extra='s:slicestackid="5" s:meshresolution="fullres"')
    attributes = f'xmlns:s="{SPACE}slice/2015/07" requiredextensions="s"'
    part = read_part(write("f.3mf", threemf(resources, ITEM, attributes)))
    assert volume(part.triangles) == pytest.approx(6000.0)


def test_a_3mf_with_damaged_contents_is_refused(write, either_reader):
    data = threemf(an_object(), ITEM)
    refused = 0
    for place in range(30, len(data), 7):  # any byte may be hit; nothing but PartError may come
        path = write("d.3mf", data[:place] + bytes([data[place] ^ 0x55]) + data[place + 1 :])
        try:
            read_part(path)
        except PartError:
            refused += 1
    assert refused > 50


def test_a_zip_that_is_no_3mf_is_named(write):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("readme.txt", "nothing here")
    with pytest.raises(PartError, match="zip archive without a 3MF model"):
        read_part(write("z.3mf", packed.getvalue()))


# --- files that mean harm, and files that only look strange


FOREIGN = {  # 3MF core, 2.3.3.1: what is foreign is ignored unless it is required
    "default namespace again": (
        an_object(),
        f'<item xmlns="{SPACE}core/2015/02" objectid="1"/>',
        "",
    ),
    "unused declaration": (an_object(), ITEM, f'xmlns:p="{SPACE}production/2015/06"'),
    "vendor metadata": (
        an_object(extra='v:colour="7"'),
        ITEM,
        'xmlns:v="http://example.org/vendor"',
    ),
    "vendor element": (
        an_object() + '<v:note v:by="somebody">as ordered</v:note>',
        ITEM,
        'xmlns:v="http://example.org/vendor"',
    ),
}


@pytest.mark.parametrize("case", FOREIGN)
def test_what_is_foreign_in_a_3mf_is_ignored(write, either_reader, case):
    part = read_part(write("f.3mf", threemf(*FOREIGN[case])))
    assert part.triangles.tolist() == VERTICES[FACES].tolist()


def twice_each(levels, matrix=""):
    """Components: each object the one before twice, so 2**levels boxes."""
    placed = f'transform="{matrix}"' if matrix else ""
    return an_object() + "".join(
        f'<object id="{n}"><components><component objectid="{n - 1}"/>'
        f'<component objectid="{n - 1}" {placed}/></components></object>'
        for n in range(2, levels + 2)
    )


def test_components_that_grow_by_powers_are_counted_before_they_are_expanded(write, either_reader):
    data = threemf(twice_each(40), '<item objectid="41"/>')
    assert len(data) < 2000
    with pytest.raises(PartError, match=f"components make {2**41 - 1} objects, expected at most"):
        read_part(write("bomb.3mf", data))


EMPTY = "<mesh><vertices/><triangles/></mesh>"


def test_components_without_any_triangle_are_counted_too(write, either_reader):
    nest = twice_each(40).replace(
        an_object(), an_object(1, "model", "x").replace(mesh_xml(), EMPTY)
    )
    with pytest.raises(PartError, match="objects, expected at most"):
        read_part(write("bomb.3mf", threemf(nest, '<item objectid="41"/>')))


def test_boxes_in_one_place_count_once(write, either_reader):
    part = read_part(write("many.3mf", threemf(twice_each(12), '<item objectid="13"/>')))
    assert part.triangles.tolist() == VERTICES[FACES].tolist()
    assert "'block' is placed 4096 times in one place: it counts once" in part.notices
    moved = threemf(twice_each(3, "1 0 0 0 1 0 0 0 1 50 0 0"), '<item objectid="4"/>')
    part = read_part(write("moved.3mf", moved))  # 0, 50, 100, 150: of eight boxes four differ
    assert len(np.unique(part.triangles.reshape(-1, 9), axis=0)) == 4 * len(FACES)


def repacked(change):
    """A sound 3MF with some of its entries changed."""
    packed, old = io.BytesIO(), zipfile.ZipFile(io.BytesIO(threemf(an_object(), ITEM)))
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in old.namelist():
            with archive.open(name, "w", force_zip64=True) as stream:
                change(name, old.read(name), stream)
    return packed.getvalue()


@pytest.mark.parametrize(
    ("entry", "millions", "says"),
    [
        ("_rels/.rels", 2, r"_rels/\.rels is too large when unpacked"),
        ("_rels/.rels", 120, "more than 500 times its packed size"),
        ("3D/3dmodel.model", 120, "more than 500 times its packed size"),
        ("3D/3dmodel.model", 30, "a first tag of over"),
    ],
)
def test_a_zip_of_blanks_is_refused_before_it_is_unpacked(
    write, either_reader, entry, millions, says
):
    with pytest.raises(PartError, match=says):
        read_part(write("blanks.3mf", with_blanks(entry, millions)))


@cache
def with_blanks(entry, millions):
    """A 3MF one of whose entries has millions of blanks in its first tag: the same each time."""

    def blanks(name, data, stream):
        at = data.index(b"<model" if name == entry and b"<model" in data else b"<") + 6
        stream.write(data[:at])
        if name == entry:
            for _ in range(millions):
                stream.write(b" " * 1_000_000)
        stream.write(data[at:])

    return repacked(blanks)


def test_a_3mf_with_a_document_type_is_named(write, either_reader):
    def typed(name, data, stream):
        stream.write(data.replace(b"<model", b"<!DOCTYPE model><model"))

    with pytest.raises(PartError, match="document type, which the 3MF standard forbids"):
        read_part(write("t.3mf", repacked(typed)))


@pytest.mark.parametrize("size", [34, 0, 83])
def test_a_binary_stl_shorter_than_its_head_is_named(write, size):
    """A count that lies: 84 - 50 bytes fit a count of -1."""
    data = bytes(range(128, 128 + size))
    with pytest.raises(PartError, match=r"is cut off or no STL|the file is empty"):
        read_part(write("short.stl", data))
