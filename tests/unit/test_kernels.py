"""Where compiled kernels are kept, and that a first run can be told."""

import os
import stat
import tempfile

import clearance
from clearance import columns, kernels


def test_without_a_folder_to_write_to_kernels_are_kept_in_a_private_one(tmp_path, monkeypatch):
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setattr(tempfile, "gettempdir", lambda: str(tmp_path))
    monkeypatch.setattr(os, "access", lambda *_: False)
    clearance._keep_compiled_kernels()
    own = tmp_path / f"clearance-{os.getuid()}"
    assert os.environ["NUMBA_CACHE_DIR"] == str(own)
    assert stat.S_IMODE(own.stat().st_mode) == 0o700


def test_a_folder_open_to_others_is_not_used(tmp_path, monkeypatch):
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setattr(tempfile, "gettempdir", lambda: str(tmp_path))
    monkeypatch.setattr(os, "access", lambda *_: False)
    (tmp_path / f"clearance-{os.getuid()}").mkdir()
    (tmp_path / f"clearance-{os.getuid()}").chmod(0o777)
    clearance._keep_compiled_kernels()
    assert "NUMBA_CACHE_DIR" not in os.environ


def test_a_writable_folder_is_left_to_the_compiler(monkeypatch):
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    clearance._keep_compiled_kernels()
    assert "NUMBA_CACHE_DIR" not in os.environ


def test_a_first_run_is_told(monkeypatch):
    file = columns._crossings._cache._cache_file
    monkeypatch.setattr(file, "_load_index", dict)
    assert not kernels.compiled()
    monkeypatch.setattr(file, "_load_index", lambda: {"signature": "kernel"})
    assert kernels.compiled()
