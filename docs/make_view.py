"""Draw docs/figures/view.png: the page of the mould insert in a browser without a screen.

In: a chromium. Out: the picture. ``python docs/make_view.py``
"""

import shutil
import subprocess
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent
WORDS = [
    "--headless", "--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader", "--host-resolver-rules=MAP * ~NOTFOUND",
    "--window-size=1500,950", "--virtual-time-budget=8000",
]  # fmt: skip


def main() -> None:
    from click.testing import CliRunner

    from clearance.cli.main import main as clearance

    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        raise SystemExit("no chromium found")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "part.html"
        case = str(ROOT / "cases/mould-insert/case.toml")
        told = CliRunner().invoke(clearance, ["view", case, "--output", str(file)])
        assert told.exit_code == 0, told.output
        picture = f"--screenshot={ROOT / 'docs/figures/view.png'}"
        subprocess.run(
            [browser, *WORDS, f"--user-data-dir={folder}/profile", picture, file.as_uri()],
            check=True,
        )


if __name__ == "__main__":
    main()
