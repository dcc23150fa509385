"""`clearance section`: kinds of file, the same bytes, and what a user can get wrong."""

import pytest

START = {".png": b"\x89PNG", ".pdf": b"%PDF", ".svg": b"<?xml"}


@pytest.mark.parametrize("kind", START)
def test_kinds_of_figure_and_the_same_bytes(cases, run, tmp_path, kind):
    files = [tmp_path / f"{n}{kind}" for n in range(2)]
    for file in files:
        found = run("section", cases / "cut.toml", "--at-height", "6", "--output", file)
        assert found.exit_code == 0, found.stderr
        assert found.output == ""
    assert files[0].read_bytes().startswith(START[kind])
    assert files[0].read_bytes() == files[1].read_bytes()


def test_the_finding_is_the_title(cases, run, tmp_path):
    file = tmp_path / "cut.svg"
    run("section", cases / "cut.toml", "--at-height", "6.2", "--output", file)
    text = file.read_text(encoding="utf-8")
    assert "way blocked at z = 6.2 mm" in text
    assert "x, mm" in text


def test_other_kinds_are_refused_with_the_list(cases, run, tmp_path):
    file = tmp_path / "cut.jpg"
    found = run("section", cases / "cut.toml", "--at-height", "6", "--output", file)
    assert found.exit_code == 2
    assert ".png, .pdf, .svg" in found.stderr
    assert not file.exists()


@pytest.mark.parametrize("height", ["-3", "99", "nan", "inf", "high"])
def test_heights_without_part_are_refused(cases, run, tmp_path, height):
    file = tmp_path / "cut.png"
    found = run("section", cases / "cut.toml", "--at-height", height, "--output", file)
    assert found.exit_code == 2
    assert "--at-height" in found.stderr
    assert list(tmp_path.iterdir()) == []


def test_both_options_are_required(cases, run):
    found = run("section", cases / "cut.toml", "--at-height", "6")
    assert found.exit_code == 2
    assert "--output" in found.stderr
