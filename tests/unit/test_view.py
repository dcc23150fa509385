"""The page to turn in the hand: what stands in it, that it is inert, and the same as glTF."""

import base64
import hashlib
import html
import io
import json
import re
import struct
import zlib
from dataclasses import replace
from importlib.resources import files

import gltf
import make
import matplotlib.colors as mcolors
import numpy as np
import pytest
import shapes
import trimesh
from click.testing import CliRunner

from clearance.api import examine
from clearance.case.read import read_case
from clearance.cli.main import main
from clearance.figures.style import MARKS
from clearance.geometry.box_tree import build
from clearance.geometry.distance import distances
from clearance.view.gltf import glb
from clearance.view.packed import packed
from clearance.view.page import LIBRARY, page
from clearance.view.scene import _thin, scene
from clearance.view.shapes import cylinder, merged, straightened, thinned, tube

NAME = "<img src=x onerror=alert(1)>"
ENDING = "</script><b>&amp; {{data}}"


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """Two bores that the part's first layers cross, one leaning: names that are markup."""
    folder = tmp_path_factory.mktemp("view")
    solid = shapes.block((-12, -10, 2), (12, 10, 12)) - shapes.bore((-4.2, 0, 1), (-1.8, 0, 13), 3)
    solid -= shapes.bore((6, 0, 1), (6, 0, 13), 2)
    leaning = make.passage((-4, 0, 2), (-2, 0, 12), 3.0, 5.5, name=NAME)
    upright = make.passage((6, 0, 2), (6, 0, 12), 2.0, 3.0, name=ENDING)
    path = make.write_case(
        folder, solid, [leaning, upright], make.sheet(5.0), pitch=0.4, part={"platform_z": 2.0}
    )
    return scene(examine(read_case(path), verify=False))


@pytest.fixture(scope="module")
def text(shown):
    return page(shown).decode()


def data_of(text):
    return json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>',
                                text, re.DOTALL)[1])  # fmt: skip


# ---- what stands in it ---------------------------------------------------------------------------


def test_heights_are_above_the_platform(shown):
    assert (shown.low, shown.high) == pytest.approx((0.0, 10.0), abs=1e-5)
    assert shown.sheets == pytest.approx((5.0,))
    assert {round(tag.at[2], 1) + 0.0 for tag in shown.tags} == {0.0, 10.0}
    assert all(5.0 <= mark.at[2] <= 5.4 for mark in shown.marks)


def test_a_tag_knows_its_passages_and_not_those_whose_names_begin_alike(shown):
    """Of "cool" alone the page shows the names, not those of "cool 2"."""
    assert {tag.passages for tag in shown.tags} == {(NAME,), (ENDING,)}
    assert all(tag.words.startswith(tag.passages[0]) for tag in shown.tags)


def test_bodies_carry_the_states_of_the_check(shown):
    states = {body.name: body.state for body in shown.bodies if body.kind == "passage"}
    assert states == {NAME: "restricted", ENDING: "open"}
    assert {row.name: row.state for row in shown.rows} == states
    assert shown.rows[0].state == "restricted"  # the gravest first


def test_the_bodies_volumes_are_those_of_the_part(shown):
    """24 x 20 x 10 less two bores; of the leaning one the elliptical section is d / cos wide."""
    part = next(body for body in shown.bodies if body.kind == "part")
    bores = np.pi * 10.0 * (9.0 * np.hypot(10.0, 2.0) / 10.0 + 4.0)
    mesh = trimesh.Trimesh(*trimesh.triangles.to_kwargs(part.triangles).values())
    assert mesh.volume == pytest.approx(4800.0 - bores, rel=2e-3)


def test_numbers_of_a_crossing_are_those_of_the_check(shown):
    leaning = next(mark for mark in shown.marks if mark.passage == NAME)
    rows = dict(leaning.rows)
    assert rows["crossing"].endswith(" % open")
    assert rows["passes"].startswith("at most ")
    whole = next(dict(mark.rows) for mark in shown.marks if mark.passage == ENDING)
    assert whole["crossing"] == "fully open"


