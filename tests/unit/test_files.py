"""Files appear whole or not at all."""

import os
import stat

import pytest

from clearance.errors import ClearanceError
from clearance.system.files import writable, write_all, write_whole


def test_writes_and_replaces(tmp_path):
    file = tmp_path / "out.json"
    for data in (b"first", b"second"):
        write_whole(file, data)
        assert file.read_bytes() == data
    assert list(tmp_path.iterdir()) == [file]


def test_new_file_has_the_rights_of_any_new_file(tmp_path):
    (tmp_path / "plain").write_bytes(b"")
    write_whole(tmp_path / "out", b"x")
    rights = [stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("plain", "out")]
    assert rights[0] == rights[1]


@pytest.mark.parametrize("fault", [KeyboardInterrupt, MemoryError])
def test_old_file_stays_when_writing_ends_early(tmp_path, monkeypatch, fault):
    file = tmp_path / "out.json"
    file.write_bytes(b"old")

    def fail(_):
        raise fault

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(fault):
        write_whole(file, b"new")
    assert list(tmp_path.iterdir()) == [file]
    assert file.read_bytes() == b"old"


def test_full_disk_is_one_message(tmp_path, monkeypatch):
    def fail(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(ClearanceError, match=r"out\.json: cannot be written: No space left"):
        write_whole(tmp_path / "out.json", b"new")
    assert list(tmp_path.iterdir()) == []


def test_link_stays_a_link(tmp_path):
    (tmp_path / "there").mkdir()
    link = tmp_path / "link"
    link.symlink_to(tmp_path / "there" / "out")
    write_whole(link, b"x")
    assert link.is_symlink()
    assert (tmp_path / "there" / "out").read_bytes() == b"x"


@pytest.mark.skipif(not os.path.exists("/dev/null"), reason="no such device")
def test_device_is_written_not_replaced():
    from pathlib import Path

    write_whole(Path("/dev/null"), b"x")
    assert not Path("/dev/null").is_file()


@pytest.mark.parametrize("name", ["", "file/out", "file/none/out", "x" * 300, "a\0b"])
def test_what_cannot_be_written_is_refused_before(tmp_path, name):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(ClearanceError, match="cannot be written"):
        writable(tmp_path / name)


def test_missing_folders_are_made_when_the_file_is_written(tmp_path):
    file = tmp_path / "none" / "yet" / "out.json"
    writable(file)
    assert list(tmp_path.iterdir()) == []
    write_whole(file, b"x")
    assert file.read_bytes() == b"x"


def test_inputs_are_refused_under_any_name(tmp_path):
    file = tmp_path / "case.toml"
    file.write_bytes(b"")
    (tmp_path / "link").symlink_to(file)
    with pytest.raises(ClearanceError, match="input"):
        writable(tmp_path / "link", [file])
    writable(tmp_path / "other", [file])


def test_of_several_files_none_stays_where_one_cannot_be_written(tmp_path):
    """A file that was there keeps its place; new ones go again."""
    (tmp_path / "old").write_bytes(b"before")
    (tmp_path / "file").write_bytes(b"")
    bad = tmp_path / "file" / "b"
    wanted = {tmp_path / "new" / "a": b"1", tmp_path / "old": b"2", bad: b"3"}
    with pytest.raises(ClearanceError, match="cannot be written"):
        write_all(wanted)
    assert not (tmp_path / "new" / "a").exists()
    assert (tmp_path / "old").exists()
    del wanted[bad]
    write_all(wanted)
    assert (tmp_path / "new" / "a").read_bytes() == b"1"
    assert (tmp_path / "old").read_bytes() == b"2"
