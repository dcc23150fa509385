"""Measure how long the page of `view` takes to open, beside an empty page with the same library.

    python tests/benchmarks/bench_view.py [--runs 5] [PART.html ...]

Seconds by the clock of a browser without a screen (chromium) that opens a page and tells its
document, less those for a blank one; the pages in turn, the least of the runs counts, since a busy
machine only adds. Without files: the mould insert's page. Three loads are what a page may take;
the browser draws without a graphics card here. Never a timed test.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from browser import CHROMIUM, QUIET

ROOT = Path(__file__).parent.parent.parent

BLANK = "<!DOCTYPE html><title>blank</title><body data-ready='yes'></body>"
EMPTY = """<!DOCTYPE html><title>empty</title><body>
<canvas id="c" width="600" height="600"></canvas>
<script>{library}</script><script>
const drawing = new THREE.WebGLRenderer({{ canvas: document.getElementById("c") }});
drawing.render(new THREE.Scene(), new THREE.OrthographicCamera());
document.body.dataset.ready = "yes";
</script></body>"""
"""A scene with nothing in it, drawn once."""


def opened(page: Path, profile: Path) -> float:
    """Seconds from the browser's start to its end, with a page that got ready."""
    start = time.perf_counter()
    command = [str(CHROMIUM), *QUIET, "--dump-dom", f"--user-data-dir={profile}", page.as_uri()]
    said = subprocess.run(command, capture_output=True, check=True, timeout=600).stdout.decode()
    taken = time.perf_counter() - start
    if 'data-ready="yes"' not in said:
        raise SystemExit(f"{page.name} did not get ready")
    return taken


def main() -> None:
    """Measure, and print one line a page."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--runs", type=int, default=5)
    options.add_argument("pages", type=Path, nargs="*")
    given = options.parse_args()
    if CHROMIUM is None:
        raise SystemExit("no chromium on this machine")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        pages = [page.resolve() for page in given.pages]
        if not pages:
            pages = [folder / "mould-insert.html"]
            case = ROOT / "cases/mould-insert/case.toml"
            run = [sys.executable, "-m", "clearance", "view", str(case), "--output", str(pages[0])]
            subprocess.run(run, check=False, stdout=subprocess.DEVNULL)
        library = (ROOT / "clearance/view/three.min.js").read_text(encoding="utf-8")
        blank, empty = folder / "blank.html", folder / "empty.html"
        blank.write_text(BLANK, encoding="utf-8")
        empty.write_text(EMPTY.format(library=library), encoding="utf-8")
        all_pages = [blank, empty, *pages]
        for page in all_pages:  # the browser's own files are made, the disk's are read
            opened(page, folder / "profile")
        runs = [[opened(page, folder / "profile") for page in all_pages] for _ in range(given.runs)]
    nothing, floor, *found = (min(times) for times in zip(*runs, strict=True))
    print(f"a blank page {nothing:.2f} s; with the library, nothing drawn: {floor - nothing:.2f} s")
    for page, taken in zip(pages, found, strict=True):
        share = (taken - nothing) / max(floor - nothing, 1e-9)
        print(f"{page.name}: {taken - nothing:.2f} s, {share:.1f} loads of the empty page")


if __name__ == "__main__":
    main()
