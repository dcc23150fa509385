"""What several tests look at and takes long to make: made once a run, by whichever process asks.

`conftest.py` names the run's folder before the processes of a parallel run begin; without it
everything is made anew in each process.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import pickle
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

FOLDER = "CLEARANCE_TESTS_SHARED"
CASES = Path(__file__).parent.parent / "cases"
in_full = False
"""Whether nothing is left out, as with `-m more`: see `LEFT_OUT`."""


@dataclass(frozen=True)
class Less:
    """Something that the plain run leaves out, in which files, and why nothing is lost by it.

    `files`: names without `test_` and `.py`, or a folder of tests with its stroke; none: all files.
    `but`: those in which it is done all the same.
    """

    what: str
    why: str
    files: tuple[str, ...] = ()
    but: tuple[str, ...] = ()

    @property
    def here(self) -> bool:
        """Whether the test that runs now goes without it."""
        running = os.environ.get("PYTEST_CURRENT_TEST", "")

        def named(one: str) -> bool:
            return (f"tests/{one}" if one.endswith("/") else f"/test_{one}.py") in running

        among = not self.files or any(map(named, self.files))
        return not in_full and among and not any(map(named, self.but))


LEFT_OUT = {
    "changes for a drill": Less(
        "what would have to change for a drill, where the shop has none",
        "no test without drills looks at it; checks with `drilling` ask for it",
    ),
    "finer pitches": Less(
        "the third finer pitch of a check that does not know at two",
        "eight times the cells of the second, by the same code; one test of each of these files, "
        "or another file, asks for it where it tells",
        ("never_open", "upright_metal", "hostile", "cut_mouths"),
    ),
    "torsion": Less(
        "grids of the joint's torsion constant beyond the second",
        "the constant is looked at in test_resumed.py, grids in test_section_properties.py",
        but=("resumed",),
    ),
    "inspection": Less(
        "the weighing of inspections, and all but 200 cells of the two grids of torsion",
        "none of these files looks at either; test_inspection.py, test_sources.py and "
        "tests/golden do",
        (
            *("affected", "cancelled", "drill_end", "electrodes", "exit_status"),
            *("facets_proposal", "far_out", "flow_branches", "flow_of_passage"),
            *("flow_of_what_is_possible", "leaning_pins", "led", "limits", "manifold", "narrowed"),
            *("neighbours", "numbers", "obstacles", "passage_check", "reach", "reach_limits"),
            *("scanned", "scanned_on_plate", "side_by_side", "signs", "states", "together"),
            *("volumes", "wall_left", "validation/"),
        ),
    ),
    "necks": Less(
        "cells of a neck beyond 4,000, of 30,000",
        "half of the dearest tests; given up sooner a state can only be less certain, which they "
        "would see; test_neck.py asks it directly",
        ("validation/",),
    ),
    "evidence": Less(
        "gauge pins, the torsion constant, and what inspections would look at",
        "a tenth of these checks, and none of them looks at any; tests/unit asks each directly",
        ("validation/",),
    ),
    "points on a mesh": Less(
        "nine of ten points that are spread over a spoilt mesh",
        "points tell of thin walls alone, and a tenth of them lies as densely on parts of tests as "
        "all do on a part ten times as large",
    ),
    "own pitch": Less(
        "the own pitch of the shipped cases in `COARSE`",
        "the same code on fewer cells; states and plan are the same, widths are for `-m more`",
    ),
    "sheets of a plate": Less(
        "sheets of all designs of a plate but one (`draw_few_sheets`)",
        "their labels are written all the same; tests/unit draws sheets of every kind",
    ),
}
"""All that the plain run goes without; a run with `-m more` does it all.

A test that looks at one of them asks for `in_full`, or its file stands under `but`. Before a file
joins `files`, faults are planted in what it guards: it has to fail as before.
"""

COARSE = dict.fromkeys(
    (
        *("distributor", "exchanger-header", "manifold-block"),
        *("nozzle-ring-high", "nozzle-ring-low", "valve-body"),
    ),
    0.4,
)
"""Shipped cases that the plain run judges at a coarser pitch than the program takes, mm."""

FEW_POINTS = 4_000
"""Points that the plain run spreads over a spoilt mesh."""


def once(key: str, make: Callable[[], Any]) -> Any:
    """What `make` returns, from this run's folder if it has been made; it must pickle."""
    folder = os.environ.get(FOLDER)
    if folder is None:
        return make()
    file = Path(folder) / hashlib.sha256(key.encode()).hexdigest()[:32]
    with _alone(file.with_suffix(".lock")):
        if not file.exists():
            part = file.with_suffix(".part")
            part.write_bytes(pickle.dumps(make()))
            part.replace(file)
    return pickle.loads(file.read_bytes())


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[None]:
    """One process at a time; a lock that its owner's end gives up, where the system has one."""
    with open(path, "w") as file:
        with contextlib.suppress(ImportError):
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX)
        yield


