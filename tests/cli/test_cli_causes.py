"""The command causes: from readings to the decision, its files, its exit status, bad input.

A small block on a wider foot, with a recess under its bore up to layer 4: what was melted again
from below leaves the bore open, what comes from above seals it, as is plain from the drawing.
"""

import json

import jsonschema
import make
import pytest
import shapes
from click.testing import CliRunner

from clearance.case.read import read_case
from clearance.causes import states
from clearance.causes.explain import explain
from clearance.cli.main import main
from clearance.result.schema import schemas
from clearance.verdict.prepared import prepare

T = 0.1


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The block's mesh, and a case without anything measured."""
    here = tmp_path_factory.mktemp("causes")
    solid = shapes.block((-8, -6, 0), (8, 6, 10)) + shapes.block((-9, -7, 0), (9, 7, 1))
    solid -= shapes.bore((0, 0, 3.5), (0, 0, 11), 1.5, segments=32)
    solid -= shapes.bore((0, 0, 5), (0, 8, 5), 1.0, segments=32)
    solid -= shapes.bore((0, 0, -1), (0, 0, 0.5), 2.5, segments=32)
    way = make.passage((0, 0, 10), (0, 6, 5), 1.5, 1.2, name="bore")
    way["outlet"]["radius"] = 1.0
    make.write_case(here, solid, way, make.sheet(7.0, 2), pitch=0.25)
    return here


def written(folder, more):
    text = (folder / "case.toml").read_text("utf-8").split("[[stray]]")
    stray = '[[stray]]\nheight = 7.0\nlayers = 2\nfrom_layer = 2\nresume = "height"\n'
    path = folder / "asked.toml"
    path.write_text(f"{text[0]}{more}\n{stray}[grid]\npitch = 0.25\n", "utf-8")
    return path


def run(folder, more, *words):
    return CliRunner().invoke(main, ["causes", str(written(folder, more)), *words])


RIM = '[[reading]]\nkind = "rim_thickness"\nvalue = 0.25\nu = 0.03\n'
TOP = '[[reading]]\nkind = "rim_top"\nvalue = 7.13\nu = 0.03\n'
BALL = '[[reading]]\nkind = "ball"\npassage = "boer"\ndiameter = 1.0\nresult = "stops"\n'
BOTH = "[suspected]\nfrom_layer = [1, 7]\n"


@pytest.fixture(scope="module")
def found(folder):
    """A run with JSON and a plot: (what was printed, JSON, bytes of the plot)."""
    more = f'{BOTH}also = ["mesh"]\n{RIM}{TOP}'
    done = run(folder, more, "--json", str(folder / "a.json"), "--plot", str(folder / "a.pdf"))
    assert done.exit_code == 4, done.output
    result = json.loads((folder / "a.json").read_text("utf-8"))
    return done.stdout, result, (folder / "a.pdf").read_bytes()


def test_the_result_is_as_its_schema_says(found):
    text, result, plot = found
    jsonschema.validate(result, schemas()["causes.schema.json"])
    assert plot.startswith(b"%PDF")
    assert result["exit_status"] == 4
    assert text.startswith("part: 8 suspects, 2 readings: 1 excluded")


def test_the_mesh_itself_is_excluded_by_a_rim_that_was_measured(found):
    _, result, _ = found
    (only,) = result["excluded"]
    assert [box["cause"] for box in only["ranges"]] == ["mesh"]
    assert only["off_u"] is None
    assert result["k"] == pytest.approx(3.205, abs=1e-3)


def test_states_and_recommendations_are_plain_from_the_drawing(found):
    """Layers 1 to 4 have the recess; 5 to 7 and, in part, a sheet from layer 4 are metal."""
    _, result, _ = found
    by_first = {}
    for one in result["classes"]:
        for box in one["ranges"]:
            for first in range(box["from_layer"][0], box["from_layer"][1] + 1):
                by_first[first] = (one["states"]["bore"], one["recommendation"])
    assert {first: state for first, (state, _) in by_first.items()} == {
        **dict.fromkeys((1, 2, 3), "open"),
        **dict.fromkeys((4, 5, 6, 7), "blocked"),
    }
    assert by_first[1][1] == "use-as-is"
    assert by_first[7][1] != "use-as-is"
    assert [one["told"] for one in result["classes"]].count(True) == 1


LIFTED = f"[suspected]\nafter_layer = [66, 72]\nresume = ['layer']\n{RIM}"


def test_states_of_a_build_that_went_on_lifted_are_looked_at_more_closely(folder):
    """Sections do not tell them; the drawing does: layers 2 and 3 have the recess."""
    result = json.loads(run(folder, LIFTED, "--json", "-").stdout)
    assert result["checks"] <= 20
    assert [one["states"]["bore"] for one in result["classes"]] == ["open"]
    assert result["decision"]["recommendation"] == "use-as-is"


def test_nothing_is_taken_over_where_a_state_is_not_known(folder, monkeypatch):
    """With few checks and no closer look: seven heights and the event as told, three checked."""
    monkeypatch.setattr(states, "MOST_EXACT", 0)
    checked = prepare(read_case(written(folder, LIFTED)))
    result = explain(checked, most_checks=3)
    said = {one.states["bore"]: one.recommendation for one in result.classes}
    assert said == {"open": "use-as-is", "undetermined": "undetermined"}
    assert not result.decision.settled
    assert result.checks == 3
    whole = explain(checked)  # the checks that are left go to those that are not known
    assert (whole.checks, whole.decision.recommendation) == (8, "use-as-is")


