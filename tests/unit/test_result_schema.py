"""The schema of the result, its page, and what every result says of where it comes from."""

import hashlib
import importlib.util
import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import make
import pytest
import shapes
import shared

from clearance import __version__, sweep
from clearance.case.read import read_case
from clearance.mesh.part import read_part
from clearance.report import mesh as mesh_report
from clearance.report import openings as openings_report
from clearance.result import FlowResult, Result, as_text
from clearance.result.schema import schema_of, schemas
from clearance.survey.faults import examine
from clearance.survey.openings import find_openings
from clearance.sweeps.result import written

ROOT = Path(__file__).parent.parent.parent
CASES = sorted(path.parent.name for path in (ROOT / "cases").glob("*/expected.json"))


def script():
    spec = importlib.util.spec_from_file_location("make_result", ROOT / "docs/make_result.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


MADE = script()
SCHEMAS = schemas()


def faults(data, schema):
    validator = jsonschema.Draft202012Validator(schema)
    return [f"{error.json_path}: {error.message}" for error in validator.iter_errors(data)]


@pytest.mark.parametrize("name", list(SCHEMAS))
def test_the_shipped_schema_is_the_codes(name):
    shipped = (ROOT / "clearance" / name).read_text(encoding="utf-8")
    assert shipped == MADE.text_of(SCHEMAS[name])
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[name])


def test_every_shipped_schema_is_made():
    shipped = {path.name for path in (ROOT / "clearance").glob("*.schema.json")}
    assert shipped == {*SCHEMAS, *MADE.read_ones()}


@pytest.mark.parametrize("name", ["case.schema.json", "plate-file.schema.json"])
def test_the_schemas_of_what_people_write_are_the_codes(name):
    shipped = (ROOT / "clearance" / name).read_text(encoding="utf-8")
    assert shipped == MADE.text_of(MADE.read_ones()[name])


def test_the_page_is_what_the_script_writes():
    assert (ROOT / "docs/result.md").read_text(encoding="utf-8") == MADE.page()


def objects(schema):
    return [one for one in (schema, *schema["$defs"].values()) if "properties" in one]


@pytest.mark.parametrize("name", list(SCHEMAS))
def test_every_key_says_what_it_means_and_a_length_its_unit(name):
    units = {"_mm": "mm", "_mm2": "mm2", "_mm3": "mm3", "_mm4": "mm4", "_g": "g", "_deg": "deg"}
    units["_kpa"] = "kPa"
    for one in objects(SCHEMAS[name]):
        assert one["required"] == list(one["properties"])
        assert one["additionalProperties"] is False
        for key, told in one["properties"].items():
            assert told["description"], key
            ending = f"_{key.rsplit('_', 1)[-1]}"
            if ending in units and "$ref" not in told:
                assert told["unit"] == units[ending], key


@pytest.mark.parametrize("case", CASES)
def test_the_result_of_a_shipped_case_is_as_the_schema_says(case):
    result = shared.result_of(case)
    assert faults(result.to_dict(), SCHEMAS["result.schema.json"]) == []
    known = read_case(ROOT / "cases" / case / "case.toml")
    assert result.program == f"clearance {__version__}"
    said = {(one.role, one.file, one.sha256) for one in result.inputs.files}
    named = [("case", known.path), ("part", known.part.mesh)]
    named += [("also-melted", path) for path in known.part.also_melted]
    if known.scan is not None:
        named.append(("scan", known.path.parent / "scan.tif"))
    if known.part.finished is not None:
        named.append(("finished", known.part.finished))
    assert said == {
        (role, path.name, hashlib.sha256(path.read_bytes()).hexdigest()) for role, path in named
    }


def test_a_missing_key_a_new_one_and_a_wrong_kind_are_found():
    data = shared.result_of("oil-gallery").to_dict()
    assert faults(data, SCHEMAS["result.schema.json"]) == []
    for spoilt in (
        {key: value for key, value in data.items() if key != "margins"},
        {**data, "margin": []},
        {**data, "pitch_mm": "0.2"},
        {**data, "passages": [{**data["passages"][0], "state": "shut"}]},
    ):
        assert faults(spoilt, SCHEMAS["result.schema.json"])


@pytest.mark.parametrize("height", [10.0, 15.0])
def test_flow_keeps_its_keys_where_nothing_flows(tmp_path, height):
    solid = shapes.block((-10, -10, 0), (10, 10, 20)) - shapes.bore((0, 0, -1), (0, 0, 21), 3.0)
    way = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.0)
    water = {"density": 998.0, "viscosity": 1.0e-3, "rate": 5.0}
    found = make.checked(tmp_path, solid, way, make.plane(height), flow=water).to_dict()
    assert found["passages"][0]["state"] == "blocked"
    assert found["passages"][0]["flow"]["predicted"]["low_kpa"] is None
    assert faults(found, SCHEMAS["result.schema.json"]) == []


def small(folder):
    solid = shapes.block((-10, -10, 0), (10, 10, 20)) - shapes.bore((0, 0, -1), (0, 0, 21), 3.0)
    way = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.0)
    return make.write_case(folder, solid, way, make.plane(10.0), pitch=0.5)


@pytest.mark.parametrize("reach", [False, True])
def test_a_sweep_is_as_the_schema_says(tmp_path, reach):
    case = read_case(small(tmp_path))
    told = sweep(case, first=9.0, last=10.0, step=1.0, reach=reach)
    data = json.loads(written(told))
    assert faults(data, SCHEMAS["sweep.schema.json"]) == []
    assert faults({**data, "stray": None}, SCHEMAS["sweep.schema.json"])
    assert (data["passages"][0]["reopen"] is None) is not reach


def holed(folder):
    """The same mesh with a triangle left out: places where there are none otherwise."""
    triangles = read_part(read_case(small(folder)).part.mesh).triangles
    path = folder / "holed.stl"
    shapes.write_stl(path, triangles[1:])
    return path


@pytest.mark.parametrize("made", [lambda folder: read_case(small(folder)).part.mesh, holed])
def test_what_is_said_of_a_mesh_is_as_the_schema_says(tmp_path, made):
    path = made(tmp_path)
    found = examine(path)
    data = json.loads(as_text(mesh_report.as_json(found)))
    assert faults(data, SCHEMAS["mesh.schema.json"]) == []
    assert faults({**data, "faults": "none"}, SCHEMAS["mesh.schema.json"])
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    assert data["inputs"]["meshes"] == [{"file": path.name, "sha256": sha256, "role": "part"}]
    assert data["program"] == f"clearance {__version__}"


def test_what_is_said_of_openings_is_as_the_schema_says(tmp_path):
    path = read_case(small(tmp_path)).part.mesh
    found = find_openings(read_part(path).triangles)
    data = json.loads(as_text(openings_report.as_json(found, path.name, "0")))
    assert len(data["openings"]) == 2
    assert faults(data, SCHEMAS["openings.schema.json"]) == []
    assert faults({**data, "inputs": None}, SCHEMAS["openings.schema.json"])


def test_a_result_without_its_inputs_has_the_key():
    assert replace(shared.result_of("oil-gallery"), inputs=None).to_dict()["inputs"] is None
    assert faults(Result("part", 0.2, ()).to_dict(), SCHEMAS["result.schema.json"]) == []
    assert "requirement" in schema_of(FlowResult, "flow", "")["required"]
