"""Draw docs/figures/view.png: the page of the mould insert in a browser without a screen.

In: a chromium. Out: the picture. ``python docs/make_view.py``
"""

import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))

WAIT = "new Promise((told) => setTimeout(told, 4000))"
"""Until all triangles are drawn, and edges smooth."""


def main() -> None:
    from browser import CHROMIUM, Browser
    from click.testing import CliRunner
    from matplotlib.image import imsave

    from clearance.cli.main import main as clearance

    if CHROMIUM is None:
        raise SystemExit("no chromium found")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "part.html"
        case = str(ROOT / "cases/mould-insert/case.toml")
        told = CliRunner().invoke(clearance, ["view", case, "--output", str(file)])
        assert told.exit_code == 0, told.output
        with Browser(f"{folder}/profile") as browser:
            size = {"width": 1500, "height": 950, "deviceScaleFactor": 1, "mobile": False}
            browser.page("Emulation.setDeviceMetricsOverride", **size)
            browser.opens(file.as_uri())
            browser.value(WAIT)
            imsave(ROOT / "docs/figures/view.png", browser.picture())


if __name__ == "__main__":
    main()
