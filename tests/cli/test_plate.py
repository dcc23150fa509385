"""`clearance plate`: results, what is computed again, and what a user or a machine can do to it."""

import csv
import json
import math
import os
import select
import shutil
import signal
import subprocess
import time
from functools import partial
from pathlib import Path

import jsonschema
import pdf
import plates
import pytest

from clearance.case.plate import read_plate
from clearance.plates import run as spine
from clearance.plates import summary as summing
from clearance.plates.folder import Folder
from clearance.plates.members import beyond_platform, members
from clearance.result.schema import schemas
from clearance.system.processes import Outcome

CASES = Path(__file__).parent.parent.parent / "cases"
FEW = ("S1", "L3")
POSIX = pytest.mark.skipif(os.name != "posix", reason="signals and limits of POSIX")
PROC = pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks into /proc")


here = partial(plates.here, few_sheets=True)
"""Sheets are looked at in test_plate_labels.py; here the upright design's, from a process too."""


@pytest.fixture(scope="session")
def small(tmp_path_factory):
    """Folder with the designs and the plate of five parts."""
    folder = tmp_path_factory.mktemp("small")
    plates.write_designs(folder)
    plates.write_plate(folder, plates.PARTS)
    return folder


@pytest.fixture(scope="session")
def done(small):
    """One undisturbed run: what the program said, and its folder."""
    out = small / "done"
    return here(small / "plate.toml", out), out


@pytest.fixture(scope="session")
def few(small):
    """The plate with two of its parts, which are different."""
    parts = [part for part in plates.PARTS if part["name"] in FEW]
    return plates.write_plate(small, parts, "few.toml")


def of_few(out):
    """Results of these two parts, without times, by file."""
    found = plates.timeless(out)
    names = [f"parts/{name}.{kind}" for name in FEW for kind in ("json", "pdf")]
    return {name: found[name] for name in names}


@pytest.fixture
def copy(small, done, tmp_path):
    """Copy of plate and results, to be changed."""
    shutil.copytree(small, tmp_path / "copy")
    return tmp_path / "copy"


def states(out):
    return {
        entry["name"]: entry["worst_passage"] and entry["worst_passage"]["state"]
        for entry in plates.summary(out)["parts"]
    }


# ---- results ---------------------------------------------------------------------------------


def test_every_part_gets_its_verdict(done):
    found, out = done
    assert found.returncode == 3, found.stderr
    expected = {"S1": "open", "S2": "open", "L1": "blocked", "L2": "open", "L3": "blocked"}
    assert states(out) == expected  # analytic: see plates.PARTS
    data = plates.summary(out)
    assert data["exit_status"] == 3
    assert sum(data["counts"].values()) == 5
    for entry in data["parts"]:
        assert entry["result"] == f"parts/{entry['name']}.json"
        assert json.loads((out / entry["result"]).read_text())["part"] == entry["name"]
        assert (out / "parts" / f"{entry['name']}.pdf").read_bytes().startswith(b"%PDF")
        assert entry["seconds"] > 0.0


def test_a_line_for_each_part_and_the_gravest_first(done):
    found, _ = done
    ended = [line.split(":")[0] for line in found.stderr.splitlines() if " s)" in line]
    assert sorted(ended) == ["L1", "L2", "L3", "S1", "S2"]
    assert "5 parts to compute, 4 of them different" in found.stderr
    head, table, after, _ = found.stdout.split("\n\n")
    assert head.startswith("plate small: HOLD ")
    assert "2 wrong layers (0 to 1) at z 6, " in " ".join(head.split())
    rows = [line.split()[0] for line in table.splitlines() if not line.startswith(" ")]
    assert sorted(rows) == ["L1", "L2", "L3", "S1", "S2"]
    assert rows[:2] == ["L1", "L3"]
    assert all(f"{name}" in after for name in rows)  # half built at the stop: go on, or decide
    assert " % built; " in after
    assert "\r" not in found.stderr + found.stdout


def test_a_part_is_judged_as_alone(done, small, tmp_path, run):
    _, out = done
    event = plates.HEAD.split("\n\n", 1)[1].format(height=6.0)
    case = small / "alone.toml"
    case.write_text((small / "leaning.toml").read_text() + event)
    alone = run("check", case, "--json", "-")
    found = json.loads((out / "parts" / "L1.json").read_text())
    assert json.loads(alone.stdout)["passages"] == found["passages"]


