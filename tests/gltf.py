"""What glTF 2.0 (Khronos Group, ISO/IEC 12113) asks of a binary file.

Clause numbers are those of the Khronos text 2.0.1, from memory.
"""

import json
import struct

import numpy as np

SIZES = {5120: "i1", 5121: "u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}


def checked(data):
    """The tree of a file that holds to the standard; an AssertionError names the clause."""
    tree, buffer = _chunks(data)
    assert tree["asset"]["version"] == "2.0", "3.2"
    assert all(len(v) for v in tree.values() if isinstance(v, list)), "empty arrays, schema"
    assert set(tree.get("extensionsRequired", ())) <= set(tree.get("extensionsUsed", ())), "3.12"
    only = tree["buffers"][0]
    assert len(tree["buffers"]) == 1, "4.4.3.3: one buffer is the file's own"
    assert "uri" not in only, "4.4.3.3"
    assert 0 <= len(buffer) - only["byteLength"] <= 3, "4.4.3.3"
    for view in tree["bufferViews"]:
        assert view.get("byteOffset", 0) + view["byteLength"] <= only["byteLength"], "3.6.1.1"
        assert view.get("target") in (None, 34962, 34963), "3.6.1.1"
    values = [_values(tree, buffer, accessor) for accessor in tree["accessors"]]
    for mesh in tree["meshes"]:
        for one in mesh["primitives"]:
            _primitive(tree, one, values)
    for material in tree.get("materials", ()):
        _material(material)
    _nodes(tree)
    return tree


def _chunks(data):
    magic, version, length = struct.unpack_from("<III", data)
    assert (magic, version, length) == (0x46546C67, 2, len(data)), "4.4.2"
    size, kind = struct.unpack_from("<II", data, 12)
    assert kind == 0x4E4F534A, "4.4.3.2: JSON first"
    assert size % 4 == 0, "4.4.3.1"
    text = data[20 : 20 + size]
    assert not text.rstrip(b" ").endswith(b"\0"), "4.4.3.2: padded with spaces"
    binary, other = struct.unpack_from("<II", data, 20 + size)
    assert other == 0x004E4942, "4.4.3.3"
    assert binary % 4 == 0, "4.4.3.1"
    assert 28 + size + binary == len(data), "4.4.2"
    return json.loads(text.decode("utf-8")), data[28 + size :]


def _values(tree, buffer, accessor):
    view, kind = tree["bufferViews"][accessor["bufferView"]], SIZES[accessor["componentType"]]
    wide, size = WIDTHS[accessor["type"]], np.dtype(kind).itemsize
    begin = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
    assert begin % size == 0, "3.6.2.4: aligned to its component"
    assert "byteStride" not in view, "not looked at here"
    assert accessor["count"] >= 1, "3.6.2"
    need = accessor.get("byteOffset", 0) + accessor["count"] * wide * size
    assert need <= view["byteLength"], "3.6.2.4"
    found = np.frombuffer(buffer, kind, accessor["count"] * wide, begin).reshape(-1, wide)
    for key, ends in (("min", found.min(axis=0)), ("max", found.max(axis=0))):
        if key in accessor:
            told = np.array(accessor[key], found.dtype)
            assert np.array_equal(told, ends), f"3.6.2.5: {key}"
    return found


def _primitive(tree, one, values):
    assert one.get("mode", 4) == 4, "3.7.2.1: triangles"
    place, index = one["attributes"]["POSITION"], one["indices"]
    at, by = tree["accessors"][place], tree["accessors"][index]
    assert (at["componentType"], at["type"]) == (5126, "VEC3"), "3.7.2.1"
    assert {"min", "max"} <= set(at), "3.7.2.1: POSITION has both"
    assert np.isfinite(values[place]).all(), "3.6.2.2"
    assert by["componentType"] in (5121, 5123, 5125), "3.7.2.1"
    assert by["type"] == "SCALAR", "3.7.2.1"
    assert by["count"] % 3 == 0, "3.7.2.1"
    assert values[index].max() < at["count"], "3.7.2.1"
    assert values[index].max() < np.iinfo(values[index].dtype).max, "3.7.2.1: no restart value"
    assert tree["bufferViews"][at["bufferView"]].get("target") == 34962, "3.6.1.1"
    assert tree["bufferViews"][by["bufferView"]].get("target") == 34963, "3.6.1.1"
    assert 0 <= one["material"] < len(tree["materials"]), "3.9"


def _material(material):
    assert material.get("alphaMode", "OPAQUE") in ("OPAQUE", "MASK", "BLEND"), "3.9.4"
    rough = material["pbrMetallicRoughness"]
    colour = rough["baseColorFactor"]
    assert len(colour) == 4, "3.9.2"
    shares = (*colour, rough["metallicFactor"], rough["roughnessFactor"])
    assert all(0.0 <= share <= 1.0 for share in shares), "3.9.2"
    if material.get("alphaMode", "OPAQUE") == "OPAQUE":
        assert colour[3] == 1.0, "3.9.4: alpha would be overlooked"


def _nodes(tree):
    """3.5.2: a strict tree, its roots in a scene; 3.5.3: matrices without shear, not with TRS."""
    above = [child for node in tree["nodes"] for child in node.get("children", ())]
    assert len(above) == len(set(above)), "3.5.2: one parent each"
    roots = {root for scene in tree["scenes"] for root in scene["nodes"]}
    assert roots == set(range(len(tree["nodes"]))) - set(above), "3.5.1"
    for node in tree["nodes"]:
        assert isinstance(node.get("name", ""), str)
        assert "mesh" not in node or 0 <= node["mesh"] < len(tree["meshes"]), "3.5.2"
        if "matrix" in node:
            assert not {"translation", "rotation", "scale"} & set(node), "3.5.3"
            turn = np.array(node["matrix"]).reshape(4, 4).T
            assert np.array_equal(turn[3], (0, 0, 0, 1)), "3.5.3"
            square = turn[:3, :3].T @ turn[:3, :3]
            assert np.allclose(square, np.diag(np.diag(square)), atol=1e-12), "3.5.3: no shear"
