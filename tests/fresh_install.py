"""Wheel and sdist are built and installed afresh, and the program is run where little is given.

    .venv/bin/python tests/fresh_install.py

What it depends on is taken from the environment that runs the script, so that nothing but the build
backend is fetched. The conditions: site-packages that cannot be written, no HOME, no entry of the
user in the password file, the C locale, 40 columns, a standard output that is closed. Every run
ends with an answer or with one line on what is wrong, never with a traceback.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import time
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
CASE = "oil-gallery"
NOBODY = """
import pwd
def nobody(key):
    raise KeyError(f"getpwuid(): uid not found: {key}")
pwd.getpwuid = pwd.getpwnam = nobody
"""


def run(*words: object, **keys: object) -> subprocess.CompletedProcess[str]:
    """Run a command; what it says is kept."""
    command = [str(word) for word in words]
    return subprocess.run(command, capture_output=True, text=True, timeout=300, **keys)  # type: ignore[call-overload,no-any-return]


def done(*words: object, **keys: object) -> str:
    """Run a command that has to end well."""
    ran = run(*words, **keys)
    if ran.returncode:
        raise SystemExit(f"{' '.join(map(str, words))}\n{ran.stdout}{ran.stderr}")
    return ran.stdout


def built(folder: Path) -> tuple[Path, Path, dict[str, str]]:
    """Wheel and sdist of a copy without what is ignored, and the environment that builds them."""
    backend, source, dist = folder / "backend", folder / "source", folder / "dist"
    pip = (sys.executable, "-m", "pip", "--disable-pip-version-check", "install", "-q")
    done(*pip, "--target", backend, "hatchling>=1.25")
    here = {**os.environ, "PYTHONPATH": str(backend)}
    done("git", "clone", "-q", ROOT, source)
    done(sys.executable, "-m", "hatchling", "build", "-d", dist, cwd=source, env=here)
    (wheel,), (sdist,) = dist.glob("*.whl"), dist.glob("*.tar.gz")
    return wheel, sdist, here


def installed(folder: Path, archive: Path, building: dict[str, str]) -> Path:
    """A fresh environment with the archive in it; its python."""
    done(sys.executable, "-m", "venv", "--without-pip", folder)
    python = folder / "bin" / "python"
    pip = (sys.executable, "-m", "pip", "--disable-pip-version-check", "--python", python)
    done(*pip, "install", "-q", "--no-deps", "--no-build-isolation", archive, env=building)
    (packages,) = folder.glob("lib/python*/site-packages")
    (packages / "from_the_tests.pth").write_text(sysconfig.get_path("purelib") + "\n")
    return python


def shut(package: Path) -> None:
    """Nothing can be written beside the program; root, whom no mode stops, finds files there."""
    for folder in [package, *(p for p in package.rglob("*") if p.is_dir())]:
        shutil.rmtree(folder / "__pycache__", ignore_errors=True)
    for folder in [package, *(p for p in package.rglob("*") if p.is_dir())]:
        (folder / "__pycache__").write_bytes(b"")
        folder.chmod(0o555)


def bare(folder: Path) -> dict[str, str]:
    """An environment with next to nothing in it."""
    (folder / "nobody").mkdir()
    (folder / "nobody" / "sitecustomize.py").write_text(NOBODY)
    (folder / "tmp").mkdir()
    return {
        "PATH": os.environ["PATH"],
        "LC_ALL": "C",
        "COLUMNS": "40",
        "PYTHONPATH": str(folder / "nobody"),
        "TMPDIR": str(folder / "tmp"),
    }


def expect(ran: subprocess.CompletedProcess[str], statuses: tuple[int, ...], words: str) -> None:
    """Hold a run against what it should have been."""
    said = ran.stdout + ran.stderr
    if ran.returncode not in statuses or words not in said or "Traceback" in said:
        raise SystemExit(f"{ran.args}: exit {ran.returncode}, expected {statuses}\n{said}")
    print(f"  exit {ran.returncode}: {' '.join(ran.args[2:])}")


def main() -> None:
    """Build, install, run."""
    begun = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="clearance-fresh-") as name:
        folder = Path(name)
        wheel, sdist, building = built(folder)
        python = installed(folder / "wheel", wheel, building)
        from_sdist = installed(folder / "sdist", sdist, building)
        own, other = (
            sorted(
                str(p.relative_to(env)) for p in env.rglob("clearance/**/*") if p.suffix != ".pyc"
            )
            for env in (folder / "wheel", folder / "sdist")
        )
        if own != other or not any(p.endswith("case.schema.json") for p in own):
            raise SystemExit(f"wheel and sdist differ: {set(own) ^ set(other)}")
        held = {p for p in zipfile.ZipFile(wheel).namelist() if p.startswith("clearance/")}
        print(f"wheel and sdist hold the same {len(held)} files")
        (package,) = (folder / "wheel").glob("lib/python*/site-packages/clearance")
        shut(package)
        env = bare(folder)
        cases = folder / "cases"
        shutil.copytree(ROOT / "cases" / CASE, cases)
        for one, module in ((from_sdist, "sdist"), (python, "wheel")):
            ran = run(one, "-m", "clearance", "--version", env=env, cwd=cases)
            expect(ran, (0,), "clearance ")
            where = done(
                one, "-c", "import clearance; print(clearance.__file__)", env=env, cwd=cases
            )
            assert f"/{module}/" in where, where
        program = (python, "-m", "clearance")
        expect(run(*program, "check", "none.toml", env=env, cwd=cases), (2,), "error: ")
        expect(run(*program, "mesh", "oil-gallery.stl", env=env, cwd=cases), (0,), "closed")
        expect(run(*program, "check", "case.toml", env=env, cwd=cases), (0,), "open")
        shell = 'exec "$0" "$@" >&-'
        for words in (("--version",), ("check", "case.toml"), ("check", "none.toml")):
            ran = run("sh", "-c", shell, *program, *words, env=env, cwd=cases)
            expect(ran, (0, 1, 2), "")
        for path in [package, *package.rglob("*")]:
            if path.is_dir():
                path.chmod(0o755)
    print(f"fresh installs: {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
