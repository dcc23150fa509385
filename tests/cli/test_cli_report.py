"""`check --report`: the file, what is refused, and that nothing is half written."""

import json

import pdf as pdfs
import pytest
import shared


@pytest.fixture(autouse=True)
def _each_case_is_judged_once(monkeypatch):
    """Here sheets are looked at: what is drawn twice must come out the same from one result."""
    shared.remember(monkeypatch)


def test_report_beside_json_and_the_same_each_time(cases, run, tmp_path):
    pdf, data = tmp_path / "cut.pdf", tmp_path / "cut.json"
    done = run("check", cases / "cut.toml", "--report", pdf, "--json", data)
    assert done.exit_code == 3
    assert "blocked" in done.stdout  # the text is printed all the same
    assert json.loads(data.read_text(encoding="utf-8"))["passages"][0]["state"] == "blocked"
    page = pdfs.pages(pdf)[0]
    assert "way blocked" in page.text
    assert page.height == pytest.approx(842, abs=1)  # A4
    first = pdf.read_bytes()
    assert run("check", cases / "cut.toml", "--report", pdf).exit_code == 3
    assert pdf.read_bytes() == first


def test_an_undetermined_part_on_letter_paper_and_json_alone_on_standard_output(
    cases, run, tmp_path
):
    pdf = tmp_path / "unsure.pdf"
    words = ["--report", pdf, "--paper", "letter", "--json", "-"]
    done = run("check", cases / "unsure.toml", *words)
    assert done.exit_code == 4
    assert json.loads(done.stdout)["schema"] == 1
    page = pdfs.pages(pdf)[0]
    assert page.height == pytest.approx(792, abs=1)
    assert "undetermined" in page.text


@pytest.mark.parametrize(
    ("name", "said"), [("sheet.png", ".pdf"), ("sheet", ".pdf"), ("bore.stl/x.pdf", "written")]
)
def test_files_that_cannot_be_are_refused_before_anything_is_computed(
    cases, run, monkeypatch, name, said
):
    monkeypatch.setattr("clearance.checking.judge", lambda *_: pytest.fail("was computed first"))
    done = run("check", cases / "whole.toml", "--report", cases / name)
    assert done.exit_code == 2
    assert said in done.stderr


def test_one_name_for_two_files_is_refused(cases, run, tmp_path):
    file = tmp_path / "both.pdf"
    done = run("check", cases / "whole.toml", "--report", file, "--json", file)
    assert done.exit_code == 2
    assert "--json and --report" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_inputs_are_not_overwritten(cases, run):
    before = (cases / "bore.stl").read_bytes()
    assert run("check", cases / "whole.toml", "--report", cases / "bore.stl").exit_code == 2
    assert (cases / "bore.stl").read_bytes() == before


def test_a_report_that_fails_leaves_no_file(cases, run, monkeypatch, tmp_path):
    def fail(*_):
        raise ZeroDivisionError

    monkeypatch.setattr("clearance.figures.first_page.report", fail)
    files = ["--report", tmp_path / "a.pdf", "--json", tmp_path / "a.json"]
    assert run("check", cases / "cut.toml", *files).exit_code == 1
    assert list(tmp_path.iterdir()) == []
