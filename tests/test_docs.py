"""What the README and the docs show is what the program does."""

import importlib.util
import json
import re
import shlex
import shutil
from pathlib import Path
from types import SimpleNamespace

import click
import pytest
import shared
from click.testing import CliRunner

from clearance.cli.main import main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = ["README.md", *sorted(f"docs/{page.name}" for page in (ROOT / "docs").glob("*.md"))]
VERDICTS = (0, 3, 4)


def commands(text):
    """Words of every `clearance` command in the fenced console and sh blocks of a page."""
    found = []
    for kind, block in re.findall(r"^```(console|sh)\n(.*?)^```", text, re.DOTALL | re.MULTILINE):
        for line in block.splitlines():
            if kind == "console" and not line.startswith("$ "):
                continue  # what the command answers
            for part in line.removeprefix("$ ").split("&&"):
                program, *words = shlex.split(part, comments=True)
                if Path(program).name == "clearance":
                    found.append(words)
    return found


SHOWN = [(page, words) for page in PAGES for words in commands((ROOT / page).read_text("utf-8"))]


def load(script):
    spec = importlib.util.spec_from_file_location(Path(script).stem, ROOT / script)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


VARIANT = re.compile(
    r"^<!-- (\S+): (\S+) with this \[+(\w+)\]+ -->\n```toml\n(.*?)^```", re.DOTALL | re.MULTILINE
)


@pytest.mark.parametrize("page", PAGES)
def test_a_case_that_differs_in_one_table_is_shipped_as_the_page_shows_it(page):
    for new, old, table, text in VARIANT.findall((ROOT / page).read_text("utf-8")):
        known = (ROOT / old).read_text("utf-8")
        place = re.compile(rf"^\[+{table}\]+\n.*?(?=^\[|\Z)", re.DOTALL | re.MULTILINE)
        assert len(place.findall(known)) == 1
        assert (ROOT / new).read_text("utf-8") == place.sub(lambda _, text=text: f"{text}\n", known)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Run a command in a copy of the cases, once; returns what it did and where."""
    folder = tmp_path_factory.mktemp("clone")
    shutil.copytree(ROOT / "cases", folder / "cases")
    done = {}

    def once(words):
        key = tuple(words)
        if key not in done:
            with pytest.MonkeyPatch.context() as patch:
                shared.remember(patch)
                shared.ask_for_opinions(patch)
                shared.look_for_openings_once(patch)
                shared.examine_each_mesh_once(patch)
                patch.chdir(folder)
                patch.setenv("COLUMNS", "96")
                done[key] = CliRunner().invoke(main, words)
        return done[key], folder

    return once


def test_commands_are_found_in_fenced_blocks():
    text = "```console\n$ clearance check a.toml\nclearance is no command here\n```\n"
    text += "```sh\npip install . && .venv/bin/clearance mesh 'b c.stl'  # a comment\n```\n"
    assert commands(text) == [["check", "a.toml"], ["mesh", "b c.stl"]]
    assert len(commands(README)) == 3


def test_answers_belong_to_the_command_above_them():
    text = "```console\n$ clearance check a.toml\nx\n...\n$ clearance mesh b.stl\n```\n"
    assert list(answers(text)) == [(["check", "a.toml"], "x\n...")]


@pytest.mark.parametrize(
    ("page", "words"), SHOWN, ids=[f"{page}: {' '.join(words)}" for page, words in SHOWN]
)
def test_commands_of_the_docs_run(run, page, words):
    done, _ = run(words)
    assert done.exit_code in VERDICTS, done.output


def answers(text):
    """Words and answer of every command of a page's console blocks that shows an answer."""
    blocks = re.findall(r"^```console\n\$ (.*?)^```", text, re.DOTALL | re.MULTILINE)
    for line, _, answer in (told.partition("\n") for b in blocks for told in b.split("\n$ ")):
        if line.startswith("clearance ") and answer.strip():
            yield shlex.split(line.removeprefix("clearance ")), answer


ANSWERS = [(page, *told) for page in PAGES for told in answers((ROOT / page).read_text("utf-8"))]


def test_the_readme_shows_an_answer():
    assert [words for page, words, _ in ANSWERS if page == "README.md"]


@pytest.mark.parametrize(
    ("page", "words", "answer"), ANSWERS, ids=[f"{page}: {' '.join(w)}" for page, w, _ in ANSWERS]
)
def test_the_docs_show_the_real_answers(run, page, words, answer):
    done, _ = run(words)
    printed = [line.rstrip() for line in done.stdout.splitlines()]
    at = 0
    for line in answer.splitlines():
        if line == "...":
            continue  # here some lines are left out
        assert line.rstrip() in printed[at:], f"{line}\nis not among\n{done.stdout}"
        at = printed.index(line.rstrip(), at) + 1
    if words[0] == "restart":  # its page shows all of it
        assert len(printed) == len(answer.splitlines())


