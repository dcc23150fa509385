"""A picture and the points that are known in it, read from files.

In: paths. Out: grey values, and rows of pixels with their places on the platform.
"""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clearance.errors import ClearanceError

Floats = NDArray[np.float64]

LEAST_POINTS = 4
MOST_PIXELS = 200_000_000
"""Pixels of a picture at most."""


def read_picture(path: Path) -> Floats:
    """Grey values of a picture, as people see it.

    Parameters
    ----------
    path : Path
        PNG, JPEG, TIFF or BMP; a camera's note which side is up is followed.

    Returns
    -------
    (rows, columns) ndarray
        Linear in what the file holds; row 0 on top.

    Raises
    ------
    ClearanceError
        It cannot be read as a picture, or is too large.
    """
    from PIL import Image, ImageOps

    try:
        with warnings.catch_warnings(), Image.open(path) as picture:
            warnings.simplefilter("ignore")  # of large pictures, which are refused below
            if picture.width * picture.height > MOST_PIXELS:
                raise ClearanceError(
                    f"{path}: found {picture.width} x {picture.height} pixels, expected at most "
                    f"{MOST_PIXELS}"
                )
            upright = ImageOps.exif_transpose(picture)
            deep = upright.mode in ("F", "I", "I;16", "I;16B", "I;16L", "1", "L")
            grey = upright if deep else upright.convert("RGB").convert("L")
            found = np.asarray(grey, np.float64)
    except ClearanceError:
        raise
    except Exception as fault:  # the library raises many kinds on bad bytes: all mean the same
        said = getattr(fault, "strerror", None) or str(fault) or type(fault).__name__
        raise ClearanceError(f"{path}: cannot be read as a picture: {said}") from fault
    if found.ndim != 2 or not np.isfinite(found).all():
        raise ClearanceError(f"{path}: cannot be read as a picture: it holds no grey values")
    return found


def read_points(path: Path) -> Floats:
    """Points that are known in the picture.

    Parameters
    ----------
    path : Path
        A line ``px py x y`` for each: pixels from the middle of the upper left one to the right
        and down, and mm on the platform. ``#`` begins a remark.

    Returns
    -------
    (N, 4) ndarray
        Four or more.

    Raises
    ------
    ClearanceError
        A line is no such; there are too few.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        said = getattr(fault, "strerror", None) or "it is no text"
        raise ClearanceError(f"{path}: cannot be read: {said}") from fault
    rows = []
    for number, line in enumerate(text.splitlines(), 1):
        words = line.partition("#")[0].split()
        if not words:
            continue
        try:
            values = [float(word) for word in words]
        except ValueError:
            values = []
        if len(values) != 4 or not np.isfinite(values).all():
            hint = "; write a decimal point" if "," in line else ""
            raise ClearanceError(
                f"{path}:{number}: found {line.strip()[:60]!r}, expected four numbers, px py x y"
                f"{hint}"
            )
        rows.append(values)
    if len(rows) < LEAST_POINTS:
        raise ClearanceError(
            f"{path}: found {len(rows)} points, expected {LEAST_POINTS} or more, a line px py x y "
            "for each"
        )
    return np.array(rows, np.float64)
