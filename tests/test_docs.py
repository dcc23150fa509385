"""What the README and the docs show is what the program does."""

import importlib.util
import json
import re
import shlex
import shutil
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from clearance.cli import main

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


@pytest.mark.parametrize(
    ("page", "words"), SHOWN, ids=[f"{page}: {' '.join(words)}" for page, words in SHOWN]
)
def test_commands_of_the_docs_run(run, page, words):
    done, _ = run(words)
    assert done.exit_code in VERDICTS, done.output


ANSWERS = [
    (page, shlex.split(line.removeprefix("clearance ")), answer)
    for page in PAGES
    for line, answer in re.findall(
        r"^```console\n\$ (clearance [^\n]*)\n((?!```).+?)^```",
        (ROOT / page).read_text("utf-8"),
        re.DOTALL | re.MULTILINE,
    )
]


def rounded(line):
    """A line whose decimals are cut to tenths: the last digits of a bracket may move."""
    return re.sub(r"\d+\.\d+", lambda found: f"{float(found[0]):.1f}", line.rstrip())


def test_the_readme_shows_an_answer():
    assert [words for page, words, _ in ANSWERS if page == "README.md"]


@pytest.mark.parametrize(
    ("page", "words", "answer"), ANSWERS, ids=[f"{page}: {' '.join(w)}" for page, w, _ in ANSWERS]
)
def test_the_docs_show_the_real_answers(run, page, words, answer):
    done, _ = run(words)
    printed = [rounded(line) for line in done.stdout.splitlines()]
    at = 0
    for line in answer.splitlines():
        if line == "...":
            continue  # here some lines are left out
        assert rounded(line) in printed[at:], line
        at = printed.index(rounded(line), at) + 1


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


def test_the_figures_of_the_docs_are_drawn_by_the_program(tmp_path):
    load("docs/make_figures.py").main(tmp_path)
    kept = sorted(path.name for path in (ROOT / "docs/figures").iterdir())
    assert sorted(path.name for path in tmp_path.iterdir()) == kept
    for name in kept:
        # Width and height stand in bytes 16 to 24 of a PNG.
        drawn = (tmp_path / name).read_bytes()
        assert drawn[16:24] == (ROOT / "docs/figures" / name).read_bytes()[16:24]


def test_pictures_of_the_docs_come_from_the_script():
    drawn = {path.name for path in (ROOT / "docs/figures").iterdir()}
    texts = [(ROOT / page).read_text(encoding="utf-8") for page in PAGES]
    pictures = [name for text in texts for name in re.findall(r"!\[[^]]*\]\((.*?)\)", text)]
    assert pictures
    assert {Path(name).name for name in pictures} <= drawn


VALIDATION = (ROOT / "docs/validation.md").read_text(encoding="utf-8")
COMPUTED = ["Clear diameters", "Open areas", "Tables and formulas"]


@pytest.mark.parametrize("title", COMPUTED)
def test_the_validation_page_is_what_comes_out(title):
    rows = load("docs/make_validation.py").SECTIONS[title]
    for row in rows():
        assert f"| {' | '.join(row)} |" in VALIDATION


def test_the_validation_page_shows_the_shipped_cases():
    # tests/golden checks them all; here only that the page says what was expected of them.
    for path in (ROOT / "cases").glob("*/expected.json"):
        expected = json.loads(path.read_text(encoding="utf-8"))
        if (path.parent / "case.toml").exists():
            word = expected["recommendation"]
            assert f"{path.parent.name}, recommendation | {word} | by hand | {word} |" in VALIDATION
