"""Measure how long the page of `view` takes to open, beside an empty page with the same library.

    python tests/benchmarks/bench_view.py [--runs 5] [PART.html ...]

Processor seconds of all processes of a browser without a screen (chromium) from its start until the
first picture is seen, less those for a blank page; each time a new browser, the pages in turn, the
least of the runs counts, since a busy machine only adds. Without files: the mould insert's page.
Three loads are what a page may take. There are two readings of an empty page with the same library,
both are told: one that draws an empty picture as large, and one that has the library and draws
nothing, not even a place to draw. The browser draws without a graphics card here. Edges are made
smooth a moment after the first picture; that is not part of opening. Then the same by the clock, in
a browser that is open: from the address given until the first picture, the median of the runs but
the first, since a browser has waits of its own. Never a timed test.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from browser import CHROMIUM, SLOWER, TWO_FRAMES, Browser

ROOT = Path(__file__).parent.parent.parent

BLANK = "<!DOCTYPE html><title>blank</title><body></body>"
LIBRARY = "<!DOCTYPE html><title>library</title><body><script>{library}</script></body>"
EMPTY = """<!DOCTYPE html><title>empty</title><body style="margin: 0"><canvas id="c"></canvas>
<script>{library}</script><script>
const drawing = new THREE.WebGLRenderer({{ canvas: document.getElementById("c"), alpha: true }});
drawing.setSize(Math.max(innerWidth - 384, 100), innerHeight);
drawing.render(new THREE.Scene(), new THREE.OrthographicCamera());
</script></body>"""
"""A scene with nothing in it, drawn once, beside as much room for words as the page leaves."""


def opened(page: Path) -> float:
    """Processor seconds from a browser's start until a page's first picture is seen."""
    with tempfile.TemporaryDirectory() as profile, Browser(profile) as browser:
        browser.page("Page.addScriptToEvaluateOnNewDocument", source=SLOWER)
        browser.opens(page.as_uri())
        browser.value(TWO_FRAMES)
        if browser.value("document.body.dataset.fault || ''"):
            raise SystemExit(f"{page.name} has a fault")
        return browser.seconds()


def loaded(pages: list[Path], runs: int) -> list[float]:
    """Seconds from the address given until the first picture, in one browser, the pages in turn."""
    found: list[list[float]] = [[] for _ in pages]
    with tempfile.TemporaryDirectory() as profile, Browser(profile) as browser:
        browser.page("Page.addScriptToEvaluateOnNewDocument", source=SLOWER)
        for _ in range(runs + 1):
            for page, times in zip(pages, found, strict=True):
                browser.opens(page.as_uri())
                times.append(browser.value(f"{TWO_FRAMES}.then(() => performance.now())") * 1e-3)
    return [statistics.median(times[1:]) for times in found]


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
        all_pages = [folder / "blank.html", folder / "library.html", folder / "empty.html", *pages]
        for page, text in zip(all_pages, (BLANK, LIBRARY, EMPTY), strict=False):
            page.write_text(text.format(library=library), encoding="utf-8")
        runs = [[opened(page) for page in all_pages] for _ in range(given.runs)]
        _, bare, drawn, *shown = loaded(all_pages, given.runs)
    nothing, *found = (min(times) for times in zip(*runs, strict=True))
    alone, empty, *found = (max(taken - nothing, 1e-3) for taken in found)
    print(f"processor seconds; a browser with a blank page {nothing:.2f}; more than that:")
    print(f"the library, nothing drawn: {alone:.2f}; with an empty picture: {empty:.2f}")
    for page, taken in zip(pages, found, strict=True):
        whole = taken + nothing
        print(
            f"{page.name}: {taken:.2f}, {taken / empty:.1f} loads of the page with an empty "
            f"picture, {taken / alone:.0f} of the one that draws nothing; with the browser's "
            f"start {whole / (empty + nothing):.1f} and {whole / (alone + nothing):.1f}"
        )
    print(f"seconds in an open browser: the library {bare:.2f}, with an empty picture {drawn:.2f}")
    for page, seconds in zip(pages, shown, strict=True):
        print(f"{page.name}: {seconds:.2f}, {seconds / drawn:.1f} and {seconds / bare:.1f} loads")


if __name__ == "__main__":
    main()
