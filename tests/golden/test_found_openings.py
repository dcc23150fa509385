"""`openings --toml` on the mesh of every shipped case: its ports, and the verdict of the case.

Expected: the ports that the case file gives by hand, and the verdict worked out by hand beside it.
"""

import json
import tomllib
from functools import cache
from pathlib import Path

import click
import make
import numpy as np
import pytest
from click.testing import CliRunner

from clearance import commands_mesh
from clearance.case import read_case
from clearance.check import check

CASES = Path(__file__).parent.parent.parent / "cases"
QUICK = {"distributor", "exchanger-header", "oil-gallery"}
"""A few seconds each; the others take longer, most of it to look for openings."""
SHIPPED = [
    pytest.param(case, id=case.parent.name, marks=() if case.parent.name in QUICK else slow)
    for slow in [pytest.mark.slow]
    for case in sorted(CASES.glob("*/case.toml"))
]


@cache
def offered(mesh: Path) -> list[dict]:
    """The [[passage]] tables that the command prints for a mesh."""
    group = click.Group("clearance", commands={"openings": commands_mesh.openings})
    found = CliRunner().invoke(group, ["openings", str(mesh), "--toml"])
    assert found.exit_code == 0, found.output
    return tomllib.loads(found.stdout)["passage"]


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


@pytest.mark.parametrize("path", SHIPPED)
def test_passages_offered_for_a_shipped_mesh_give_the_verdict_of_its_case(path, tmp_path):
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
    copy = tmp_path / "case.toml"
    copy.write_text(make.toml(document), encoding="utf-8")

    found = check(read_case(copy))
    expected = json.loads((path.parent / "expected.json").read_text(encoding="utf-8"))
    assert {p.name: p.state.value for p in found.passages} == {
        name: wanted["state"] for name, wanted in expected["passages"].items()
    }
    assert [(list(s.passages), s.state) for s in found.separate] == [
        (s["passages"], s["state"]) for s in expected.get("separate", [])
    ]
    assert found.exit_status == expected["exit_status"]
    assert found.disposition.recommendation == expected["recommendation"]
