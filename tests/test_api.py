"""The way in from Python: its names, its examples, and that its verdicts are the command's."""

import doctest
import importlib
import inspect
import subprocess
import sys
import tomllib
from pathlib import Path

import jsonschema
import make
import numpy as np
import pytest
import shapes
from click.testing import CliRunner
from matplotlib.figure import Figure

import clearance
from clearance import api
from clearance.case.read import Case, read_case
from clearance.cli.main import main
from clearance.drilling.lines import Lines
from clearance.errors import CaseError, ClearanceError
from clearance.result.schema import schemas

ROOT = Path(__file__).parent.parent
GALLERY = ROOT / "cases/oil-gallery/case.toml"


@pytest.fixture(scope="module")
def tiny(tmp_path_factory):
    """A bore that leans, with the part's first layers across it: a lens is left open."""
    folder = tmp_path_factory.mktemp("tiny")
    solid = shapes.block((-10, -10, 0), (10, 10, 10)) - shapes.bore((-0.2, 0, -1), (2.2, 0, 11), 3)
    way = make.passage((0, 0, 0), (2, 0, 10), 3.0, 5.5, name="bore")
    return make.write_case(folder, solid, way, make.sheet(5.0), pitch=0.4)


@pytest.fixture
def once(monkeypatch):
    """Cases are examined once, whoever asks."""
    monkeypatch.setattr(api, "examine", examined)


REAL = api.examine


def examined(case, **_):
    return _examined(case.path, case)


_known = {}


def _examined(path, case):
    if path not in _known:
        _known[path] = REAL(case)
    return _known[path]


def test_the_command_and_check_give_the_same_bytes(tiny):
    told = CliRunner().invoke(main, ["check", str(tiny), "--json", "-"])
    assert told.stdout == clearance.check(clearance.read_case(tiny)).to_json()
    assert told.exit_code == examined(read_case(tiny)).result.exit_status


def test_a_case_from_its_tables_is_the_case_of_its_file():
    tables = tomllib.loads(GALLERY.read_text("utf-8"))
    case = Case.from_tables(tables, GALLERY.parent)
    file = read_case(GALLERY)
    for name in ("part", "passage", "stray", "flow", "grid", "drilling", "assumptions"):
        assert getattr(case, name) == getattr(file, name)
    as_numpy = {**tables, "part": {**tables["part"], "mesh": Path(tables["part"]["mesh"])}}
    as_numpy["part"]["layer_thickness"] = np.float64(tables["part"]["layer_thickness"])
    assert Case.from_tables(as_numpy, GALLERY.parent).text_sha256 == case.text_sha256
    tables["part"]["layer_thickness"] = 0.1
    assert case.part.layer_thickness == file.part.layer_thickness


@pytest.mark.parametrize("tables", [{}, [], None, {"part": 3}, {"passage": [{"name": 1}]}, {1: 2}])
def test_tables_that_are_no_case_are_refused_in_words(tables):
    with pytest.raises(CaseError, match=r"^my case: ") as told:
        Case.from_tables(tables, "", "my case")
    assert ":0" not in str(told.value)


def test_faults_of_tables_are_those_of_the_file_but_for_the_line(tmp_path, tiny):
    text = tiny.read_text("utf-8").replace("layer_thickness", "layer_thicknes")
    (tiny.parent / "bad.toml").write_text(text, "utf-8")
    with pytest.raises(CaseError) as file:
        read_case(tiny.parent / "bad.toml")
    with pytest.raises(CaseError) as tables:
        Case.from_tables(tomllib.loads(text), tiny.parent, "bad.toml")
    said = [line.split(": ", 1)[1] for line in str(file.value).splitlines()]
    assert sorted(line.split(": ", 1)[1] for line in str(tables.value).splitlines()) == sorted(said)


def test_a_passage_that_is_not_there_is_named_with_the_nearest(tiny):
    result = examined(read_case(tiny)).result
    with pytest.raises(ClearanceError, match="no passage 'boer'; did you mean 'bore'"):
        result.passage("boer")
    jsonschema.validate(result.to_dict(), schemas()["result.schema.json"])