def test_metal_that_is_in_the_parts_at_the_stop(done):
    _, out = done
    by_name = {entry["name"]: entry for entry in plates.summary(out)["parts"]}
    bore = 0.5 * 24 * 9.0 * math.sin(2 * math.pi / 24)  # analytic: a polygon of 24 corners
    for name in ("S1", "S2"):
        entry = by_name[name]
        assert entry["height_at_event_mm"] == pytest.approx(6.0)  # of 12
        assert entry["metal_at_event_mm3"] == pytest.approx((14 * 14 - bore) * 6.0, rel=0.02)
        assert entry["mass_at_event_g"] == pytest.approx(entry["metal_at_event_mm3"] * 8e-3)
    # A part that got no stray layer stood as high when the machine stopped.
    assert by_name["L2"]["height_at_event_mm"] == pytest.approx(6.0)
    assert by_name["L2"]["metal_at_event_mm3"] < 0.6 * by_name["L2"]["metal_mm3"]


def test_table_holds_what_the_json_holds(done):
    _, out = done
    with open(out / "plate.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for row, entry in zip(rows, plates.summary(out)["parts"], strict=True):
        assert row["name"] == entry["name"]
        assert row["recommendation"] == entry["recommendation"]
        assert row["state"] == entry["worst_passage"]["state"]
        assert [float(row["x_mm"]), float(row["y_mm"])] == entry["at_mm"]
        assert float(row["mass_at_event_g"]) == entry["mass_at_event_g"]


def test_map_and_a_page_for_each_result_that_does_not_conform(done):
    _, out = done
    pages = [page.text for page in pdf.pages(out / "plate.pdf")]
    assert len(pages) == 4  # the map, the table, L1, L3: equal parts share a section
    for name in ("S1", "S2", "L1", "L2", "L3"):
        assert name in pages[0]
        assert name in pages[1]
    assert "\nL1:" in pages[2]
    assert "heat treatment or drilling" in " ".join(pages[0].split())


# ---- run again -------------------------------------------------------------------------------


def test_unchanged_parts_are_skipped_and_nothing_is_written(done, small):
    _, out = done
    before = {path: path.stat().st_mtime_ns for path in out.rglob("*")}
    again = here(small / "plate.toml", out)
    assert again.returncode == 3
    assert "5 parts are unchanged" in again.stderr
    assert " s)" not in again.stderr
    assert {path: path.stat().st_mtime_ns for path in out.rglob("*")} == before


def test_only_what_changed_is_computed_and_equal_parts_are_copied(copy):
    mesh = (copy / "leaning.stl").read_bytes()
    (copy / "leaning.stl").write_bytes(b"other header".ljust(80) + mesh[80:])
    more = {"name": "S3", "case": "straight.toml", "x": 50, "y": -50, "turn": 30}
    kept = [p for p in plates.PARTS if p["name"] != "L2"]
    changed = [{**p, "more": "layers = 0"} if p["name"] == "L3" else p for p in kept]
    plate = plates.write_plate(copy, [*changed, more])
    again = here(plate, copy / "done")
    ended = [line.split(":")[0] for line in again.stderr.splitlines() if " s)" in line]
    assert sorted(ended) == ["L1", "L3"]
    assert "2 parts are unchanged" in again.stderr
    assert "S3: " in again.stderr  # equal to S1: written, not computed
    one, copied = (
        json.loads((copy / "done/parts" / f"{n}.json").read_text()) for n in ("S1", "S3")
    )
    assert one["plate"].pop("label")["name"] == "S1"
    assert copied["plate"].pop("label")["name"] == "S3"
    for name in ("data_sha256", "sheet_sha256"):  # the label is in them
        assert one["plate"].pop(name) != copied["plate"].pop(name)
    assert {**one, "part": "S3"} == copied
    plates.whole(copy / "done")


def test_bad_cases_leave_no_old_result_and_do_not_stop_the_others(copy):
    (copy / "leaning.toml").write_text("[part]\nname = 3\n")
    off = (copy / "straight.toml").read_text().replace("[0.0, 0.0, 0.0]", "[0.0, 0.0, 6.0]")
    (copy / "off.toml").write_text(off)
    parts = [{**p, "case": "off.toml"} if p["name"] == "S2" else p for p in plates.PARTS]
    again = here(plates.write_plate(copy, parts), copy / "done")
    assert again.returncode == 2
    by_name = {entry["name"]: entry for entry in plates.summary(copy / "done")["parts"]}
    assert by_name["S1"]["worst_passage"]["state"] == "open"
    for name, file in (("L1", "leaning.toml"), ("S2", "off.toml")):  # found at once, by the check
        entry = by_name[name]
        assert entry["recommendation"] == "error"
        assert file in entry["reasons"][0]
        assert entry["result"] is None
        assert entry["worst_passage"] is None
        assert not (copy / "done/parts" / f"{name}.json").exists()
    assert "Traceback" not in again.stderr


def test_a_torn_result_counts_for_nothing(copy):
    result = copy / "done/parts/L3.json"
    whole = result.read_bytes()
    result.write_bytes(whole[: len(whole) // 2])
    (copy / "done/parts/.clearance-77.tmp").write_bytes(b"left by a run that was killed")
    plate = read_plate(copy / "plate.toml")
    todo = []

    def spread(jobs):
        todo.extend(jobs)
        raise InterruptedError
        yield

    with Folder(copy / "done") as folder, pytest.raises(InterruptedError):
        spine.run(plate, members(plate), folder, spread)
    assert [job.payload.case.part.name for job in todo] == ["leaning"]
    assert todo[0].payload.case.stray[0].layers_high == 1
    assert not list((copy / "done").rglob("*.tmp"))
    assert not (copy / "done/plate.json").exists()  # it no longer holds


# ---- what a user can get wrong ---------------------------------------------------------------


def test_bad_plate_file_writes_nothing(small, tmp_path):
    plate = small / "wrong.toml"
    plate.write_text((small / "plate.toml").read_text().replace("size", "sizes"))
    found = here(plate, tmp_path / "out")
    assert found.returncode == 2
    assert "did you mean size?" in found.stderr
    assert not (tmp_path / "out").exists()


def test_a_slice_above_every_part_is_an_error_of_the_plate(small, tmp_path):
    plate = small / "beyond.toml"
    text = (small / "plate.toml").read_text()
    plate.write_text(text.replace("from_layer = 0", "from_layer = 24"))
    found = here(plate, tmp_path / "out")
    assert found.returncode == 2
    assert "from_layer: found 24, expected at most 23" in found.stderr


@pytest.mark.parametrize("where", ["plate.toml", "plate.toml/out"])
def test_a_folder_that_cannot_be_made(small, where):
    found = here(small / "plate.toml", small / where)
    assert found.returncode == 2
    assert "cannot be written" in found.stderr
    assert "Traceback" not in found.stderr


def test_two_runs_do_not_share_a_folder(copy):
    before = plates.timeless(copy / "done")
    with Folder(copy / "done"):
        found = here(copy / "plate.toml", copy / "done")
    assert found.returncode == 2
    assert "another run" in found.stderr
    assert plates.timeless(copy / "done") == before


@POSIX
def test_a_full_disk_is_a_clear_error(done, small, tmp_path):
    """In this process, where the run before has compiled and loaded all that would be kept."""
    import resource

    plate = plates.write_plate(small, plates.PARTS[:1], "room.toml")
    room = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (9000, room[1]))
    try:
        found = here(plate, tmp_path / "out")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, room)
    assert found.returncode == 2
    assert "cannot be written: File too large" in found.stderr
    assert "Traceback" not in found.stderr
    plates.whole(tmp_path / "out")
    assert not list((tmp_path / "out").rglob("*.tmp"))


@pytest.mark.parametrize("words", [["--jobs", "0"], ["--jobs", "2", "--cluster", "tcp://h:1"]])
def test_usage_errors(small, tmp_path, run, words):
    found = run("plate", small / "plate.toml", "--out", tmp_path / "out", *words)
    assert found.exit_code == 2
    assert "Error: " in found.stderr
    assert not (tmp_path / "out").exists()


def test_a_part_beside_the_platform_is_named(small, tmp_path):
    plate = plates.write_plate(
        small, [{**plates.PARTS[0], "x": 94}, {**plates.PARTS[1], "x": 93}], "edge.toml"
    )
    found = members(read_plate(plate))
    # Analytic: half the platform is 100 mm, half the part 7 mm.
    assert len(beyond_platform(read_plate(plate), found)) == 1


# ---- what a machine can do -------------------------------------------------------------------


def test_how_a_job_ended_decides_the_status(small, tmp_path):
    plate = read_plate(small / "plate.toml")
    found = members(plate)
    outcomes = [
        Outcome("killed", text="out of memory"),
        Outcome("crashed", text="the program failed"),
        Outcome("refused", text="mend this"),
    ]

    def spread(jobs):
        yield from zip(jobs[: len(outcomes)], outcomes, strict=True)

    with Folder(tmp_path / "out") as folder:
        chosen = [found[0], found[2], found[3]]
        summary = spine.run(plate, chosen, folder, spread)
    entries = summary.data["parts"]
    assert [e["recommendation"] for e in entries] == ["undetermined", "no verdict", "error"]
    assert [e["exit_status"] for e in entries] == [4, 1, 2]
    assert [e["reasons"] for e in entries] == [[o.text] for o in outcomes]
    written = json.loads(json.dumps({**summary.data, "map_sha256": ""}))
    jsonschema.validate(written, schemas()["plate.schema.json"])
    assert summary.exit_status == 1
    assert not list((tmp_path / "out/parts").iterdir())


def test_what_a_plate_writes_is_as_its_schemas_say(done):
    known, (_, out) = schemas(), done
    data = plates.summary(out)
    jsonschema.validate(data, known["plate.schema.json"])
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**data, "map": ""}, known["plate.schema.json"])
    # The schema itself is checked once: it takes longer than a part's file.
    of_part = jsonschema.validators.validator_for(known["plate-part.schema.json"])
    of_part.check_schema(known["plate-part.schema.json"])
    valid = of_part(known["plate-part.schema.json"])
    for path in (out / "parts").glob("*.json"):
        part = json.loads(path.read_text(encoding="utf-8"))
        valid.validate(part)
        assert part["plate"]["inputs_sha256"] in [e["inputs_sha256"] for e in data["parts"]]


