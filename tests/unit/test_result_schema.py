"""The schema of the result, its page, and what every result says of where it comes from."""

import hashlib
import importlib.util
from dataclasses import replace
from pathlib import Path

import jsonschema
import make
import pytest
import shapes
import shared

from clearance import __version__
from clearance.case.read import read_case
from clearance.result import FlowResult, Result
from clearance.result.schema import result_schema, schema_of

ROOT = Path(__file__).parent.parent.parent
CASES = sorted(path.parent.name for path in (ROOT / "cases").glob("*/expected.json"))


def script():
    spec = importlib.util.spec_from_file_location("make_result", ROOT / "docs/make_result.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


MADE = script()


def faults(data, schema):
    validator = jsonschema.Draft202012Validator(schema)
    return [f"{error.json_path}: {error.message}" for error in validator.iter_errors(data)]


@pytest.mark.parametrize("name", list(MADE.SCHEMAS))
def test_the_shipped_schema_is_the_codes(name):
    shipped = (ROOT / "clearance" / name).read_text(encoding="utf-8")
    assert shipped == MADE.text_of(MADE.SCHEMAS[name]())
    jsonschema.Draft202012Validator.check_schema(MADE.SCHEMAS[name]())


def test_the_page_is_what_the_script_writes():
    assert (ROOT / "docs/result.md").read_text(encoding="utf-8") == MADE.page()


def objects(schema):
    return [one for one in (schema, *schema["$defs"].values()) if "properties" in one]


def test_every_key_says_what_it_means_and_a_length_its_unit():
    units = {"_mm": "mm", "_mm2": "mm2", "_mm3": "mm3", "_mm4": "mm4", "_g": "g", "_deg": "deg"}
    units["_kpa"] = "kPa"
    for one in objects(result_schema()):
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
    assert faults(result.to_dict(), result_schema()) == []
    known = read_case(ROOT / "cases" / case / "case.toml")
    assert result.program == f"clearance {__version__}"
    said = {(one.role, one.file, one.sha256) for one in result.inputs.files}
    meshes = (known.part.mesh, *known.part.also_melted)
    roles = ["case", "part", *["also-melted"] * len(known.part.also_melted)]
    assert said == {
        (role, path.name, hashlib.sha256(path.read_bytes()).hexdigest())
        for role, path in zip(roles, (known.path, *meshes), strict=True)
    }


def test_a_missing_key_a_new_one_and_a_wrong_kind_are_found():
    data = shared.result_of("oil-gallery").to_dict()
    assert faults(data, result_schema()) == []
    for spoilt in (
        {key: value for key, value in data.items() if key != "margins"},
        {**data, "margin": []},
        {**data, "pitch_mm": "0.2"},
        {**data, "passages": [{**data["passages"][0], "state": "shut"}]},
    ):
        assert faults(spoilt, result_schema())


@pytest.mark.parametrize("height", [10.0, 15.0])
def test_flow_keeps_its_keys_where_nothing_flows(tmp_path, height):
    solid = shapes.block((-10, -10, 0), (10, 10, 20)) - shapes.bore((0, 0, -1), (0, 0, 21), 3.0)
    way = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.0)
    water = {"density": 998.0, "viscosity": 1.0e-3, "rate": 5.0}
    found = make.checked(tmp_path, solid, way, make.plane(height), flow=water).to_dict()
    assert found["passages"][0]["state"] == "blocked"
    assert found["passages"][0]["flow"]["predicted"]["low_kpa"] is None
    assert faults(found, result_schema()) == []


def test_a_result_without_its_inputs_has_the_key():
    assert replace(shared.result_of("oil-gallery"), inputs=None).to_dict()["inputs"] is None
    assert faults(Result("part", 0.2, ()).to_dict(), result_schema()) == []
    assert "requirement" in schema_of(FlowResult, "flow", "")["required"]