TUTORIAL = (ROOT / "docs/tutorial.md").read_text(encoding="utf-8")


def test_the_tutorial_shows_the_case_file_as_it_is():
    case = (ROOT / "cases/mould-insert/case.toml").read_text(encoding="utf-8")
    blocks = re.findall(r"^```toml\n(.*?)^```", TUTORIAL, re.DOTALL | re.MULTILINE)
    variants = [text for *_, text in VARIANT.findall(TUTORIAL)]
    assert len(variants) == 2
    assert [block for block in blocks if block not in case] == variants


def test_the_log_of_the_tutorial_is_the_event_of_its_case(run):
    from clearance.case.read import read_case

    _, folder = run(["--version"])
    cases = [read_case(folder / f"cases/mould-insert/{name}.toml") for name in ("case", "log")]
    (told,), (logged,) = (case.stray for case in cases)
    for key in ("height", "from_layer", "layers_low", "layers_high", "source"):
        assert getattr(told, key) == pytest.approx(getattr(logged, key))
    assert logged.jump_lift(3, 0.05) == pytest.approx(0.0)  # as resume = "height"


def test_the_first_line_of_the_readme_leaves_result_and_picture(run):
    section, check = (run(words) for words in commands(README)[1:])
    assert section[0].exit_code == 0
    assert check[0].exit_code == 3  # as the README says
    out = check[1] / "out"
    assert (out / "mould-insert.png").read_bytes().startswith(b"\x89PNG")
    assert '"schema": 1' in (out / "mould-insert.json").read_text(encoding="utf-8")


def test_the_readme_states_the_job_first():
    first = README.split("\n\n")[1].replace("\n", " ")
    for word in ("inlet", "outlet", "drill", "use it as is", "rework", "repair", "scrap"):
        assert word in first


def test_a_picture_stands_within_a_screen_and_a_half():
    lines = README.splitlines()  # a screen of forty lines
    assert any(line.startswith("![") for line in lines[:60])


def test_the_readme_has_two_lines_to_copy():
    blocks = re.findall(r"^```sh\n(.*?)\n```", README, re.DOTALL | re.MULTILINE)
    assert len(blocks) == 2
    for block in blocks:
        assert block.startswith("python3 -m venv .venv && .venv/bin/pip install ")
        assert "\n" not in block
    assert blocks[1].endswith(".venv/bin/python -m pytest -n auto")


CONTEXT = click.Context(main)


@pytest.mark.parametrize("name", main.list_commands(CONTEXT))
def test_examples_of_the_help_are_understood(name):
    command = main.get_command(CONTEXT, name)
    lines = [line.strip() for line in command.help.splitlines()]
    examples = [line for line in lines if line.startswith(f"clearance {name} ")]
    assert examples
    for example in examples:
        words = shlex.split(re.split(r"\||>>", example)[0])
        command.make_context(name, words[2:], parent=CONTEXT)  # raises if there is no such option