@pytest.mark.parametrize(
    ("statuses", "gravest"),
    [({0, 4}, 4), ({3, 4, 0}, 3), ({2, 3}, 2), ({1, 2, 3, 4, 0}, 1), ({0}, 0)],
)
def test_the_gravest_status(statuses, gravest):
    assert next(s for s in summing.STATUS_GRAVITY if s in statuses) == gravest


def test_scrap_that_is_not_complete_need_not_be_built_on():
    def entry(name, word, begun):
        return {
            "name": name, "recommendation": word, "metal_mm3": 100.0, "metal_at_event_mm3": begun,
            "mass_g": 1.0, "mass_at_event_g": begun / 100.0,
        }  # fmt: skip

    rows = [entry("a", "scrap", 40.0), entry("b", "scrap", 100.0), entry("c", "rework", 40.0)]
    found = summing.stop_building(rows)
    assert found == {"parts": ["a"], "metal_left_mm3": 60.0, "mass_left_g": 0.6}  # analytic


def wait_for(condition, seconds=60.0):
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.01)


@pytest.fixture(scope="module")
def troubled(few, tmp_path_factory):
    """One run in processes, on a terminal: its first worker is killed as soon as it is there, and
    once a part is done the whole is interrupted. Its exit status, what it showed, its folder.
    """
    import pty

    out = tmp_path_factory.mktemp("troubled") / "out"
    ours, theirs = pty.openpty()
    words = ["--jobs", 1]
    options = {"program": plates.FEW_SHEETS, "stderr": theirs, "start_new_session": True}
    process = plates.run(few, out, *words, wait=False, **options)
    os.close(theirs)
    wait_for(lambda: plates.children(process.pid))
    os.kill(plates.children(process.pid)[0], signal.SIGKILL)
    shown, asked = b"", False
    while True:
        if not asked and list((out / "parts").glob("*.json")):
            os.killpg(process.pid, signal.SIGINT)  # as a terminal does: parent and workers
            asked = True
        if not select.select([ours], [], [], 0.01)[0]:
            continue
        try:
            piece = os.read(ours, 4096)
        except OSError:  # the other end has gone
            break
        if not piece:
            break
        shown += piece
    os.close(ours)
    process.communicate(timeout=30)
    return process.returncode, shown, out


