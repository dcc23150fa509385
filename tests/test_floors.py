"""Imports go one way: a floor uses only floors above it, and within one there is no circle."""

import ast
import importlib.util
import re
from functools import cache
from pathlib import Path

import networkx
import pytest

PACKAGE = Path(__file__).parent.parent / "clearance"

FLOORS = [
    "errors",
    "result",
    "heights",
    "axes",
    "system",
    "kernels",
    "case",
    "mesh",
    "geometry",
    "columns",
    "ports",
    "predicted",
    "passages",
    "evidence",
    "survey",
    "verdict",
    "scanned",
    "finished",
    "flow",
    "drilling",
    "disposition",
    "readings",
    "inspection",
    "sweeps",
    "checking",
    "margins",
    "restart",
    "photo",
    "causes",
    "first_run",
    "report",
    "drawing",
    "figures",
    "view",
    "plates",
    "api",
    "cli",
    "__main__",
]
"""Packages and the few modules beside them, along the data's way: DEVELOPERS.md draws them."""

EDGES = {
    "matplotlib": ["figures", "plates.map", "plates.report", "plates.stamp", "api"],
    "click": ["cli"],
}
"""Libraries that only these may use; `api` names the types of figures alone."""

LONGEST = 500
"""Lines of a module, at most."""


def modules() -> list[Path]:
    return sorted(path.relative_to(PACKAGE) for path in PACKAGE.rglob("*.py"))


def dotted(module: Path) -> str:
    return ".".join(module.with_suffix("").parts).removesuffix(".__init__")


def floor(module: Path) -> str:
    return module.with_suffix("").parts[0]


@cache
def imports(module: Path) -> set[str]:
    """Names that a module imports; each is read once, for several tests look at all."""
    found = set()
    for node in ast.walk(ast.parse((PACKAGE / module).read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return found


INSIDE = [module for module in modules() if floor(module) != "__init__"]


def test_every_floor_has_its_place():
    assert {floor(module) for module in INSIDE} == set(FLOORS)


@pytest.mark.parametrize("module", INSIDE, ids=dotted)
def test_a_module_imports_only_from_floors_above(module):
    above = FLOORS[: FLOORS.index(floor(module)) + 1]
    for name in imports(module):
        parts = name.split(".")
        if parts[0] == "clearance" and len(parts) > 1 and parts[1] in FLOORS:
            assert parts[1] in above, f"{dotted(module)} imports {name}, which comes after it"


def test_no_circle_among_modules():
    graph = networkx.DiGraph()
    known = {f"clearance.{dotted(module)}" for module in INSIDE}
    for module in INSIDE:
        graph.add_edges_from(
            (f"clearance.{dotted(module)}", name) for name in imports(module) & known
        )
    assert len(graph.edges) > 300
    assert list(networkx.simple_cycles(graph)) == []


@pytest.mark.parametrize("module", INSIDE, ids=dotted)
def test_drawing_and_command_line_stay_at_the_edge(module):
    for name in imports(module):
        allowed = EDGES.get(name.split(".")[0])
        assert allowed is None or {floor(module), dotted(module)} & set(allowed), (
            f"{dotted(module)} imports {name}"
        )


@pytest.mark.parametrize("package", [name for name in FLOORS if (PACKAGE / name).is_dir()])
def test_each_package_says_what_goes_in_and_what_comes_out(package):
    words = ast.get_docstring(ast.parse((PACKAGE / package / "__init__.py").read_text("utf-8")))
    assert "In: " in words
    assert "Out: " in words


def test_no_module_is_too_long():
    long = {}
    for module in INSIDE:
        lines = len((PACKAGE / module).read_text(encoding="utf-8").splitlines())
        if lines > LONGEST:
            long[dotted(module)] = lines
    assert long == {}


def test_the_floors_are_drawn_as_they_are():
    """Else run `python docs/make_floors.py`."""
    spec = importlib.util.spec_from_file_location("floors", PACKAGE.parent / "docs/make_floors.py")
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    page = (PACKAGE.parent / "DEVELOPERS.md").read_text("utf-8")
    assert script.drawn(page) == page, "run python docs/make_floors.py"
    picture = (PACKAGE.parent / "docs/figures/floors.svg").read_text("utf-8")
    assert script.picture() == picture, "run python docs/make_floors.py"
    assert set(script.uses()) == set(FLOORS)


def test_what_developers_are_sent_to_is_there():
    page = (PACKAGE.parent / "DEVELOPERS.md").read_text("utf-8")
    asked = page.split("## To change X, open Y")[1].split("##")[0]
    named = re.findall(r"`([a-z_]+/[a-z_]+\.py)`", asked)
    assert len(named) > 10
    for name in named:
        home = PACKAGE.parent if name.startswith("tests/") else PACKAGE
        assert (home / name).exists(), name