@pytest.mark.parametrize("page", [*PAGES, "DEVELOPERS.md"])
def test_links_lead_somewhere(page):
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+?)(?:#[^)]*)?\)", text):
        if "://" not in target:
            assert ((ROOT / page).parent / target).exists(), target


def drawn_by(run, words, picture):
    """What the command of a page has drawn that differs in the file's name alone."""
    asked = [str(word).removeprefix(f"{ROOT}/") for word in words[:-1]]
    same = next(shown for _, shown in SHOWN if shown[:-1] == asked)
    done, folder = run(same)
    assert done.exit_code == 0, done.output
    shutil.copy(folder / same[-1], picture)


def test_the_figures_of_the_docs_are_drawn_by_the_program(run, tmp_path, monkeypatch):
    shared.remember(monkeypatch)
    shared.look_for_openings_once(monkeypatch)
    for pages in ("add_passage", "add_shop", "add_laboratory"):  # the first page alone is kept
        monkeypatch.setattr(f"clearance.figures.first_page.{pages}", lambda *_: None)
    script = load("docs/make_figures.py")
    monkeypatch.setattr(script, "_draw", lambda name, words: drawn_by(run, words, tmp_path / name))
    script.main(tmp_path)
    pictures = {path.name for path in (ROOT / "docs/figures").glob("*.png")}
    kept = sorted(pictures - {"view.png"})  # needs a browser: docs/make_view.py
    assert sorted(path.name for path in tmp_path.iterdir()) == kept
    for name in kept:
        # Width and height stand in bytes 16 to 24 of a PNG.
        drawn = (tmp_path / name).read_bytes()
        assert drawn[16:24] == (ROOT / "docs/figures" / name).read_bytes()[16:24]


def test_every_proof_has_its_figure():
    script = load("docs/make_proofs.py")
    method = (ROOT / "docs/method.md").read_text(encoding="utf-8")
    assert re.findall(r"\(figures/(proof-.*?)\)", method)
    assert set(re.findall(r"\(figures/(proof-.*?)\)", method)) == set(script.PROOFS)
    assert {path.name for path in (ROOT / "docs/figures").glob("proof-*")} == set(script.PROOFS)


@pytest.mark.more
def test_the_figures_of_the_proofs_are_drawn_by_the_program(tmp_path):
    script = load("docs/make_proofs.py")
    script.main(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == set(script.PROOFS)


def test_pictures_of_the_docs_come_from_the_script():
    drawn = {path.name for path in (ROOT / "docs/figures").iterdir()}
    texts = [(ROOT / page).read_text(encoding="utf-8") for page in PAGES]
    pictures = [name for text in texts for name in re.findall(r"!\[[^]]*\]\((.*?)\)", text)]
    assert pictures
    assert {Path(name).name for name in pictures} <= drawn


def test_the_table_of_rules_and_its_cases_are_what_their_script_writes():
    script = load("docs/make_dispositions.py")
    method, cases = (path.read_text(encoding="utf-8") for path in (script.METHOD, script.PAGE))
    assert script.method(method) == method, "run python docs/make_dispositions.py"
    assert script.page() == cases, "run python docs/make_dispositions.py"


VALIDATION = load("docs/make_validation.py")
VALIDATION_PAGE = (ROOT / "docs/validation.md").read_text(encoding="utf-8")


def rows(title):
    """Rows of a section of docs/validation.md as they stand there, without its two head rows."""
    section = VALIDATION_PAGE.split(f"\n## {title}\n")[1].split("\n## ")[0]
    return [line for line in section.splitlines() if line.startswith("| ")][2:]


SPAN = re.compile(r"[\d.]+ to [\d.]+ mm")
LONG = ("Comparison with solid booleans", "Scans")
"""Sections that tests/validation holds by fewer parts (solid booleans, made scans)."""


@pytest.mark.slow
@pytest.mark.parametrize(
    "title",
    [
        *(t for t in VALIDATION.SECTIONS if t not in LONG),
        *shared.more(*LONG),
        pytest.param("Shipped cases", id="Shipped cases, all", marks=pytest.mark.more),
    ],
)
def test_the_validation_page_is_what_comes_out(title, monkeypatch):
    if title == "Shipped cases":  # tests/golden looks at the same results
        # All of them first: a result that is not there yet is made by the judge patched here.
        cases = [path.parent.name for path in (ROOT / "cases").glob("*/expected.json")]
        results = {case: shared.result_of(case) for case in cases}
        told = lambda case: SimpleNamespace(result=results[case.path.parent.name])  # noqa: E731
        monkeypatch.setattr("clearance.checking.judge", told)
        monkeypatch.setattr("clearance.verdict.prepared.prepare", lambda case: case)
    if title == "Meshes":  # so do tests/unit and tests/cli
        shared.examine_each_mesh_once(monkeypatch)
    coarse = () if shared.in_full else tuple(f"| [{case}]" for case in shared.COARSE)
    made = [str(row) for row in VALIDATION.SECTIONS[title]()]
    other = [(row, told) for row, told in zip(made, rows(title), strict=True) if row != told]
    for row, told in other:  # at a coarser pitch: the same but for the widths that are obtained
        assert row.startswith(coarse), (row, told)
        assert SPAN.sub("", row) == SPAN.sub("", told)


def test_the_validation_page_has_the_sections_and_notes_of_its_script():
    assert VALIDATION_PAGE.startswith(VALIDATION.HEAD.rstrip())
    assert re.findall(r"^## (.*)", VALIDATION_PAGE, re.MULTILINE) == list(VALIDATION.SECTIONS)
    for note in VALIDATION.NOTES.values():
        assert note in VALIDATION_PAGE


def test_the_validation_page_shows_every_shipped_case():
    shown = "".join(rows("Shipped cases"))
    for path in (ROOT / "cases").glob("*/expected.json"):
        expected = json.loads(path.read_text(encoding="utf-8"))
        row = next(line for line in shown.split("| [") if line.startswith(f"{path.parent.name}]"))
        assert row.count(f"<br>{expected['recommendation']} |") == 2
        for name, wanted in expected["passages"].items():
            assert row.count(f"{name}: {wanted['state']}") == 2
