"""The dense floor: one labelling, one distance transform over the grid, and reading the mesh.

A whole process, as a check is: ``python floor.py MESH.stl GRID.npy``. The grid of
metal is made beforehand (`make_grid`), which no real check could have; all that is
timed is reading the STL, scipy's labelling and one exact distance transform.
"""

import sys
from pathlib import Path

import numpy as np


def make_grid(mesh: Path, pitch_mm: float, target: Path) -> tuple[int, ...]:
    """Write the metal of a part as dense cells; returns the grid's shape."""
    from clearance.columns.cast import cast
    from clearance.columns.cells import raster
    from clearance.columns.grid import Grid
    from clearance.geometry.soup import extent
    from clearance.mesh.part import read_part

    triangles = read_part(mesh, shells=False).triangles
    low, high = extent(triangles)
    columns = cast(triangles, Grid.over(low, high, pitch_mm))
    g = columns.grid
    nz = int(np.ceil((high[2] - low[2]) / pitch_mm)) + 3
    cells = raster(
        columns.metal.start, columns.metal.z, g.nx, g.ny, low[2] - pitch_mm, pitch_mm, nz, "centre"
    )
    np.save(target, cells.astype(bool))
    return cells.shape


def floor(mesh: Path, grid: Path) -> None:
    """Do what no check can do without."""
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    corners = np.fromfile(mesh, record, offset=84)["corners"].copy()
    assert len(corners)
    metal = np.load(grid)
    from scipy import ndimage

    ndimage.label(~metal)
    import edt

    edt.edt(~metal, black_border=False, parallel=1)


if __name__ == "__main__":
    floor(Path(sys.argv[1]), Path(sys.argv[2]))