@POSIX
@PROC
def test_progress_on_a_terminal(troubled):
    _, shown, _ = troubled
    assert b"\rreading the cases" in shown
    assert b"0 of 2 parts" in shown
    assert b"1 of 2 parts" in shown
    assert b"\n" not in shown.replace(b"\r\n", b"")


@POSIX
@PROC
def test_interrupt_and_a_killed_worker_cost_nothing_but_time(troubled, done, few):
    """That the job of the killed one is begun again is tested in tests/unit/test_batch.py."""
    status, shown, out = troubled
    assert status == 1
    assert b"kept" in shown
    assert b"Traceback" not in shown
    plates.whole(out)
    assert len(list((out / "parts").glob("*.json"))) == 1
    assert not (out / "plate.json").exists()
    again = here(few, out)
    assert "1 part is unchanged" in again.stderr
    assert len(again.computed) == 1
    assert of_few(out) == of_few(done[1])


# ---- slow ------------------------------------------------------------------------------------


@pytest.mark.more
def test_shipped_plate_with_a_bad_part(tmp_path):
    found = plates.run(CASES / "plate-bad-part" / "plate.toml", tmp_path / "out")
    assert found.returncode == 2
    by_name = {entry["name"]: entry for entry in plates.summary(tmp_path / "out")["parts"]}
    assert by_name["bad"]["recommendation"] == "error"
    assert "bad-port.toml" in by_name["bad"]["reasons"][0]
    assert (
        by_name["good"]["worst_passage"]["state"] == "blocked"
    )  # cases/distributor, the same event
    assert by_name["good"]["reasons"] == by_name["good-too"]["reasons"]