def test_the_worth_of_a_test_is_told_with_weights_and_costs(folder):
    """Both layers have the recess: the part is used as it is, and knowing which saves nothing."""
    costs = "[costs]\nrework = 150.0\nrebuild = 600.0\nchance = 0.9\n"
    asked = f"{costs}[suspected]\nfrom_layer = [1, 2]\n"
    weights = 'weights = { "from_layer=1" = 0.3, "from_layer=2" = 0.7 }\n'
    done = run(folder, asked + weights, "--json", "-")
    result = json.loads(done.stdout)
    jsonschema.validate(result, schemas()["causes.schema.json"])
    assert result["worth"] == {
        "cheapest_now": "use-as-is", "cost_now": 0.0, "all_known": 0.0, "why_not": "",
    }  # fmt: skip
    assert {one["worth"] for one in result["next"]} == {0.0}
    words = " ".join(run(folder, asked).stdout.split())
    assert "Worth of a test: not told: [suspected] weights are not given" in words


def test_a_ball_parts_what_the_outside_cannot(found):
    """The foot is upright: no reading of the rim tells the first layer; a ball does."""
    text, result, _ = found
    by_kind = {}
    for one in result["next"]:
        by_kind.setdefault(one["kind"], []).append(one)
    assert all(
        not one["decides"] for kind, some in by_kind.items() if "rim" in kind for one in some
    )
    assert any(one["decides"] for one in by_kind["ball"])
    assert not result["decision"]["settled"]
    assert "depending on the cause; it is decided by: ball of" in " ".join(text.split())
    assert "nothing more need be measured" not in " ".join(text.split())


def test_json_to_standard_output_is_the_file_and_nothing_else(folder, found):
    done = run(folder, f'{BOTH}also = ["mesh"]\n{RIM}{TOP}', "--json", "-")
    assert done.stdout == (folder / "a.json").read_text("utf-8")
    assert (done.exit_code, done.stderr) == (4, "")


def test_readings_that_no_suspect_explains_leave_no_recommendation(folder):
    done = run(folder, f"{BOTH}{RIM}{TOP}{TOP.replace('7.13', '7.9')}")
    assert done.exit_code == 4
    words = " ".join(done.stdout.split())
    assert "every suspect is excluded: no recommendation" in words
    assert "none of the suspects explains" in words


def test_readings_that_fit_together_badly_are_no_suspects_either(folder):
    """Each within three uncertainties of what some suspect allows, all together far too much."""
    some = "".join(TOP.replace("7.13", value) for value in ("7.03", "7.27", "7.03", "7.27"))
    done = run(folder, f"[suspected]\nfrom_layer = [6, 7]\n{some}", "--json", "-")
    result = json.loads(done.stdout)
    assert result["none_of_these"]["said"]
    assert result["none_of_these"]["p"] < 0.0027
    assert result["decision"]["recommendation"] is None
    assert done.exit_code == 4


def test_a_thousand_readings_are_weighed(folder):
    many = "".join(TOP.replace("7.13", f"{7.13 + 0.002 * (n % 21 - 10):.3f}") for n in range(1000))
    done = run(folder, f"[suspected]\nfrom_layer = [6, 7]\n{many}", "--json", "-")
    result = json.loads(done.stdout)
    assert len(result["readings"]) == 1000
    assert not result["none_of_these"]["said"]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("", "[suspected]: the table is missing, expected ranges of the events"),
        (
            "[suspected]\nfrom_layer = [1, 900]\n",
            "[suspected] from_layer: found 900, expected at most 99, the last layer that cuts",
        ),
        (
            f"{BOTH}{BALL}",
            "[[reading]] number 1 passage: found 'boer', expected the name of a passage; did",
        ),
        (f"{BOTH}{RIM.replace('0.03', '0.0')}", "[[reading]] number 1 u: found 0.0, expected gr"),
    ],
)
def test_what_the_user_has_to_mend_is_one_line(folder, more, said):
    done = run(folder, more, "--plot", str(folder / "never.pdf"))
    assert done.exit_code == 2
    (line,) = done.stderr.splitlines()
    assert said in line
    assert not (folder / "never.pdf").exists()


def test_readings_that_exclude_each_other_are_said_at_the_head(folder):
    """Two heights of one face 0.5 mm apart: none explains them, and nothing is to be decided."""
    done = run(
        folder, f"{BOTH}{TOP}{TOP.replace('7.13', '7.63')}", "--json", str(folder / "b.json")
    )
    assert done.exit_code == 4, done.output
    head = " ".join(done.stdout.split("\n\n")[0].split())
    assert "Readings 1 and 2 exclude each other, whatever the event" in head
    assert "2. rim top, event 1: 7.63 mm (u 0.03); EXCLUDED by reading 1" in done.stdout
    result = json.loads((folder / "b.json").read_text("utf-8"))
    assert [one["excluded_by"] for one in result["readings"]] == [1, 0]
    assert result["none_of_these"]["said"]
    assert not any(one["decides"] for one in result["next"])
    assert ("Not known of the cause" in done.stdout) is bool(result["classes"])