@contextlib.contextmanager
def less(case: Any, about_drills: bool = False) -> Iterator[None]:
    """A check without what `LEFT_OUT` says of the test; `about_drills`: without evidence alone."""
    from clearance import checking
    from clearance.drilling.lines import Lines
    from clearance.evidence import section_properties
    from clearance.passages import neck
    from clearance.verdict import circuits_apart, passage_check
    from clearance.verdict.passage_check import PassageCheck

    has_drills = about_drills or case.drilling.series or case.drilling.drills
    with pytest.MonkeyPatch.context() as patch:
        if LEFT_OUT["changes for a drill"].here and not has_drills:
            patch.setattr(Lines, "ruled_out", lambda *_: False)
        if LEFT_OUT["finer pitches"].here and not about_drills:
            for module in (passage_check, circuits_apart):
                patch.setattr(module, "FINER", 2)
        if LEFT_OUT["torsion"].here:
            patch.setattr(section_properties, "SETTLED", 1.0)
            patch.setattr(section_properties, "settled_torsion", _torsion())
        if LEFT_OUT["inspection"].here:
            patch.setattr(section_properties, "FIRST_CELLS", 200)
            patch.setattr(checking, "inspected", lambda *_: ())
        if LEFT_OUT["necks"].here and not about_drills:
            patch.setattr(neck, "MOST_SPLIT", 4_000)
        if LEFT_OUT["evidence"].here:
            patch.setattr(section_properties, "settled_torsion", lambda _: (1.0, 0.001))
            patch.setattr(checking, "targets", lambda *_: [])
            patch.setattr(PassageCheck, "gauge_pins", lambda _: [])
        yield


@cache
def _torsion() -> Any:
    from clearance.evidence import section_properties
    from clearance.evidence.section_properties import settled_torsion

    return _once_each(
        settled_torsion.__wrapped__, lambda polygons: (polygons, section_properties.FIRST_CELLS)
    )


def does_more(test: Any) -> bool:
    """Whether a test asks if it runs in full: `-m more` takes it, though it bears no mark."""
    return "in_full" in getattr(getattr(test, "__code__", None), "co_names", ())


def more(*values: Any) -> list[Any]:
    """Parameters of a test that only a run with `-m more` takes: the plain run has their kind."""
    return [
        pytest.param(*(one if isinstance(one, tuple) else (one,)), marks=pytest.mark.more)
        for one in values
    ]


@cache
def result_of(case: str) -> Any:
    """Result of the check of a shipped case, given by the name of its folder."""

    def made() -> Any:
        from clearance.case.read import read_case
        from clearance.checking import judge
        from clearance.verdict.prepared import prepare

        return judge(prepare(read_case(CASES / case / "case.toml"), _pitch_of(case))).result

    return once(_of_case(case), made)


def _pitch_of(case: str) -> float | None:
    """Pitch of this run for a shipped case, mm; None for that which the program takes."""
    return COARSE.get(case) if LEFT_OUT["own pitch"].here else None


def _of_case(case: str) -> str:
    return f"result of {case} at {_pitch_of(case)}"


def openings_of(triangles: Any, find: Callable[[Any], Any]) -> Any:
    """What `find` finds in a mesh; the search in a shipped one takes a quarter of a minute."""
    mesh = hashlib.sha256(triangles.tobytes()).hexdigest()
    return once(f"openings of {mesh}", lambda: find(triangles))


def mesh_report(path: Path, unit: str = "mm", item: str | None = None) -> Any:
    """What `survey.faults.examine` tells of a file; most of its time are rays from points.

    Known again by the bytes of the file, wherever it lies.
    """
    from clearance.survey import thickness

    def made() -> Any:
        with pytest.MonkeyPatch.context() as patch:
            if LEFT_OUT["points on a mesh"].here:
                patch.setattr(thickness, "MOST_SPREAD", FEW_POINTS)
            return examine(path, unit, item)

    examine = _examine()
    data = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else str(path)
    return replace(once(f"mesh {data} {path.suffix} {unit} {item}", made), path=path)


def examine_each_mesh_once(patch: pytest.MonkeyPatch) -> None:
    """The command `mesh`, and whoever asks the same, share what they find."""
    _examine()  # the real one
    patch.setattr("clearance.survey.faults.examine", mesh_report)


def look_for_openings_once(patch: pytest.MonkeyPatch) -> None:
    """The command `openings` finds those of a mesh anew in the first process that asks."""
    from clearance.survey import openings

    find = _find_openings()
    patch.setattr(openings, "find_openings", lambda soup, *_: openings_of(soup, find))


@cache
def _find_openings() -> Any:
    from clearance.survey.openings import find_openings

    return find_openings


@cache
def blank_sheet() -> bytes:
    """A sheet of one empty page."""
    from matplotlib.figure import Figure

    from clearance.figures.files import pdf_bytes

    return pdf_bytes([Figure()])


def draw_few_sheets(patch: pytest.MonkeyPatch) -> None:
    """Parts of a plate get a blank sheet, but those whose design is named straight.

    Drawing one takes longer than the check. `LEFT_OUT` tells why that will do.
    """
    from clearance.figures import first_page
    from clearance.plates import one_part

    report, sheet = first_page.report, one_part.sheet

    def facts(examined: Any, **keys: Any) -> Any:
        is_drawn = examined.checked.case.part.name == "straight"
        return sheet(examined, **keys) if is_drawn else None

    patch.setattr(one_part, "sheet", facts)
    patch.setattr(first_page, "report", lambda one: blank_sheet() if one is None else report(one))


