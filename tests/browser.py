"""A real browser without a screen: Debian's chromium, where there is one, which fetches nothing.

One process is asked for page after page over a pipe, in the words of the browser's own protocol
for debuggers, which needs no port and no library.
"""

import base64
import io
import itertools
import json
import os
import shutil
import subprocess

from matplotlib.image import imread

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = [
    "--headless", "--no-sandbox", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--use-gl=angle",
    "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
    "--host-resolver-rules=MAP * ~NOTFOUND", "--window-size=900,600",
]  # fmt: skip
TWO_FRAMES = "new Promise((told) => requestAnimationFrame(() => requestAnimationFrame(told)))"
"""By then what was drawn is seen."""
SLOWER = "{ const own = setTimeout; setTimeout = (what, ms) => own(what, 1000 * ms); }"
"""A script before all others: what comes a moment after the first picture does not come."""


class Browser:
    """A browser with one page, to be used in a `with`."""

    def __init__(self, profile):
        asked, self._ask = os.pipe()
        self._told, tell = os.pipe()

        def ends():
            # Copied first: either may itself be 3 or 4, where the protocol has them.
            for end, place in [(os.dup(asked), 3), (os.dup(tell), 4)]:
                os.dup2(end, place)

        words = [CHROMIUM, *QUIET, "--remote-debugging-pipe", f"--user-data-dir={profile}"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self._process = subprocess.Popen(
            [*words, "about:blank"], preexec_fn=ends, close_fds=False, **quiet
        )
        for end in (asked, tell):
            os.close(end)
        self._number, self._left, self._events = itertools.count(1), b"", []
        targets = self.browser("Target.getTargets")["targetInfos"]
        page = next(one["targetId"] for one in targets if one["type"] == "page")
        attached = self.browser("Target.attachToTarget", targetId=page, flatten=True)
        self._session = attached["sessionId"]
        self.page("Page.enable")

    def __enter__(self):
        return self

    def __exit__(self, *fault):
        self.browser("Browser.close")
        self._process.wait(60)
        os.close(self._ask)
        os.close(self._told)

    def browser(self, method, **what):
        """Ask the browser."""
        return self._answer({"method": method, "params": what})

    def page(self, method, **what):
        """Ask the page."""
        return self._answer({"method": method, "params": what, "sessionId": self._session})

    def opens(self, address):
        """Load another page, to the end of its scripts."""
        self._events.clear()
        self.page("Page.navigate", url=address)
        while not any(one.get("method") == "Page.loadEventFired" for one in self._events):
            self._events.append(self._next())

    def value(self, script):
        """What a script in the page comes to."""
        words = {"expression": script, "awaitPromise": True, "returnByValue": True}
        answer = self.page("Runtime.evaluate", **words)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def key(self, name, code):
        """Press a key and let go of it."""
        for kind in ("rawKeyDown", "keyUp"):
            self.page(
                "Input.dispatchKeyEvent", type=kind, key=name, code=name, windowsVirtualKeyCode=code
            )

    def picture(self):
        """What is seen, (rows, columns, 3) of 0 to 1."""
        data = self.page("Page.captureScreenshot")["data"]
        return imread(io.BytesIO(base64.b64decode(data)))[..., :3]

    def seconds(self):
        """Processor time of all its processes since it began."""
        told = self.browser("SystemInfo.getProcessInfo")["processInfo"]
        return sum(one["cpuTime"] for one in told)

    def _answer(self, asked):
        number = next(self._number)
        os.write(self._ask, json.dumps({"id": number, **asked}).encode() + b"\0")
        while (told := self._next()).get("id") != number:
            self._events.append(told)
        assert "error" not in told, told
        return told["result"]

    def _next(self):
        while b"\0" not in self._left:
            more = os.read(self._told, 1 << 20)
            assert more, "the browser ended"
            self._left += more
        one, self._left = self._left.split(b"\0", 1)
        return json.loads(one)
