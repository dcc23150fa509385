"""A real browser without a screen: Debian's chromium, where there is one, which fetches nothing."""

import shutil

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = [
    "--headless", "--no-sandbox", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--use-gl=angle",
    "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
    "--host-resolver-rules=MAP * ~NOTFOUND", "--window-size=900,600",
]  # fmt: skip