def test_the_page_gives_the_same_corners_back(shown, text):
    """Written in steps of 1/65535 of a body's box: at 24 mm less than a thousandth."""
    told = data_of(text)["bodies"]
    for body, one in zip(shown.bodies, told, strict=True):
        steps = np.frombuffer(base64.b64decode(one["corners"]), "<u2").reshape(-1, 3)
        assert one["bytes"] == (2 if len(steps) < 65536 else 4)
        kind = f"<u{one['bytes']}"
        faces = np.frombuffer(base64.b64decode(one["triangles"]), kind).reshape(-1, 3)
        again = (np.array(one["low"]) + steps * np.array(one["step"]))[faces]
        assert np.abs(again - body.triangles).max() < 1e-3


def test_a_large_body_is_given_back_whole_and_begins_with_few_triangles_that_lie_near():
    """As the page's script unpacks it (RFC 1950): to the step; a torus of 26,450 triangles."""
    soup = shapes.torus(6.0, 2.0, 115)
    data, off = packed(soup, 0.04)
    low, step = np.array(data["low"]), np.array(data["step"])
    known = np.frombuffer(base64.b64decode(data["corners"]), "<u2").reshape(-1, 3)
    faces = np.frombuffer(base64.b64decode(data["triangles"]), "<u2").reshape(-1, 3)
    few = (low + known * step)[faces]
    assert len(few) < 0.6 * len(soup)
    assert 0.0 < off <= 0.04
    assert distances(build(soup), few.mean(axis=1)[::20]).max() <= off + step.max()
    assert distances(build(few), soup[::20, 0]).max() <= off + step.max()
    corners, triangles = data["most"]
    raw = zlib.decompress(base64.b64decode(data["rest"]))
    count = corners - len(known)
    more = planes(raw[: 6 * count], count, 2).cumsum(axis=0).astype(np.uint16)
    index = planes(raw[6 * count :], triangles, 4)
    index[:, 0] = index[:, 0].cumsum()
    index[:, 1:] += index[:, :1]
    again = (low + np.concatenate([known, more]) * step)[index.astype(np.uint32)]
    middles, own = again.mean(axis=1), soup.mean(axis=1, dtype=float)
    assert len(again) == len(soup)
    assert distances(build(again), own[::20]).max() < 1e-3
    assert np.abs(np.sort(middles, axis=0) - np.sort(own, axis=0)).max() < 1e-3


def planes(raw, count, width):
    """Rows of three numbers, from their lowest bytes, the next ones and so on."""
    split = np.frombuffer(raw, np.uint8).reshape(width, -1).astype(np.uint64)
    return sum(split[k] << 8 * k for k in range(width)).reshape(3, count).T.copy()


# ---- inert -----------------------------------------------------------------------------------


def test_names_are_text_and_never_markup(text):
    assert NAME not in text
    assert ENDING not in text
    assert "<img" not in text
    assert {row["name"] for row in data_of(text)["rows"]} == {NAME, ENDING}
    assert text.count("<script") == text.count("</script>") == 3
    assert "innerHTML" not in files("clearance.view").joinpath("page.js").read_text()


def test_what_runs_is_what_stands_in_it_and_nothing_is_fetched(text):
    policy = html.unescape(re.search(r'Security-Policy" content="(.*?)"', text)[1])
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    allowed = set(re.findall(r"'sha256-(.*?)'", policy))
    run = [*re.findall(r"<script>(.*?)</script>", text, re.DOTALL),
           *re.findall(r"<style>(.*?)</style>", text, re.DOTALL)]  # fmt: skip
    hashes = {base64.b64encode(hashlib.sha256(one.encode()).digest()).decode() for one in run}
    assert hashes == allowed
    assert len(run) == 3
    own = text.replace(files("clearance.view").joinpath("three.min.js").read_text().strip(), "")
    spoken = [a for a in re.findall(r"\w+://[^\s\"'<>)]*", own) if "www.w3.org/2000/svg" not in a]
    assert spoken == []
    for word in ("fetch(", "XMLHttpRequest", "import(", "sendBeacon", " on"):
        assert word not in "".join(re.findall(r"<(?:a|img|link|script)[^>]*>", own))


def test_the_library_is_the_one_that_is_named_and_its_licence_stands_in_the_page(text):
    """As the npm registry has it, bundled by docs/make_three.py."""
    library = files("clearance.view").joinpath("three.min.js").read_bytes()
    assert (
        hashlib.sha256(library).hexdigest()
        == "7343c98c00016f25d773b2e90e37756f54383fe7fd0e31bf357dfc8dfaa044d1"
    )
    assert f"three.js {LIBRARY}" in text
    assert "Permission is hereby granted" in text