def test_the_shipped_plate_of_twelve_is_read():
    found = members(read_plate(CASES / "plate-of-twelve" / "plate.toml"))
    assert len(found) == 12


@pytest.mark.more
def test_shipped_plate_of_twelve(tmp_path):
    out = tmp_path / "out"
    found = plates.run(CASES / "plate-of-twelve" / "plate.toml", out)
    assert found.returncode == 3
    assert "12 parts to compute, 5 of them different" in found.stderr
    by_name = {entry["name"]: entry for entry in plates.summary(out)["parts"]}
    assert len(by_name) == 12
    for name in ("B1", "B2", "B3"):  # 40 mm high with their supports: complete below 45
        assert by_name[name]["exit_status"] == 0
        assert by_name[name]["metal_at_event_mm3"] == by_name[name]["metal_mm3"]
    for name in ("D1", "D2", "D3"):  # the feed leans by 7 degrees and more: reasoned in the case
        assert by_name[name]["worst_passage"]["name"] == "feed"
        assert by_name[name]["worst_passage"]["state"] == "blocked"


@pytest.mark.slow
@POSIX
@pytest.mark.benchmark
def test_a_thousand_copies_cost_little_more_than_one(small, tmp_path):
    def copies(count):
        parts = [
            {**plates.PARTS[2], "name": f"P{n}", "x": 30 * (n % 40), "y": 30 * (n // 40)}
            for n in range(count)
        ]
        plate = plates.write_plate(small, parts, f"copies-{count}.toml")
        start = time.monotonic()
        command = [*plates.PROGRAM, "plate", str(plate), "--out", str(tmp_path / str(count))]
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        assert process.returncode == 3
        return time.monotonic() - start, usage.ru_maxrss / 1024.0

    one, many = copies(1), copies(1000)
    writing = 1000 * 0.02  # s: two files a part, synced
    assert many[0] < 3 * one[0] + writing
    assert many[1] < one[1] + 60.0  # MB


@pytest.mark.slow
@pytest.mark.benchmark
@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="needs two processors")
def test_two_processes_are_nearly_twice_as_fast(tmp_path):
    # Twelve different parts: two shipped designs, one to six stray layers.
    parts = [
        {"name": f"{design}{n}", "case": CASES / design / "case.toml", "x": 100 * n - 350, "y": y,
         "turn": 0, "more": f"layers = {n}"}
        for design, y in (("distributor", -60), ("valve-body", 60))
        for n in range(1, 7)
    ]  # fmt: skip
    plate = plates.write_plate(tmp_path, parts, height=30.0)
    seconds = {}
    for jobs in (2, 1):
        start = time.monotonic()
        assert plates.run(plate, tmp_path / str(jobs), "--jobs", jobs).returncode == 3
        seconds[jobs] = time.monotonic() - start
    assert plates.timeless(tmp_path / "1") == plates.timeless(tmp_path / "2")
    assert seconds[1] >= 1.7 * seconds[2], seconds
