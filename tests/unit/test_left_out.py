"""What the plain run goes without: the table names files that there are, and goes by them."""

from pathlib import Path

import pytest
import shared

TESTS = Path(__file__).parent.parent


def test_the_table_names_files_that_there_are_each_once():
    found = {path.stem.removeprefix("test_") for path in TESTS.glob("*/test_*.py")}
    for less in shared.LEFT_OUT.values():
        named = [*less.files, *less.but]
        assert len(set(named)) == len(named)
        for one in named:
            assert (TESTS / one).is_dir() if one.endswith("/") else one in found, one


@pytest.mark.parametrize(
    ("running", "files", "but", "here"),
    [
        ("tests/unit/test_reach.py::test_a", (), (), True),
        ("tests/unit/test_reach.py::test_a", (), ("reach",), False),
        ("tests/unit/test_reach.py::test_a", ("reach",), (), True),
        ("tests/unit/test_reach_limits.py::test_a", ("reach",), (), False),
        ("tests/validation/test_x.py::test_a", ("reach", "validation/"), (), True),
        ("tests/unit/test_validation.py::test_a", ("validation/",), (), False),
    ],
)
def test_a_test_goes_without_what_its_file_is_named_for(monkeypatch, running, files, but, here):
    monkeypatch.setenv("PYTEST_CURRENT_TEST", running)
    monkeypatch.setattr(shared, "in_full", False)
    assert shared.Less("what", "why", files, but).here is here
    monkeypatch.setattr(shared, "in_full", True)
    assert not shared.Less("what", "why", files, but).here


def test_what_a_plain_test_does_in_full_only_is_taken_by_the_full_run():
    def asks():
        return 1 if shared.in_full else 2

    assert shared.does_more(asks)
    assert not shared.does_more(test_the_table_names_files_that_there_are_each_once)
    assert not shared.does_more(None)
