"""A body as numbers in text: few triangles for the first picture, and the rest packed behind them.

In: a soup. Out: a dict that the page's script reads.
"""

from __future__ import annotations

import base64
import zlib
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from clearance.geometry.soup import Soup
from clearance.view.shapes import coarser, indexed

Steps = NDArray[np.uint16]
Faces = NDArray[np.uint32]

STEPS = 65535
"""Steps of a coordinate over a body's box: 3 um over 200 mm."""
MOST_AT_ONCE = 25_000
"""Triangles: a body of more is first drawn from fewer of its corners, if no difference is seen."""


class Packed(NamedTuple):
    """What the page reads of a body, and how far its first picture is from it, mm."""

    data: dict[str, Any]
    off_mm: float


def packed(soup: Soup, off_mm: float) -> Packed:
    """Write a body's corners and triangles as text.

    Corners are whole steps over the body's box. Those of the first picture stand first, as plain
    numbers; `rest` holds the other corners and all triangles: differences, byte by byte, in the
    format of zlib (RFC 1950), which a browser unpacks by itself.

    Parameters
    ----------
    soup : (F, 3, 3) ndarray, mm
    off_mm : float
        How far the first picture's surface may lie from the body's.
    """
    points, faces = indexed(soup)
    low, high = points.min(axis=0).astype(float), points.max(axis=0).astype(float)
    step = np.maximum(high - low, 1e-9) / STEPS
    few, off = coarser(soup, off_mm) if len(soup) > MOST_AT_ONCE else (soup, 0.0)
    data: dict[str, Any] = {"low": low.tolist(), "step": step.tolist(), "rest": None}
    if len(few) < 0.6 * len(soup):
        first, few_faces = indexed(few)
        points, faces = _behind(first, points, faces)
        steps = _steps(points, low, step)
        data["rest"] = _text(zlib.compress(_rest(steps, faces, len(first)), 9))
        data["most"] = [len(points), len(faces)]
        steps, faces = steps[: len(first)], few_faces
    else:
        off, steps = 0.0, _steps(points, low, step)
    kind = "<u2" if len(steps) <= STEPS else "<u4"  # half as much to read
    data["corners"] = _text(steps.astype("<u2").tobytes())
    data["triangles"] = _text(faces.astype(kind).tobytes())
    data["bytes"] = int(kind[-1])
    return Packed(data, off)


def _behind(
    first: NDArray[np.float32], points: NDArray[np.float32], faces: Faces
) -> tuple[NDArray[np.float32], Faces]:
    """All corners with those of the first picture before them, and the triangles of these."""
    both = np.concatenate([first, points])
    _, at, number = np.unique(both, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(at, kind="stable")
    place = np.empty(len(order), np.uint32)
    place[order] = np.arange(len(order), dtype=np.uint32)
    return both[at[order]], place[number.reshape(-1)[len(first) :]][faces]


def _steps(points: NDArray[np.float32], low: Any, step: Any) -> Steps:
    return np.rint((points - low) / step).clip(0, STEPS).astype(np.uint16)


def _rest(steps: Steps, faces: Faces, known: int) -> bytes:
    """Differences of neighbours are small, and their high bytes mostly alike: they pack well."""
    begin = np.argmin(faces, axis=1)
    turned = faces[np.arange(len(faces))[:, None], (begin[:, None] + np.arange(3)) % 3]
    turned = turned[np.lexsort(turned.T[::-1])]
    beside = turned.copy()
    beside[1:, 0] -= turned[:-1, 0]
    beside[:, 1:] -= turned[:, :1]
    more = steps[known:]
    corners = more.copy()
    corners[1:] -= more[:-1]
    return _planes(corners, "<u2") + _planes(beside, "<u4")


def _planes(rows: NDArray[Any], kind: str) -> bytes:
    """Column after column, the lowest bytes of all numbers first."""
    flat = np.ascontiguousarray(rows.T, kind).reshape(-1)
    return flat.view(np.uint8).reshape(len(flat), -1).T.tobytes()


def _text(data: bytes) -> str:
    return base64.b64encode(data).decode()
