"""plate.html, the platform with links, and with --pages each part to turn in the hand."""

import base64
import hashlib
import html
import re
from urllib.parse import unquote
from xml.etree import ElementTree

import plates
import pytest

from clearance.figures.style import MARKS
from clearance.plates.folder import Folder
from clearance.plates.page import plate_page
from clearance.view.page import named


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Two equal upright bores and a leaning one that is sealed."""
    folder = tmp_path_factory.mktemp("plate")
    plates.write_designs(folder)
    parts = [part for part in plates.PARTS if part["name"] in ("S1", "S2", "L1")]
    plate, out = plates.write_plate(folder, parts), folder / "out"
    told = plates.here(plate, out, "--pages", "--no-verify", few_sheets=True)
    assert told.returncode == 3, told.stderr
    return plate, out


def test_every_part_is_drawn_marked_and_linked(made):
    _, out = made
    text = (out / "plate.html").read_text(encoding="utf-8")
    drawing = ElementTree.fromstring(re.search(r"<svg.*?</svg>", text, re.DOTALL)[0])
    links = {link.get("href"): link for link in drawing.iter("a")}
    assert set(links) == {f"parts/{name}.pdf" for name in ("S1", "S2", "L1")}
    for entry in plates.summary(out)["parts"]:
        words = "".join(links[f"parts/{entry['name']}.pdf"].itertext())
        assert f"{entry['name']}: {entry['recommendation']}" in words
        assert f"{MARKS[entry['recommendation']][0]} " in words
    for target in re.findall(r'href="(parts/[^"]*)"', text):
        assert (out / target).is_file(), target
    assert 'href="parts/L1.html"' in text


def test_a_part_stands_where_the_plate_file_has_it(made):
    """L1 at (50, 50), 24 x 14 mm, turned by 180 degrees; +y is up, so on the screen -y."""
    _, out = made
    text = (out / "plate.html").read_text(encoding="utf-8")
    path = re.search(r'href="parts/L1.pdf".*?<path d="(.*?)"', text, re.DOTALL)[1]
    places = [tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path)]
    across, up = zip(*places, strict=True)
    assert (min(across), max(across)) == pytest.approx((38.0, 62.0), abs=0.01)
    assert (min(up), max(up)) == pytest.approx((-57.0, -43.0), abs=0.01)


def test_it_runs_nothing_and_fetches_nothing(made):
    _, out = made
    text = (out / "plate.html").read_text(encoding="utf-8")
    policy = html.unescape(re.search(r'Security-Policy" content="(.*?)">', text)[1])
    assert policy.startswith("default-src 'none'")
    assert "script" not in policy + text
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)[1]
    known = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"'sha256-{known}'" in policy
    assert not re.search(r"\w+://|style=|\son\w+=", text)


NAMES = (
    "<img src=x onerror=alert(1)>",
    "a b #1 100% & 'x'",
    '"></script></title></svg><b>',
    "\u202etrap",
    "\u05d0\u05d1 2",
    "W" * 200,
    *(f"part {n}" for n in range(94)),
)


def test_names_of_any_kind_are_text_and_their_links_lead_to_their_files():
    """A hundred parts, overlapping, some failed, one of which nothing is known."""
    marks = tuple(MARKS)
    parts = [
        {
            "name": name,
            "recommendation": marks[n % len(marks)],
            "finding": "why <b>not</b> 5 mm2",
            "result": None if marks[n % len(marks)] in ("error", "no verdict") else "there",
            "at_mm": [10.0 * (n % 10), 10.0 * (n // 10)],
            "turn_deg": 7.0 * n,
        }
        for n, name in enumerate(NAMES)
    ]
    boxes = {name: ((-8.0, -5.0), (8.0, 5.0)) for name in NAMES[:-1]}
    data = {
        "plate": "<b>&", "size_mm": [200.0, 200.0], "parts": parts, "hold": list(NAMES),
        "cautions": ["<i>care"], "program": "clearance",
    }  # fmt: skip
    text = plate_page(data, {}, boxes, NAMES).decode()
    body = re.search(r"<body>.*</body>", text, re.DOTALL)[0]
    tree = ElementTree.fromstring(body)  # well formed, so nothing was ended or begun by a name
    known = {"body", "header", "h1", "p", "svg", "title", "path", "a", "g", "text", "table",
             "thead", "tbody", "tr", "th", "td", "footer"}  # fmt: skip
    assert {one.tag for one in tree.iter()} == known
    assert not [key for one in tree.iter() for key in one.keys() if key.startswith("on")]
    rows = [["".join(cell.itertext()) for cell in row] for row in tree.find("table/tbody")]
    assert [row[1] for row in rows] == list(NAMES)
    links = {unquote(one.get("href")) for one in tree.iter("a")}
    done = [part["name"] for part in parts if part["result"]]
    assert links == {f"parts/{name}.{kind}" for name in done for kind in ("pdf", "html")}
    assert not any(set("#? <>\"'") & set(one.get("href")) for one in tree.iter("a"))


def test_equal_parts_have_pages_under_their_own_names(made):
    _, out = made
    one, other = ((out / f"parts/{name}.html").read_bytes() for name in ("S1", "S2"))
    assert one != other
    assert named(one, "S2") == other
    assert b"<title>S1</title>" in one
    assert b"<h1>S1</h1>" in one


def test_a_name_stays_text_when_a_page_gets_it():
    page = b"<title>a</title><h1>a</h1>"
    assert named(page, r"<b>\1 & co") == (
        b"<title>&lt;b&gt;\\1 &amp; co</title><h1>&lt;b&gt;\\1 &amp; co</h1>"
    )


def test_a_damaged_page_is_made_again_and_whole_ones_are_kept(made):
    plate, out = made
    good = plates.timeless(out)
    (out / "parts/L1.html").write_bytes(b"")
    again = plates.here(plate, out, "--pages", "--no-verify", few_sheets=True)
    assert len(again.computed) == 1
    assert plates.timeless(out) == good


def test_a_part_without_a_page_keeps_none_of_an_earlier_run(tmp_path):
    with Folder(tmp_path) as folder:
        data = {"plate": {"inputs_sha256": "key"}}
        folder.put("a", data, b"sheet", b"page")
        assert folder.stored("a", "key")["plate"]["page_sha256"]
        folder.put("a", data, b"sheet")
        assert not folder.page("a").exists()
        assert folder.stored("a", "key")["plate"]["page_sha256"] is None
