"""The page in a real browser without a screen: Debian's chromium, where there is one.

Skipped aloud where there is none; what a browser need not be asked `test_view.py` holds.
"""

import base64
import html
import re
from dataclasses import replace

import browser
import make
import numpy as np
import pypdfium2
import pytest
import shapes

from clearance.api import examine
from clearance.case.read import read_case
from clearance.view.page import page
from clearance.view.scene import Body, scene

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(browser.CHROMIUM is None, reason="no chromium: the page was not opened"),
]
NAME = "<img src=x onerror=\"document.body.dataset.fault='ran'\">"

SCAN = "meshes.find((one) => one.body.kind === 'scan')"
VOLUME = f"""(() => {{
  const {{ index, attributes: {{ position }} }} = {SCAN}.all, at = (k) => new THREE.Vector3()
    .fromBufferAttribute(position, index.array[k]);
  let sum = 0;
  for (let k = 0; k < index.count; k += 3) sum += at(k).dot(at(k + 1).cross(at(k + 2))) / 6;
  return sum;
}})()"""


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """The page of a blocked bore with a finished shape and a scan beside it, seen from the front.

    Each test begins with the page as it opens.
    """
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
    small = shapes.soup(shapes.block((-7, -7, 1), (-4, 7, 9)))
    other = shapes.torus(4.0, 2.0, 115) + np.float32((3, 0, 5))
    there = scene(examine(read_case(path), verify=False))
    more = Body("finished", "finished", "both", small), Body("scan", "scan", "left", other)
    shown = folder / "part.html"
    shown.write_bytes(page(replace(there, bodies=(*there.bodies, *more))))
    with browser.Browser(folder / "profile") as one:
        one.page("Page.addScriptToEvaluateOnNewDocument", source=browser.SLOWER)
        one.address = shown.as_uri()
        yield one


def seen(opened):
    """The drawing, edges not yet smooth, as it stands; left of what is written beside it."""
    opened.value(f"drawNow(false); {browser.TWO_FRAMES}")
    return opened.picture()[:, :500]


def faults(opened):
    return opened.value("document.body.dataset.fault || ''")


def test_it_loads_without_a_fault_and_asks_nothing(opened):
    """No script failed, and the policy, which forbids every request, had nothing to stop."""
    opened.opens(f"{opened.address}#passage=none")
    text = opened.value("document.documentElement.outerHTML")
    body = re.search(r"<body[^>]*>", text)[0]
    assert 'data-ready="yes"' in body
    assert "data-fault" not in body
    assert html.escape(NAME, quote=False) in text
    assert "<img" not in text


def test_it_draws_and_the_controls_change_what_is_drawn(opened):
    """On the left is the picture: neither blank nor the same after any switch."""
    opened.opens("about:blank")
    opened.opens(f"{opened.address}#from=front&z=3&when=drawn&hide=tags")
    asked = seen(opened)
    opened.opens("about:blank")
    opened.opens(f"{opened.address}#from=front")
    whole = seen(opened)
    assert len(np.unique((whole * 255).astype(int).reshape(-1, 3), axis=0)) > 20
    assert np.abs(asked - whole).max() > 0.2
    switch = "document.querySelector('{}').click()"
    for what in ("finished", "scan", "solid", "tags", "stray", "passage", "part"):
        opened.value(switch.format(f"[data-show={what}]"))
        assert np.abs(seen(opened) - whole).max() > 0.05, what
        opened.value(switch.format(f"[data-show={what}]"))
    assert np.abs(seen(opened) - whole).max() < 0.02
    for change in (switch.format("[data-from=above]"), switch.format("[value=drawn]"), "cut(3)"):
        opened.value(change)
        assert np.abs(seen(opened) - whole).max() > 0.2, change
    assert faults(opened) == ""


def test_a_large_body_is_drawn_whole_a_moment_later(opened):
    """What the browser unpacks is the torus: 2 x 115^2 triangles, a volume of 2 pi^2 R r^2."""
    opened.opens("about:blank")
    opened.opens(f"{opened.address}#from=front")
    soon = seen(opened)
    drawn = "renderer.info.render.triangles"
    few = opened.value(drawn)
    opened.value("refine()")
    assert opened.value(drawn) - few == 26450 - opened.value(f"{SCAN}.few.index.count / 3")
    assert opened.value(VOLUME) == pytest.approx(32.0 * np.pi**2, rel=3e-3)
    opened.value("fit(false); renderer.render(scene, camera)")
    assert 0.0 < np.abs(opened.picture()[:, :500] - soon).mean() < 0.01
    assert faults(opened) == ""


def test_every_control_is_named_and_reached_and_keys_turn(opened):
    """Names as a screen reader has them; the canvas takes keys once it has the focus."""
    opened.opens("about:blank")
    opened.opens(f"{opened.address}#from=front")
    told = opened.page("Accessibility.getFullAXTree")["nodes"]
    roles = ("button", "checkbox", "radio", "slider", "spinbutton", "image")
    controls = [one for one in told if one.get("role", {}).get("value") in roles]
    assert len(controls) > 20
    assert all(one["name"]["value"].strip() for one in controls)
    unreached = opened.value(
        "[...document.querySelectorAll('button, input, canvas')].filter((one) => "
        "{ one.focus(); return document.activeElement !== one; }).map((one) => one.outerHTML)"
    )
    assert unreached == []
    opened.value("find('drawing').focus()")
    last = seen(opened)
    for key, code in (("ArrowLeft", 37), ("+", 187), ("PageDown", 34), ("Home", 36)):
        opened.key(key, code)
        now = seen(opened)
        assert np.abs(now - last).max() > 0.1, key
        last = now
    assert faults(opened) == ""


@pytest.mark.more
def test_it_prints_to_one_page_with_its_names_in_place(opened):
    """Shrunk as a whole: what is half across on the screen is half across on paper."""
    opened.opens("about:blank")
    opened.opens(f"{opened.address}#from=above")
    printed = opened.page("Page.printToPDF", landscape=True, preferCSSPageSize=True)["data"]
    document = pypdfium2.PdfDocument(base64.b64decode(printed))
    assert len(document) == 1
    opened.page("Emulation.setEmulatedMedia", media="print")
    shares = (
        "(() => { const a = find('drawing').getBoundingClientRect(), b = find('tags').children[0]"
    )
    shares += (
        ".getBoundingClientRect(); return [(b.x - a.x) / a.width, (b.y - a.y) / a.height]; })()"
    )
    paper = opened.value(shares)
    opened.page("Emulation.setEmulatedMedia", media="")
    screen = opened.value(shares)
    assert paper == pytest.approx(screen, abs=0.01)
