"""Rows of docs/validation.md on scans, from the table of scenes of `tests/validation`.

In: the ways to compare of `make_validation`. Out: rows. The scenes are made scans, of which all is
known: blurred, noisy, turned, as a surface.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import made_scans as m
import numpy as np
import shapes

NOTES = {
    "Scans": "A block of 8 x 7 x 6 mm with a notch and a bore of 3 mm as drawn. Scans are made by "
    "script: voxels of 0.2 to 0.25 mm, blurred, noisy, turned and set aside, as a surface at half "
    "grey; `uncertainty` is 0.08 mm. Holds: the bracket holds the expected value."
}


def scans(number: Any, same: Any, held: Any) -> Iterator[Any]:
    """Registration, steps, refusals, brackets.

    Parameters
    ----------
    number, same, held : callable
        `make_validation`'s comparisons of numbers, of words, and of a bracket that has to hold.
    """
    from clearance.scanned.pose import Pose
    from clearance.scanned.registration import ScanError, registered

    nominal = shapes.soup(m.part())
    found = registered(m.TURNED.soup(), nominal, m.BANDS).fit
    slight = registered(m.SLIGHTLY.soup(), nominal, placed=True).fit
    what = "turn that is left when it lies on the part"
    for turn, fit, most in ((m.FAR, found, "0.01"), (m.POSE["rotation"], slight, "0.1")):
        made = Pose(turn, np.zeros(3)).turn_deg
        left = Pose(fit.pose.rotation @ turn, np.zeros(3)).turn_deg
        known = "analytic: turned so when it was made"
        said = f"made scan, turned by {made:.3g} deg: {what}"
        yield number(said, known, 0.0, left, "{:.3f} deg", f"{most} deg")
    moved = -float(found.moves[1][0])
    what = "step of its upper piece along x"
    yield number(what, "analytic: drawn so", m.STEP_MM, moved, "{:.3f} mm", "0.005 mm")
    spoilt = {kind: change(nominal) for kind, change in m.SPOILT.items()}
    larger = registered(spoilt.pop("0.4 % too large"), nominal, placed=True).fit.scale
    yield number(
        "size of a scan that is 0.4 % too large", "analytic", 1.004, larger, "{:.4f}", "0.0002"
    )
    for kind, soup in spoilt.items():
        try:
            registered(soup, nominal, placed=True)
            said = "taken"
        except ScanError:
            said = "refused"
        yield same(f"a scan that is {kind}", "by construction", "refused", said)
    with tempfile.TemporaryDirectory() as folder:
        free, shut = (m.drawn(Path(folder) / str(event), event) for event in (False, True))
        for scene in (m.NARROW, m.WIDE):
            one = m.judged(free, scene.soup())[1]
            what = f"clear diameter of a bore built {2.0 * scene.radius:g} mm wide"
            yield held(what, "analytic", 2.0 * scene.radius, one.low_mm, one.high_mm)
        for scene in (m.THIN, m.SHUT):
            one = m.judged(shut, scene.soup())[1]
            what = f"a sheet of {scene.thick:g} mm across a bore: is it open in the scan?"
            said = "open" if one.state == "open" else "not open"
            yield same(what, "analytic: it is shut", "not open", said)