def in_this_process(patch: pytest.MonkeyPatch, few_sheets: bool = False) -> list[str]:
    """Parts of a plate are computed in this process, one by one; keys of those that were."""
    from clearance.system import processes

    computed: list[str] = []

    def one_by_one(jobs: Any, work: Any, *_: Any) -> Iterator[Any]:
        for job in jobs:
            computed.append(job.key)
            yield job, part_of_a_plate(job, work, few_sheets)

    patch.setattr(processes, "run", one_by_one)
    return computed


def part_of_a_plate(job: Any, work: Callable[[Any], Any], few_sheets: bool = False) -> Any:
    """How a job of a plate ends; its key names all that it reads, so its result is made once.

    That it comes out the same from any process is tested where processes are started.
    `few_sheets`: as `draw_few_sheets` has it.
    """
    from clearance.system import processes

    def made() -> Any:
        with pytest.MonkeyPatch.context() as patch:
            if few_sheets:
                draw_few_sheets(patch)
            found = processes.attempt(work, job.payload)
        if found.kind != "done":
            raise _NotDoneError(found)
        return found

    try:
        return once(f"part of a plate {job.key} {few_sheets}", made)
    except _NotDoneError as fault:
        return fault.args[0]


def data_of(task: Any) -> dict[str, Any]:
    """What the result file of a plate's part says; its sheet is not drawn, which takes longer."""
    from clearance.figures import first_page
    from clearance.plates.one_part import compute

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(first_page, "report", lambda _: b"")
        return compute(task).data


class _NotDoneError(Exception):
    """Carries what is not to be kept."""


def remember(patch: pytest.MonkeyPatch) -> None:
    """Commands on one case share what each would find anew, in this process.

    For cases whose meshes do not change: known again by the text of the file, wherever it lies.
    """
    from clearance import api, checking, margins
    from clearance.figures import sections
    from clearance.sweeps import in_processes, sweep
    from clearance.verdict import prepared
    from clearance.view import scene as view_scene

    prepare, judge, swept = _prepare(), _judge(), _sweep()
    for module in (api, sections, sweep, prepared):
        patch.setattr(module, "prepare", prepare)
    for module in (checking, sections, sweep):
        patch.setattr(module, "PassageCheck", _look())
    for module in (checking, sections):
        patch.setattr(module, "remedied", _remedied())
    patch.setattr(checking, "judge", judge)
    patch.setattr(in_processes, "side_by_side", swept)
    patch.setattr(view_scene, "scene", _scene())
    patch.setattr(margins, "state_margins", _margins())


def ask_for_opinions(patch: pytest.MonkeyPatch) -> None:
    """Commands that ask for no second opinion take what was found with one, where it is known."""
    from clearance import api

    examine = api.examine
    patch.setattr(api, "examine", lambda case, **keys: examine(case, **{**keys, "verify": None}))


@cache
def _prepare() -> Any:
    from clearance.verdict.prepared import prepare

    return _once_each(prepare, lambda case, pitch=None, *_, **keys: (case.text_sha256, pitch))


@cache
def _judge() -> Any:
    from clearance.checking import judge

    def judged(checked: Any, *args: Any, **keys: Any) -> Any:
        found = judge(checked, *args, **keys)
        of_file = checked.case.path.name == "case.toml"
        if of_file and _pitch_of(checked.case.path.parent.name) is None:
            once(_of_case(checked.case.path.parent.name), lambda: found.result)
        return found

    return _once_each(judged, lambda checked, *_, verify=False, **keys: (checked, verify))


@cache
def _remedied() -> Any:
    from clearance.disposition.remedy import remedied

    return _once_each(remedied, lambda check, *_: check)


@cache
def _look() -> Any:
    from clearance.verdict.passage_check import PassageCheck

    return _once_each(PassageCheck, lambda checked, passage: (checked, passage.name))


@cache
def _margins() -> Any:
    from clearance.margins import state_margins

    return _once_each(state_margins, lambda examined: examined)


@cache
def _examine() -> Any:
    from clearance.survey.faults import examine

    return examine


@cache
def _scene() -> Any:
    from clearance.view.scene import scene

    return _once_each(scene, lambda examined: examined.checked)


@cache
def _sweep() -> Any:
    from clearance.sweeps.in_processes import side_by_side

    def swept(case: Any, wanted: Any, pitch: Any, progress: Any, *_: Any) -> Any:
        """Other processes would have to prepare the part again."""
        return side_by_side(case, wanted, pitch, progress, 1)

    return _once_each(
        swept, lambda case, wanted, pitch=None, *_: (case.text_sha256, str(wanted), pitch)
    )


def _once_each(real: Any, key: Callable[..., Any]) -> Any:
    known: dict[Any, Any] = {}

    def remembered(*args: Any, **keys: Any) -> Any:
        of = key(*args, **keys)
        if of not in known:
            known[of] = real(*args, **keys)
        return known[of]

    return remembered