def test_draw_takes_one_wish_and_gives_a_sheet_or_the_axes(tiny):
    found = examined(read_case(tiny))
    assert isinstance(api.draw(found, at_height=5.0), Figure)
    assert isinstance(api.draw(found, along="bore"), Figure)
    for asked in ({}, {"at_height": 5.0, "along": "bore"}, {"along": "boer"}, {"at_height": 99.0}):
        with pytest.raises(ClearanceError):
            api.draw(found, **asked)
    assert isinstance(api.draw(found, drill="bore"), Figure)  # no drill: port and sheet
    axes = Figure().add_subplot()
    assert api.draw(found, at_height=5.0, ax=axes) is axes
    assert "z = 5 mm" in axes.get_title()
    assert axes.get_xlim()[0] < -10.0 < 10.0 < axes.get_xlim()[1]


def test_a_sweep_says_at_a_height_what_a_check_does(tiny):
    case = read_case(tiny)
    found = api.sweep(case, first=4.0, last=5.0, step=0.5)
    arrays, at = found.arrays(), list(found.heights_mm).index(5.0)
    check = examined(case).result.passage("bore")
    assert arrays.state[0, at] == check.state.value
    assert arrays.low_mm[0, at] <= check.clear_diameter_mm.high
    assert arrays.high_mm[0, at] >= check.clear_diameter_mm.low
    written = found.as_json()
    assert written["program"] == examined(case).result.program
    assert written["inputs"] == examined(case).result.to_dict()["inputs"]
    assert written["passages"][0]["reopen"] is None


# ---- names and examples ------------------------------------------------------------------------


def test_every_public_name_is_there_and_no_submodule_hides_it():
    assert dir(clearance) == sorted(clearance.__all__)
    for name in clearance.__all__:
        assert getattr(clearance, name) is not None
        assert not inspect.ismodule(getattr(clearance, name))
    homes = [name for names in clearance._HOMES.values() for name in names]
    assert sorted([*homes, "__version__"]) == sorted(clearance.__all__)
    for path in (ROOT / "clearance").iterdir():
        assert path.stem not in {*homes}
    with pytest.raises(AttributeError, match="no attribute 'chek'"):
        clearance.chek  # noqa: B018


def test_importing_the_package_loads_nothing_else():
    code = "import sys, clearance; print([n for n in sys.modules if n.startswith('clearance.')])"
    code += "; print('numpy' in sys.modules, 'pydantic' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["[]", "False False"]
    assert (ROOT / "clearance/py.typed").is_file()


DOCUMENTED = ["api", "case.read", "mesh.part", "result.whole", "sweeps.result"]
CALLED = ("check", "draw", "examine", "explain", "openings", "read_case", "read_part", "sweep")


@pytest.mark.parametrize("name", CALLED)
def test_every_function_says_what_it_takes_gives_raises_and_an_example(name):
    said = inspect.getdoc(getattr(clearance, name))
    for head in ("Parameters", "Returns", "Raises", "Examples"):
        assert f"\n{head}\n---" in said
    for parameter in inspect.signature(getattr(clearance, name)).parameters:
        assert parameter in said


def run_examples(test, patch):
    patch.chdir(ROOT)
    runner = doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE)
    said = []
    runner.run(test, out=said.append, clear_globs=False)
    assert runner.failures == 0, "".join(said)


@pytest.mark.parametrize("module", DOCUMENTED)
def test_the_examples_of_the_docstrings_are_true(module, tiny, once, monkeypatch):
    case = read_case(tiny)
    found, tables = examined(case), tomllib.loads(tiny.read_text("utf-8"))
    given = {
        "case": case,
        "tables": tables,
        "suspected": Case.from_tables({**tables, "suspected": {"from_layer": [0, 1]}}, tiny.parent),
        "folder": tiny.parent,
        "examined": found,
        "result": found.result,
        "part": clearance.read_part(tiny.parent / "part.stl"),
    }
    home = importlib.import_module(f"clearance.{module}")
    tests = [t for t in doctest.DocTestFinder().find(home, extraglobs=given) if t.examples]
    assert tests
    for test in tests:
        run_examples(test, monkeypatch)


def test_the_page_does_what_it_says(once, monkeypatch):
    monkeypatch.setattr(clearance, "examine", api.examine, raising=False)
    monkeypatch.setattr(Lines, "ruled_out", lambda *_: False)  # what would change is not shown
    page = (ROOT / "docs/python.md").read_text("utf-8").replace("```", "")
    parsed = doctest.DocTestParser().get_doctest(page, {}, "python.md", "docs/python.md", 0)
    assert len(parsed.examples) > 20
    run_examples(parsed, monkeypatch)
