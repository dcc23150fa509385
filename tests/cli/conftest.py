"""One small part, its cases, and one run of the check that the tests share."""

import pytest
from click.testing import CliRunner

from clearance.cli.main import main

CASE = """\
[part]
name = "bore"
mesh = "bore.stl"
layer_thickness = 0.5
platform_z = {platform}

[[passage]]
name = "way"
inlet = {{ centre = [0.0, 0.0, 0.0], radius = 3.0 }}
outlet = {{ centre = [0.0, 0.0, 12.0], radius = 3.0 }}
min_clear_diameter = 5.0

[grid]
pitch = 0.5
{event}
"""

STRAY = """
[[stray]]
shape = "{shape}"
source = "log"
height = {height}
layers = 2
resume = "height"
penetration = 0.5
resume_shift = [0.0, 0.0]
"""

CASES = {
    # Nothing happened: the part conforms.
    "whole": CASE.format(platform=0.0, event=""),
    # A solid sheet over the whole section: blocked.
    "cut": CASE.format(platform=0.0, event=STRAY.format(shape="plane", height=6.0)),
    # The first layers lie below the part and nobody says what stood there: undetermined.
    "unsure": CASE.format(platform=-5.0, event=STRAY.format(shape="layer", height=11.0)),
}


@pytest.fixture(scope="session")
def cases(tmp_path_factory):
    """Folder with a block 14 x 14 x 12 with a bore of 6 and the cases whole, cut and unsure."""
    import shapes

    folder = tmp_path_factory.mktemp("cases")
    shapes.write_stl(folder / "bore.stl", shapes.straight_bore(3.0, (14.0, 14.0, 12.0), 24))
    for name, text in CASES.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def run():
    """Run the program in this process."""
    return lambda *words: CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture(scope="session")
def checked(cases, run):
    """The check of the blocked part, its JSON written to a file beside the words."""
    file = cases / "cut.json"
    return run("check", cases / "cut.toml", "--json", file), file
