"""Measure how long the page of `view` takes to open, beside an empty page with the same library.

    python tests/benchmarks/bench_view.py [--runs 5] [PART.html ...]

In a browser without a screen and without a graphics card (chromium), from the address given until
a picture of what is seen is had: processor seconds of all its processes, until nothing is left to
do, and seconds by the clock. First in a new browser each time, which has yet to make ready what it
draws with; then by the clock again in one that has had the page before. The pages in turn,
medians. Without files: the mould insert's page. Three loads are what a page may take. There are
two readings of an empty page with the same library: one that draws an empty picture as large, and
one that has the library and draws nothing, not even a place to draw. Both are told, and so is a
blank page, since to open anything takes something. What the page does a moment after its first
picture (all triangles, smooth edges) is not part of opening. Never a timed test.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
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

SETTLED = 1.0
"""Seconds after which a browser has nothing left to do."""


def opened(page: Path) -> tuple[float, float]:
    """Seconds from the address given until a page is seen, in a new browser: processor, clock."""
    with tempfile.TemporaryDirectory() as profile, Browser(profile) as browser:
        browser.page("Page.addScriptToEvaluateOnNewDocument", source=SLOWER)
        browser.opens("about:blank")
        browser.picture()
        time.sleep(SETTLED)
        before = browser.seconds()
        clock = seen(browser, page)
        time.sleep(SETTLED)
        if browser.value("document.body.dataset.fault || ''"):
            raise SystemExit(f"{page.name} has a fault")
        return browser.seconds() - before, clock


def seen(browser: Browser, page: Path) -> float:
    """Seconds by the clock: asked for after two frames, a picture waits for what is drawn."""
    begin = time.monotonic()
    browser.opens(page.as_uri())
    browser.value(TWO_FRAMES)
    browser.picture()
    return time.monotonic() - begin


def again(pages: list[Path], runs: int) -> list[list[float]]:
    """Seconds by the clock in one browser, the pages in turn; the first turn is left out."""
    found: list[list[float]] = [[] for _ in pages]
    with tempfile.TemporaryDirectory() as profile, Browser(profile) as browser:
        browser.page("Page.addScriptToEvaluateOnNewDocument", source=SLOWER)
        for _ in range(runs + 1):
            for page, times in zip(pages, found, strict=True):
                times.append(seen(browser, page))
    return [times[1:] for times in found]


def told(pages: list[Path], what: str, times: list[list[float]]) -> None:
    """Print medians, and how many loads of either empty page each page takes."""
    blank, library, empty, *rest = (statistics.median(one) for one in times)
    print(f"{what}: blank page {blank:.2f}, the library {library:.2f}, empty picture {empty:.2f}")
    for page, taken in zip(pages, rest, strict=True):
        less = f" ({(taken - blank) / (empty - blank):.1f} less what a blank page takes)"
        print(
            f"  {page.name}: {taken:.2f}, {taken / empty:.1f} loads of the page with an empty "
            f"picture{less if empty > 2 * blank else ''}, {taken / library:.1f} of the one that "
            "draws nothing"
        )


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
        each = [list(zip(*one, strict=True)) for one in zip(*runs, strict=True)]
        told(pages, "processor seconds, new browser", [list(one[0]) for one in each])
        told(pages, "seconds by the clock, new browser", [list(one[1]) for one in each])
        told(pages, "seconds by the clock, open browser", again(all_pages, given.runs))


if __name__ == "__main__":
    main()
