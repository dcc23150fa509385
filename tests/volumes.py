"""Volumes made by script: the grey values of a made scan (tests/scans.py) as files.

In: grey values [x, y, z], 0 in void and 1 in metal. Out: TIFF or bare numbers.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import tifffile
from scipy import ndimage


def hardened(values, voxel, share=0.1, depth_mm=4.0):
    """Beam hardening, roughly: metal darker the deeper it lies, voids brighter between metal."""
    deep = ndimage.distance_transform_edt(values > 0.5, sampling=voxel)
    around = ndimage.gaussian_filter(values, 2.0 / voxel)
    return values * (1.0 - share * (1.0 - np.exp(-deep / depth_mm))) + 0.05 * around


def binned(values, count):
    """Cubes of so many voxels along each edge taken together."""
    whole = [n // count for n in values.shape]
    kept = values[tuple(slice(0, n * count) for n in whole)]
    cubes = kept.reshape(whole[0], count, whole[1], count, whole[2], count)
    return cubes.mean(axis=(1, 3, 5))


def numbers(values, kind="uint8", void=60.0, metal=180.0):
    """Grey values as numbers of a type; a float keeps them."""
    grey = void + (metal - void) * values
    if np.dtype(kind).kind == "f":
        return grey.astype(kind)
    info = np.iinfo(kind)
    return np.clip(np.rint(grey), info.min, info.max).astype(kind)


def write(path: Path, values, kind="uint8", **keys) -> Path:
    """A TIFF with a page for each slice; keys as tifffile takes them."""
    keys = {"compression": "zlib", "photometric": "minisblack", **keys}
    tifffile.imwrite(path, numbers(values, kind).transpose(), **keys)
    return path


def write_bare(path: Path, values, kind="uint16", order="<", grow=1.0) -> Path:
    """Bare numbers, x fastest; `grow`: grey values so many times as large."""
    swapped = (
        numbers(values, kind, 60.0 * grow, 180.0 * grow)
        .transpose()
        .astype(np.dtype(kind).newbyteorder(order))
    )
    path.write_bytes(swapped.tobytes())
    return path