def test_the_same_scene_gives_the_same_bytes(shown, text):
    assert page(shown).decode() == text


# ---- contrast --------------------------------------------------------------------------------


def luminance(colour):
    """Relative luminance of sRGB, WCAG 2.1 (W3C 2018), 0.03928 as it stands there."""
    if len(colour) == 4:
        colour = "#" + "".join(2 * digit for digit in colour[1:])
    shares = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [s / 12.92 if s <= 0.03928 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_words_stand_out_of_what_is_behind_them():
    """WCAG 2.1: words 4.5 to 1 (1.4.3), what has the focus and edges of controls 3 to 1 (1.4.11).

    Black on white is 21 and #767676 on white the lightest grey that suffices, both well known.
    """
    assert contrast("#000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") > 4.5 > contrast("#777777", "#ffffff")
    css = files("clearance.view").joinpath("page.css").read_text()
    blocks = [dict(re.findall(r"--(\w+): (#\w+)", one)) for one in
              re.findall(r"(?::root|\nmain) {(.*?)}", css)]  # fmt: skip
    light, dark, drawing, print_ = blocks
    for given in ({}, dark, drawing, print_):  # light, dark, the drawing in either, paper
        used = light | given
        for words in ("ink", "soft", "hold"):
            assert contrast(used[words], used["paper"]) >= 4.5, (words, given)
        assert contrast(used["ink"], used["pale"]) >= 4.5
        assert contrast(used["focus"], used["paper"]) >= 3.0
        assert contrast(used["line"], used["paper"]) >= 3.0
    # The drawing is light in the dark as well: what it takes from there has to suffice on it.
    for words in ("ink", "hold"):
        assert contrast((light | dark | drawing)[words], drawing["paper"]) >= 4.5
    for look in (one for _, one in MARKS.values()):
        assert contrast("#1a1a1a", mcolors.to_hex(look.face)) >= 4.5


# ---- glTF ------------------------------------------------------------------------------------


def test_gltf_is_read_back_with_the_same_bounds_and_volumes(shown):
    """ISO/IEC 12113: magic, version, length; metres, +Y up."""
    data = glb(shown)
    magic, version, length = struct.unpack("<4sII", data[:12])
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size, kind = struct.unpack("<I4s", data[12:20])
    tree = json.loads(data[20 : 20 + size])
    assert kind == b"JSON"
    assert tree["asset"]["version"] == "2.0"
    back = trimesh.load(io.BytesIO(data), file_type="glb")
    corners = np.concatenate([body.triangles.reshape(-1, 3) for body in shown.bodies]) * 1e-3
    turned = corners[:, [0, 2, 1]] * (1, 1, -1)
    assert np.allclose(back.bounds, [turned.min(0), turned.max(0)], atol=1e-8)
    for number, body in enumerate(shown.bodies, start=1):
        mesh = back.geometry[f"{number} {body.name}"]
        own = trimesh.Trimesh(*trimesh.triangles.to_kwargs(body.triangles).values())
        assert mesh.volume == pytest.approx(own.volume, rel=1e-5, abs=1e-6)
        assert mesh.metadata["state"] == body.state


def test_gltf_holds_to_the_standard(shown):
    """Clause by clause; names as they are, since they are text there too."""
    data = glb(shown)
    tree = gltf.checked(data)
    names = {f"{n} {body.name}" for n, body in enumerate(shown.bodies, start=1)}
    assert names <= {node.get("name") for node in tree["nodes"]}
    states = {"restricted", "open", "part", "stray"}
    assert states <= {one["name"] for one in tree["materials"]}
    size = struct.unpack("<I", data[12:16])[0]
    for spoilt in (data[:-4], data[:4] + b"\1" + data[5:], data.replace(b"VEC3", b"VEC4", 1)):
        with pytest.raises((AssertionError, KeyError, ValueError, struct.error)):
            gltf.checked(spoilt)
    moved = data[: 28 + size] + b"\xff\xff\x7f\x7f" + data[32 + size :]
    with pytest.raises(AssertionError):
        gltf.checked(moved)


# ---- shapes ----------------------------------------------------------------------------------


def test_a_cylinder_and_a_tube_have_their_closed_volumes():
    """A prism of 16 sides holds 8 sin(22.5 deg) r^2 h, a cone a third of it."""
    area = 8.0 * np.sin(np.radians(22.5))
    for far, share in ((None, 1.0), (0.0, 1 / 3)):
        solid = trimesh.Trimesh(*trimesh.triangles.to_kwargs(
            cylinder((0, 0, 0), (0, 3, 4), 2.0, far)).values())  # fmt: skip
        assert solid.volume == pytest.approx(area * 4.0 * 5.0 * share, rel=1e-5)
    line = np.array([(0, 0, 0), (10, 0, 0), (20, 0, 0.0)])
    dashes = tube(line, 1.0, (3.0, 1.0))  # from 0, 4, 8 (bent at 10, two pieces), 12, 16
    assert trimesh.Trimesh(*trimesh.triangles.to_kwargs(dashes).values()).volume == pytest.approx(
        area * 15.0, rel=1e-5
    )


def test_triangles_of_a_plane_are_made_one_and_no_surface_moves():
    fine = trimesh.creation.box((4, 5, 6)).subdivide().subdivide()
    few = merged(fine.triangles.astype(np.float32))
    assert (len(fine.faces), len(few)) == (192, 12)
    same = trimesh.Trimesh(*trimesh.triangles.to_kwargs(few).values())
    assert same.volume == pytest.approx(120.0)
    leaking = fine.triangles[:-1].astype(np.float32)
    assert merged(leaking) is leaking


def test_a_tube_is_mitred_where_it_has_room_and_ends_where_it_has_none():
    """A mitred tube holds its section times its line; two flat ends overlap at a bend."""
    area = 8.0 * np.sin(np.radians(22.5))
    for far, count in ((4.0, 92), (-3.0, 120)):  # 45 degrees, and back on itself
        line = np.array([(0, 0, 0), (8, 0, 0), (8 + far, 4, 0.0)])
        mesh = trimesh.Trimesh(*trimesh.triangles.to_kwargs(tube(line, 1.0)).values())
        mesh.merge_vertices()
        assert mesh.is_watertight
        assert len(mesh.faces) == count
        assert mesh.volume == pytest.approx(area * (8.0 + np.hypot(far, 4.0)), rel=1e-5)


def test_thinning_keeps_to_its_number_and_says_how_far_it_moved_corners():
    ball = trimesh.creation.icosphere(5, 10.0)  # 20480 triangles
    few, cell = thinned(ball.triangles.astype(np.float32), 3000)
    assert 1000 < len(few) <= 3000
    radii = np.linalg.norm(few.reshape(-1, 3), axis=1)
    assert abs(radii - 10.0).max() <= cell * np.sqrt(3.0)
    same, none = thinned(few, 3000)
    assert same is few
    assert none == 0.0


@pytest.mark.benchmark
def test_a_million_triangles_stay_under_fifteen_megabytes(shown):
    """The most that a case can show of such a part: drawn, moved, its finished shape and a scan."""
    soup = shapes.torus(9.0, 3.0, 708)
    assert len(soup) > 1_000_000
    part = _thin("part", "part", "drawn", soup)
    beside = _thin("scan", "scan", "left", soup)
    bodies = (part, replace(part, when="left"), *[replace(beside, kind=kind)
              for kind in ("scan", "finished", "finished")], *shown.bodies)  # fmt: skip
    assert len(page(replace(shown, bodies=bodies))) < 15e6


def test_a_line_of_fewer_points_stays_near():
    turn = np.linspace(0.0, 6.0, 4000)
    line = np.column_stack([np.cos(turn), np.sin(turn), 0.1 * turn]) * 10.0
    few = straightened(line, 0.02)
    assert len(few) < 400
    at = np.linspace(0, 1, len(line))
    kept = [int(np.argmin(np.linalg.norm(line - p, axis=1))) for p in few]
    again = np.column_stack([np.interp(at, at[kept], few[:, k]) for k in range(3)])
    assert np.linalg.norm(again - line, axis=1).max() < 0.03


# ---- the command -----------------------------------------------------------------------------


def test_a_file_of_another_kind_is_refused_in_one_line(tmp_path):
    told = CliRunner().invoke(main, ["view", "case.toml", "--output", str(tmp_path / "a.png")])
    assert told.exit_code == 2
    assert "a.png: found .png, expected .html or .glb" in told.output
    assert not list(tmp_path.iterdir())
