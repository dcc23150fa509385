"""The page in a real browser without a screen: Debian's chromium, where there is one.

Skipped aloud where there is none; what a browser need not be asked `test_view.py` holds.
"""

import html
import re
import subprocess

import browser
import make
import numpy as np
import pytest
import shapes
from matplotlib.image import imread

from clearance.api import examine
from clearance.case.read import read_case
from clearance.view.page import page
from clearance.view.scene import scene

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(browser.CHROMIUM is None, reason="no chromium: the page was not opened"),
]
NAME = "<img src=x onerror=\"document.body.dataset.fault='ran'\">"


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """Opens the page of a blocked bore, at a place that its address names."""
    folder = tmp_path_factory.mktemp("view")
    solid = shapes.block((-8, -8, 0), (8, 8, 10)) - shapes.bore((0, 0, 4.05), (0, 0, 11), 2)
    solid -= shapes.bore((0, 0, -1), (0, 0, 4.1), 2)
    path = make.write_case(
        folder,
        solid,
        make.passage((0, 0, 0), (0, 0, 10), 2.0, 3.0, name=NAME),
        make.plane(5.0),
        pitch=0.4,
    )
    shown = folder / "part.html"
    shown.write_bytes(page(scene(examine(read_case(path), verify=False))))

    def at(place, *words):
        run = [browser.CHROMIUM, *browser.QUIET, "--virtual-time-budget=1000"]
        run += [f"--user-data-dir={folder / 'profile'}", *words]
        address = f"{shown.as_uri()}#{place}"
        return subprocess.run([*run, address], capture_output=True, timeout=300, check=True).stdout

    def picture(place):
        file = folder / "picture.png"
        at(place, f"--screenshot={file}")
        return imread(file)[..., :3]

    at.picture = picture
    at.folder = folder
    return at


def test_it_loads_without_a_fault_and_asks_nothing(opened):
    """No script failed, and the policy, which forbids every request, had nothing to stop.

    Whatever the address asks for.
    """
    place = "passage=none&from=constructor&hide=valueOf&z=up&crossing=-1"
    seen = opened(place, "--dump-dom").decode()
    body = re.search(r"<body[^>]*>", seen)[0]
    assert 'data-ready="yes"' in body
    assert "data-fault" not in body
    assert html.escape(NAME, quote=False) in seen
    assert "<img" not in seen


def test_it_draws_and_the_controls_change_what_is_drawn(opened):
    """On the left is the picture: neither blank nor the same with less of the part or no names."""
    whole = opened.picture("from=front")[:, :500]
    assert len(np.unique((whole * 255).astype(int).reshape(-1, 3), axis=0)) > 20
    for place in ("from=front&z=3", "from=front&hide=tags", "from=above", "from=front&when=drawn"):
        assert np.abs(opened.picture(place)[:, :500] - whole).max() > 0.2, place
