"""The answer to a picture: read, rectified, compared.

In: paths of picture, points, and case or plate. Out: `PhotoResult`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clearance.errors import ClearanceError
from clearance.geometry.soup import Soup
from clearance.mesh.part import file_sha256
from clearance.photo.picture import LEAST_POINTS, read_picture, read_points
from clearance.photo.plane import plane_of
from clearance.photo.slices import compared
from clearance.restart.asked import Standing, files, standing
from clearance.result.photo import BestSlice, PhotoFile, PhotoResult

FOUR = "four points fit any picture: give more to see how well they do"
FAR_OFF_PIXELS = 10.0
"""Points that are farther off than this are not of this picture."""


def photo(image: Path, file: Path, points: Path, say: Callable[[str], None]) -> PhotoResult:
    """Tell which slices a picture can be.

    Parameters
    ----------
    image : Path
    file : Path
        A case or plate file.
    points : Path
        As `photo.picture.read_points` takes them.
    say : callable
        Called with a sentence before each longer step.

    Raises
    ------
    ClearanceError
        A file is bad, the points are no picture's, or it shows none of the parts.
    """
    known = read_points(points)
    plane = plane_of(known, str(points))
    worst, pixel = float(plane.off_mm.max()), plane.pixel_mm(known[:, 2:].mean(axis=0))
    if worst > FAR_OFF_PIXELS * pixel:
        number = int(plane.off_mm.argmax()) + 1
        raise ClearanceError(
            f"{points}: point {number} lies {worst:.2f} mm from where all of them together put it, "
            f"{worst / pixel:.0f} pixels: expected at most {FAR_OFF_PIXELS:g}"
        )
    picture = read_picture(image)
    say(f"reading {file.name}")
    name, parts, _ = standing(file)
    solids = [_placed(one, soup) for one in parts for soup in one.solids]
    say("comparing every slice")
    layer = parts[0].layer_mm
    try:
        found = compared(picture, plane, solids, 0.0, layer)
    except ClearanceError as fault:
        raise ClearanceError(f"{image}: {fault}") from None
    best = int(found.overlaps.argmax())
    used = dict.fromkeys([image, points, *files(file)])
    return PhotoResult(
        name=name,
        layer_thickness_mm=layer,
        slices=len(found.overlaps),
        points=len(known),
        residual_mm=worst if len(known) > LEAST_POINTS else None,
        pixel_mm=found.pixel_mm,
        edge_mm=found.edge_mm,
        seen=found.seen,
        contrast=found.contrast,
        can_be=tuple(ranges(found.can_be)),
        best=BestSlice(best, float(found.overlaps[best])),
        overlaps=tuple(float(one) for one in found.overlaps),
        inputs=tuple(PhotoFile(one.name, file_sha256(one)) for one in used),
        notices=tuple(_notices(len(known), found.seen, bool(found.can_be.any()))),
    )


def _placed(part: Standing, soup: Soup) -> Soup:
    """A solid where it stands: turned about +z, moved, its platform at 0."""
    turn = np.radians(part.turn)
    x, y, z = np.moveaxis(soup.astype(np.float64), -1, 0)
    right = np.cos(turn) * x - np.sin(turn) * y + part.at[0]
    back = np.sin(turn) * x + np.cos(turn) * y + part.at[1]
    return np.stack([right, back, z - part.platform_z], axis=-1).astype(np.float32)


def ranges(can_be: NDArray[np.bool_]) -> Iterator[str]:
    """Slices as ranges: 0-2, 40."""
    steps = np.diff(np.concatenate([[0], can_be.astype(np.int8), [0]]))
    firsts, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    for first, last in zip(firsts, ends - 1, strict=True):
        yield f"{first}" if first == last else f"{first}-{last}"


def _notices(points: int, seen: float, any_fits: bool) -> Iterator[str]:
    if points == LEAST_POINTS:
        yield FOUR
    if seen < 0.999:
        yield f"{100 * (1 - seen):.0f} % of the parts' place lies outside the picture: not compared"
    if not any_fits:
        yield (
            "no slice is like the picture within its edges: points that are off, a part that "
            "stood otherwise, or another part"
        )
