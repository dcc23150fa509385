"""`openings --toml` on the mesh of every shipped case: its ports, and the verdict of the case.

Expected: the ports that the case file gives by hand, and the verdict worked out by hand beside it.
"""

import json
import tomllib
from pathlib import Path

import click
import make
import numpy as np
import pytest
import shapely
import shared
from click.testing import CliRunner

from clearance.case.read import read_case
from clearance.cli import mesh as commands_mesh
from clearance.survey import openings
from clearance.verdict.prepared import prepare

CASES = Path(__file__).parent.parent.parent / "cases"
PLAIN = {"mould-insert", "oil-gallery"}
"""One is looked for by the docs as well, the other is judged to the end below."""
SHIPPED = [
    pytest.param(case, id=case.parent.name, marks=() if case.parent.name in PLAIN else more)
    for more in [pytest.mark.more]
    for case in sorted(CASES.glob("*/case.toml"))
]


@pytest.fixture
def offered(monkeypatch):
    """The [[passage]] tables that the command prints for a mesh."""
    find = openings.find_openings
    monkeypatch.setattr(openings, "find_openings", lambda soup, *_: shared.openings_of(soup, find))
    monkeypatch.setattr("clearance.verdict.proposed.MOST", 0)  # ports are looked at here

    def tables(mesh: Path) -> list[dict]:
        group = click.Group("clearance", commands={"openings": commands_mesh.openings})
        found = CliRunner().invoke(group, ["openings", str(mesh), "--toml"])
        assert found.exit_code == 0, found.output
        return tomllib.loads(found.stdout)["passage"]

    return tables


def nearest(port: dict, tables: list[dict]) -> tuple[dict, set[int]]:
    """The offered port at the place of a given one, and the tables that it stands in."""
    ends = [(n, table[end]) for n, table in enumerate(tables) for end in ("inlet", "outlet")]
    away = [np.linalg.norm(np.subtract(one["centre"], port["centre"])) for _, one in ends]
    found = ends[int(np.argmin(away))][1]
    assert min(away) < 1.0
    # The case may give the bore's radius where the mouth is chamfered.
    assert 0.85 < found["radius"] / port["radius"] < 1.3
    return found, {n for n, one in ends if one == found}


def hub(table: dict) -> str:
    """What the tables of one network have in common: their first port."""
    return json.dumps(table["inlet"])


def with_offered_ports(path: Path, offered, folder: Path) -> Path:
    """Case file of a shipped case whose ports are those that the command prints."""
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    mesh = (path.parent / document["part"]["mesh"]).resolve()
    tables = offered(mesh)
    for passage in document["passage"]:
        networks = []
        for end in ("inlet", "outlet"):
            passage[end], within = nearest(passage[end], tables)
            networks.append({hub(tables[n]) for n in within})
        assert networks[0] & networks[1], f"{passage['name']}: its ports are not connected"
    part = document["part"]
    part["mesh"] = str(mesh)
    part["also_melted"] = [str(path.parent / name) for name in part.get("also_melted", [])]
    copy = folder / "case.toml"
    copy.write_text(make.toml(document), encoding="utf-8")
    return copy


def same(one, other) -> bool:
    """Whether two closing surfaces are one: to a micron off, to a thousandth of the area."""
    aside = abs((other.centre - one.centre) @ one.plane.normal)
    turned = np.linalg.norm(one.plane.normal - other.plane.normal)
    rings = [m.plane.to_space(np.array(m.polygon.exterior.coords)) for m in (one, other)]
    flat = [shapely.Polygon(one.plane.to_plane(ring)) for ring in rings]
    differ = flat[0].symmetric_difference(flat[1]).area
    return aside < 1e-3 and turned < 1e-3 and differ < 1e-3 * flat[0].area


@pytest.mark.parametrize("path", SHIPPED)
def test_offered_ports_of_a_shipped_mesh_close_it_as_those_of_its_case(path, offered, tmp_path):
    """All else of the case is as it was: with the same closing surfaces the check is the same."""
    copy = with_offered_ports(path, offered, tmp_path)
    here, there = prepare(read_case(path)).mouths, prepare(read_case(copy)).mouths
    assert here.keys() == there.keys()
    assert not [name for name, mouth in here.items() if not same(mouth, there[name])]


@pytest.mark.parametrize("case", ["oil-gallery", *shared.more("distributor")])
def test_the_verdict_is_that_of_the_case(case, offered, tmp_path):
    """To the end, through the check, for the one that takes least; above the ports of more."""
    path = CASES / case / "case.toml"
    found = make.judged(read_case(with_offered_ports(path, offered, tmp_path)))
    expected = json.loads((path.parent / "expected.json").read_text(encoding="utf-8"))
    assert {p.name: p.state.value for p in found.passages} == {
        name: wanted["state"] for name, wanted in expected["passages"].items()
    }
    assert [(list(s.passages), s.state) for s in found.separate] == [
        (s["passages"], s["state"]) for s in expected.get("separate", [])
    ]
    assert found.exit_status == expected["exit_status"]
    assert found.disposition.recommendation == expected["recommendation"]
