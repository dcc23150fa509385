"""Named small solids with known answers, and the tools the cases make their meshes with.

In: dimensions in mm. Out: triangle soups, float32 (F, 3, 3), closed, outward (counter-clockwise
seen from outside), vertices shared bitwise. z is the build direction and every block stands on
z = 0. Facts given as "analytic" hold for the drawing; the mesh of a round bore is inscribed, so
it is narrower by at most the chord error radius * (1 - cos(pi / segments)).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import manifold3d as m3
import numpy as np
from numpy.typing import ArrayLike, NDArray

Soup = NDArray[np.float32]
SEGMENTS = 96


# --- building tools ------------------------------------------------------------------------


def checked(solid: m3.Manifold) -> m3.Manifold:
    """Return the solid itself, or raise ValueError if it is empty or no manifold."""
    if solid.status() != m3.Error.NoError or solid.is_empty() or solid.volume() <= 0:
        raise ValueError(f"not a solid: {solid.status()}, volume {solid.volume()}")
    return solid


def soup(solid: m3.Manifold) -> Soup:
    """Triangles of a solid, without those that float32 folds to a line; -0.0 becomes 0.0."""
    mesh = checked(solid).to_mesh64()
    vertices = mesh.vert_properties[:, :3].astype(np.float32) + np.float32(0.0)
    triangles = vertices[mesh.tri_verts.astype(np.int64)]
    same = (triangles == np.roll(triangles, -1, axis=1)).all(axis=2).any(axis=1)
    return np.ascontiguousarray(triangles[~same])


def indexed(triangles: Soup) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Vertices (V, 3) and faces (F, 3) of a soup; bitwise equal corners become one vertex."""
    corners = np.ascontiguousarray(triangles.reshape(-1, 3) + np.float32(0.0))
    keys = corners.view(np.uint32).astype(np.uint64)
    mixed = keys[:, 0] * np.uint64(0x9E3779B97F4A7C15)
    mixed ^= keys[:, 1] * np.uint64(0xC2B2AE3D27D4EB4F) + (mixed >> np.uint64(29))
    mixed ^= keys[:, 2] * np.uint64(0x165667B19E3779F9) + (mixed >> np.uint64(31))
    _, first, inverse = np.unique(mixed, return_index=True, return_inverse=True)
    if not np.array_equal(corners[first][inverse], corners):
        raise ValueError("two vertices share a hash")
    return corners[first], inverse.reshape(-1, 3)


def is_closed(triangles: Soup) -> bool:
    """Whether every directed edge has its opposite (as often as it occurs)."""
    vertices, faces = indexed(triangles)
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    count = len(vertices)
    forward, backward = np.sort(start * count + end), np.sort(end * count + start)
    return bool(np.array_equal(forward, backward))


def volume(triangles: Soup) -> float:
    """Signed volume in mm3; positive when the triangles face outward."""
    a, b, c = triangles.astype(np.float64).transpose(1, 0, 2)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


def manifold(triangles: Soup) -> m3.Manifold:
    """Make the solid of a closed soup, for boolean cross-checks."""
    vertices, faces = indexed(triangles)
    return checked(m3.Manifold(m3.Mesh(vertices, faces.astype(np.uint32))))


def write_stl(path: str | Path, triangles: Soup) -> None:
    """Write binary STL; the 80-byte header holds no date, so the bytes repeat."""
    record = np.zeros(
        len(triangles), dtype=[("normal", "<f4", 3), ("corner", "<f4", (3, 3)), ("spare", "<u2")]
    )
    record["corner"] = triangles
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    record["normal"] = normal / np.where(length > 0, length, 1)
    with open(path, "wb") as file:
        file.write(b"binary STL, mm".ljust(80))
        file.write(np.uint32(len(triangles)).tobytes())
        record.tofile(file)


def write_ply(path: str | Path, triangles: Soup) -> None:
    """Write binary little-endian PLY: a third of the size of STL."""
    vertices, faces = indexed(triangles)
    record = np.zeros(len(faces), dtype=[("count", "u1"), ("corner", "<i4", 3)])
    record["count"], record["corner"] = 3, faces
    header = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(vertices)}\n"
        "property float x\nproperty float y\nproperty float z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    with open(path, "wb") as file:
        file.write(header.encode("ascii"))
        file.write(vertices.astype("<f4").tobytes())
        file.write(record.tobytes())


def write_3mf(path: str | Path, triangles: Soup, name: str) -> None:
    """Write a 3MF model in mm with one object and one build item."""
    import lib3mf

    vertices, faces = indexed(triangles)
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    model.SetUnit(lib3mf.ModelUnit.MilliMeter)
    mesh = model.AddMeshObject()
    mesh.SetName(name)
    mesh.SetGeometry(
        (lib3mf.Position * len(vertices)).from_buffer_copy(vertices.astype("<f4").tobytes()),
        (lib3mf.Triangle * len(faces)).from_buffer_copy(faces.astype("<u4").tobytes()),
    )
    model.AddBuildItem(mesh, wrapper.GetIdentityTransform())
    writer = model.QueryWriter("3mf")
    writer.SetDecimalPrecision(6)
    writer.WriteToFile(str(path))


def block(low: ArrayLike, high: ArrayLike) -> m3.Manifold:
    """Make the box between two corners."""
    low, high = np.asarray(low, float), np.asarray(high, float)
    return m3.Manifold.cube(tuple(high - low)).translate(tuple(low))


def rounded_block(
    size: tuple[float, float], corner: float, bottom: float, top: float, segments: int = 64
) -> m3.Manifold:
    """Upright prism centred on the z axis, outline a rectangle with rounded corners."""
    half = (size[0] / 2 - corner, size[1] / 2 - corner)
    centres = [(i * half[0], j * half[1]) for i in (-1, 1) for j in (-1, 1)]
    outline = m3.CrossSection.batch_hull(
        [m3.CrossSection.circle(corner, segments).translate(centre) for centre in centres]
    )
    return m3.Manifold.extrude(outline, top - bottom).translate((0, 0, bottom))


def footed_block(
    size: tuple[float, float], corner: float, height: float, foot: float = 3.0
) -> m3.Manifold:
    """Rounded block from z = 0 whose first layers are wider by `foot` all round, at 45 degrees."""
    wide = rounded_block((size[0] + 2 * foot, size[1] + 2 * foot), corner + foot, 0, 0.8)
    slope = m3.Manifold.hull(wide + rounded_block(size, corner, 0.8 + foot, 0.9 + foot))
    return slope + rounded_block(size, corner, foot, height)


def bore(
    start: ArrayLike,
    end: ArrayLike,
    radius: float,
    radius_end: float | None = None,
    segments: int = SEGMENTS,
) -> m3.Manifold:
    """Cylinder (or cone) between two points."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    length = float(np.linalg.norm(end - start))
    u, v, w = frame((end - start) / length)
    solid = m3.Manifold.cylinder(
        length, radius, radius if radius_end is None else radius_end, segments
    )
    return solid.transform(np.column_stack([u, v, w, start]))


def frame(direction: ArrayLike) -> tuple[NDArray, NDArray, NDArray]:
    """Right-handed unit vectors u, v, w with w along the direction."""
    w = np.asarray(direction, float) / np.linalg.norm(direction)
    helper = np.eye(3)[int(np.argmin(np.abs(w)))]
    u = np.cross(helper, w)
    u /= np.linalg.norm(u)
    return u, np.cross(w, u), w


def tube_along(points: ArrayLike, radius: float, segments: int = SEGMENTS) -> m3.Manifold:
    """Circular tube swept along a line of points, with flat ends.

    Parameters
    ----------
    points : (N, 3) array, mm
        The axis. Every ring lies in the plane that halves the angle at its point.
    radius : float, mm
        The line must nowhere bend tighter than this.
    segments : int
        Corners of the ring; frames are carried without twist.

    Returns
    -------
    Manifold
        Volume about pi * radius**2 * length.

    Raises
    ------
    ValueError
        The swept surface is not a solid.
    """
    points = np.asarray(points, float)
    steps = np.diff(points, axis=0)
    steps /= np.linalg.norm(steps, axis=1, keepdims=True)
    tangents = np.vstack([steps[:1], steps[:-1] + steps[1:], steps[-1:]])
    tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
    u = frame(tangents[0])[0]
    angle = 2 * np.pi * np.arange(segments) / segments
    rings = []
    for point, tangent in zip(points, tangents, strict=True):
        u = u - (u @ tangent) * tangent
        u /= np.linalg.norm(u)
        v = np.cross(tangent, u)
        rings.append(point + radius * (np.outer(np.cos(angle), u) + np.outer(np.sin(angle), v)))
    count = len(points)
    vertices = np.vstack([*rings, points[:1], points[-1:]])
    here = np.arange(segments)
    there = np.roll(here, -1)
    base = (segments * np.arange(count - 1))[:, None]
    a, b, c, d = base + here, base + there, base + segments + here, base + segments + there
    sides = np.concatenate([np.stack(t, -1).reshape(-1, 3) for t in ((a, b, d), (a, d, c))])
    last = (count - 1) * segments
    first_cap = np.column_stack([there, here, np.full(segments, count * segments)])
    last_cap = np.column_stack([last + here, last + there, np.full(segments, count * segments + 1)])
    faces = np.vstack([sides, first_cap, last_cap]).astype(np.uint64)
    return checked(m3.Manifold(m3.Mesh64(vertices, faces)))


def bent_line(corners: ArrayLike, bend_radius: float, step_deg: float = 4.0) -> NDArray:
    """Points of a line through corners whose bends are rounded to arcs of one radius.

    Raises
    ------
    ValueError
        Two bends do not fit on the straight between them.
    """
    corners = np.asarray(corners, float)
    line = [corners[0]]
    used = 0.0
    for before, corner, after in zip(corners[:-2], corners[1:-1], corners[2:], strict=True):
        a, b = corner - before, after - corner
        length_a, length_b = np.linalg.norm(a), np.linalg.norm(b)
        a, b = a / length_a, b / length_b
        turn = float(np.arccos(np.clip(a @ b, -1, 1)))
        if turn < 1e-6:
            line.append(corner)
            used = 0.0
            continue
        back = bend_radius * np.tan(turn / 2)
        if back + used > length_a + 1e-9 or back > length_b + 1e-9:
            raise ValueError(f"the bend at {corner} does not fit: needs {back:.2f} mm")
        side = b - (a @ b) * a
        side /= np.linalg.norm(side)
        centre = corner - back * a + bend_radius * side
        angle = np.linspace(0, turn, max(2, int(np.ceil(np.degrees(turn) / step_deg))) + 1)
        arc = centre + bend_radius * (np.outer(np.sin(angle), a) - np.outer(np.cos(angle), side))
        line.extend(arc if back + used < length_a - 1e-9 else arc[1:])
        used = back
    if used < np.linalg.norm(corners[-1] - corners[-2]) - 1e-9:
        line.append(corners[-1])
    return np.array(line)


def helix(
    centre: ArrayLike,
    radius: float,
    z: tuple[float, float],
    turns: float,
    start_deg: float = 0.0,
    step_deg: float = 4.0,
) -> NDArray:
    """Points of a helix about a vertical axis; positive turns rise counter-clockwise."""
    count = int(np.ceil(abs(turns) * 360 / step_deg)) + 1
    t = np.linspace(0, 1, count)
    angle = np.radians(start_deg) + 2 * np.pi * turns * t
    x, y = np.asarray(centre, float)[:2]
    return np.column_stack(
        [x + radius * np.cos(angle), y + radius * np.sin(angle), z[0] + (z[1] - z[0]) * t]
    )


# --- one passage -----------------------------------------------------------------------------


def straight_bore(
    radius: float = 3.0,
    size: tuple[float, float, float] = (20.0, 20.0, 30.0),
    segments: int = SEGMENTS,
) -> Soup:
    """Block with a vertical through bore on the z axis.

    Analytic: clear diameter 2 * radius, area pi * radius**2, ports (0, 0, 0) and
    (0, 0, size[2]). Any layer's slice has the same hole: a `layer` sheet adds nothing.
    """
    x, y, z = size
    solid = block((-x / 2, -y / 2, 0), (x / 2, y / 2, z))
    return soup(solid - bore((0, 0, -1), (0, 0, z + 1), radius, segments=segments))


def tilted_bore(
    radius: float = 3.0,
    tilt_deg: float = 30.0,
    size: tuple[float, float, float] = (50.0, 20.0, 30.0),
    segments: int = SEGMENTS,
) -> Soup:
    """Block with a bore that leans towards +x, axis (x, 0, z) with x = (z - size[2]/2) tan(tilt).

    Analytic: horizontal section an ellipse with half axes radius / cos(tilt) and radius, area
    pi * radius**2 / cos(tilt). Ports on the axis at z = 0 and z = size[2].
    """
    x, y, z = size
    lean = np.tan(np.radians(tilt_deg))
    low, high = (-(z / 2 + 5) * lean, 0, -5), ((z / 2 + 5) * lean, 0, z + 5)
    solid = block((-x / 2, -y / 2, 0), (x / 2, y / 2, z))
    return soup(solid - bore(low, high, radius, segments=segments))


def elbow(radius: float = 3.0, bend_radius: float = 8.0, segments: int = SEGMENTS) -> Soup:
    """Block 30 x 16 x 30, passage from the bottom port (0, 0, 0) up and out at (20, 0, 15).

    Analytic: clear diameter 2 * radius, axis height of the side port 15, block x from -10 to 20.
    """
    axis = bent_line([(0, 0, -1), (0, 0, 15), (21, 0, 15)], bend_radius)
    return soup(block((-10, -8, 0), (20, 8, 30)) - tube_along(axis, radius, segments))


def torus_bend(
    radius: float = 3.0, bend_radius: float = 10.0, segments: int = SEGMENTS, step_deg: float = 2.0
) -> Soup:
    """Block with half a torus: both ports on the bottom, at (-bend_radius, 0, 0) and (+, 0, 0).

    Analytic: clear diameter 2 * radius, axis x**2 + z**2 = bend_radius**2. The top of the axis
    is at z = bend_radius; a straight line can see at most to
    2 * acos((bend_radius - radius) / (bend_radius + radius)) of arc.
    """
    angle = np.linspace(0, np.pi, int(np.ceil(180 / step_deg)) + 1)
    axis = np.column_stack([-np.cos(angle), 0 * angle, np.sin(angle)]) * bend_radius
    axis = np.vstack([axis[0] - (0, 0, 1), axis, axis[-1] - (0, 0, 1)])
    half = bend_radius + radius + 4
    solid = block((-half, -radius - 5, 0), (half, radius + 5, half))
    return soup(solid - tube_along(axis, radius, segments))


def torus(ring: float, radius: float, count: int) -> Soup:
    """A closed torus round z at the origin, of 2 count^2 triangles in a regular net."""
    turn = 2.0 * np.pi * np.arange(count) / count
    u, v = np.meshgrid(turn, turn, indexing="ij")
    away = ring + radius * np.cos(v)
    at = np.stack([away * np.cos(u), away * np.sin(u), radius * np.sin(v)], -1)
    a, d = at.astype(np.float32), np.roll(at, -1, axis=1).astype(np.float32)
    b, c = np.roll(a, -1, axis=0), np.roll(d, -1, axis=0)
    return np.concatenate([np.stack(t, -2).reshape(-1, 3, 3) for t in ((a, b, c), (a, c, d))])


def helical_tube(
    radius: float = 2.0,
    helix_radius: float = 10.0,
    height: float = 30.0,
    turns: float = 1.5,
    segments: int = 64,
) -> Soup:
    """Cylinder of radius helix_radius + radius + 4 with a helical tube from bottom to top.

    Analytic: axis helix_radius * (cos a, sin a), a = 2 pi turns z / height, extended beyond both
    faces, so the ports lie at (helix_radius, 0, 0) and at a = 2 pi turns on the top. Slope
    tan(alpha) = height / (2 pi turns helix_radius); clear diameter 2 * radius.
    """
    extra = 2 * radius
    z = (-extra, height + extra)
    rise = height / turns
    axis = helix((0, 0), helix_radius, z, (z[1] - z[0]) / rise, 360 * z[0] / rise)
    outer = m3.Manifold.cylinder(height, helix_radius + radius + 4, circular_segments=128)
    return soup(outer - tube_along(axis, radius, segments))


def two_bores(radius: float = 3.0, distance: float = 10.0, segments: int = SEGMENTS) -> Soup:
    """Block with vertical bores at x = -distance/2 ("a") and +distance/2 ("b"), height 30.

    Analytic: wall between them distance - 2 * radius. A resume moved by s along x leaves a lens
    of width 2 * radius - s in each; the bores join once s > distance - 2 * radius.
    """
    half = distance / 2
    solid = block((-half - radius - 6, -radius - 5, 0), (half + radius + 6, radius + 5, 30))
    for x in (-half, half):
        solid -= bore((x, 0, -1), (x, 0, 31), radius, segments=segments)
    return soup(solid)


def u_passage(
    radius: float = 3.0, distance: float = 20.0, bend_radius: float = 6.0, segments: int = SEGMENTS
) -> Soup:
    """Block of height 30, ports on top at (-distance/2, 0, 30) and (+distance/2, 0, 30).

    Analytic: vertical legs down to the level run on z = 8; a sheet between z = 14 and 30
    crosses the passage twice.
    """
    half = distance / 2
    corners = [(-half, 0, 31), (-half, 0, 8), (half, 0, 8), (half, 0, 31)]
    solid = block((-half - radius - 5, -radius - 5, 0), (half + radius + 5, radius + 5, 30))
    return soup(solid - tube_along(bent_line(corners, bend_radius), radius, segments))


def z_passage(
    radius: float = 3.0, offset: float = 16.0, bend_radius: float = 6.0, segments: int = SEGMENTS
) -> Soup:
    """Block of height 40: up at x = 0, level run on z = 20, up again at x = offset.

    Analytic: ports (0, 0, 0) and (offset, 0, 40). A `layer` sheet of the first layers above
    z = 26 meets the upper leg over solid slice: sealed when offset > 2 * radius.
    """
    corners = [(0, 0, -1), (0, 0, 20), (offset, 0, 20), (offset, 0, 41)]
    solid = block((-radius - 5, -radius - 5, 0), (offset + radius + 5, radius + 5, 40))
    return soup(solid - tube_along(bent_line(corners, bend_radius), radius, segments))


def side_branch(radius: float = 3.0, branch_radius: float = 1.5, segments: int = SEGMENTS) -> Soup:
    """Block 24 x 20 x 40 with a vertical bore and a second, narrower way around z 10 to 30.

    Analytic: main bore on the z axis; the loop leaves it at z = 10, runs up at x = 8 and comes
    back at z = 30. Clear diameter 2 * radius; with the bore sealed between, 2 * branch_radius.
    """
    loop = bent_line([(0, 0, 10), (8, 0, 10), (8, 0, 30), (0, 0, 30)], branch_radius + 1.5)
    solid = block((-10, -10, 0), (14, 10, 40))
    solid -= bore((0, 0, -1), (0, 0, 41), radius, segments=segments)
    return soup(solid - tube_along(loop, branch_radius, segments))


def slot(width: float = 4.0, length: float = 14.0, segments: int = SEGMENTS) -> Soup:
    """Block 24 x 16 x 30 with a vertical slot, long along x, round ends.

    Analytic: clear diameter width, area (length - width) * width + pi * width**2 / 4.
    """
    half = (length - width) / 2
    ends = [
        m3.CrossSection.circle(width / 2, segments).translate((side * half, 0)) for side in (-1, 1)
    ]
    tool = m3.Manifold.extrude(m3.CrossSection.batch_hull(ends), 32).translate((0, 0, -1))
    return soup(block((-12, -8, 0), (12, 8, 30)) - tool)


def duct(width: float = 4.0, depth: float = 10.0) -> Soup:
    """Block 24 x 20 x 30 with a vertical rectangular duct, width along x.

    Analytic: clear diameter the smaller side (exact in the mesh too), area width * depth.
    """
    tool = block((-width / 2, -depth / 2, -1), (width / 2, depth / 2, 31))
    return soup(block((-12, -10, 0), (12, 10, 30)) - tool)


def plate_in_tube(
    radius: float = 5.0,
    hole_radius: float = 2.0,
    offset: float = 1.0,
    thickness: float = 0.5,
    segments: int = SEGMENTS,
) -> Soup:
    """Vertical bore with a plate across it at z 15 to 15 + thickness, hole off centre by offset.

    Analytic: clear diameter 2 * hole_radius (while offset + hole_radius <= radius), open fraction
    (hole_radius / radius)**2. hole_radius = 0: a closed plate, blocked.
    """
    half = radius + 5
    solid = block((-half, -half, 0), (half, half, 30))
    solid -= bore((0, 0, -1), (0, 0, 15), radius, segments=segments)
    solid -= bore((0, 0, 15 + thickness), (0, 0, 31), radius, segments=segments)
    if hole_radius > 0:
        low, high = (offset, 0, 14), (offset, 0, 16 + thickness)
        solid -= bore(low, high, hole_radius, segments=segments)
    return soup(solid)


# --- periodic surfaces and packings --------------------------------------------------------


def gyroid(x: NDArray, y: NDArray, z: NDArray) -> NDArray:
    """Gyroid function; period 2 pi, surface where it is 0."""
    return np.sin(x) * np.cos(y) + np.sin(y) * np.cos(z) + np.sin(z) * np.cos(x)


def schwarz_p(x: NDArray, y: NDArray, z: NDArray) -> NDArray:
    """Schwarz P function; period 2 pi, surface where it is 0."""
    return np.cos(x) + np.cos(y) + np.cos(z)


def schwarz_d(x: NDArray, y: NDArray, z: NDArray) -> NDArray:
    """Schwarz D (diamond) function; period 2 pi, surface where it is 0."""
    return np.cos(x) * np.cos(y) * np.cos(z) - np.sin(x) * np.sin(y) * np.sin(z)


def level_set(
    function: Callable[[NDArray, NDArray, NDArray], NDArray] = schwarz_p,
    cell: float = 10.0,
    cells: int = 2,
    level: float = 0.0,
    points_per_cell: int = 24,
) -> Soup:
    """Metal where function < level, in a cube of whole cells whose corner is the origin.

    Analytic: P, G and D at level 0 halve the volume. Schwarz P at level 0: its void is a cube
    of chambers round the corners of the cells, joined by necks half way along the cells' edges;
    in the plane of a neck cos y + cos z = 1, so the widest circle there has radius
    cell * sqrt(2) / 6 (on the diagonal, y = z = cell / 6). The void (function > level) is open
    at the cube's faces.
    """
    count = cells * points_per_cell
    grid = np.linspace(0, 2 * np.pi * cells, count + 1)
    values = level - function(*np.meshgrid(grid, grid, grid, indexing="ij"))
    return soup_of_field(values, (0.0, 0.0, 0.0), cell / points_per_cell)


def soup_of_field(values: NDArray, origin: Sequence[float], pitch: float) -> Soup:
    """Surface of {values > 0}, closed by the outermost layer of points as a flat box.

    Parameters
    ----------
    values : (X, Y, Z) array
        Positive in metal, sampled at origin + pitch * (i, j, k).

    Notes
    -----
    One layer of void is put round the field; vertices that fall outside are drawn back to the
    box's faces, which closes the solid there. Values are kept off 0, so that no vertex lies on a
    grid point and no triangle is folded.
    """
    from skimage.measure import marching_cubes

    field = np.pad(np.asarray(values, np.float32), 1, constant_values=-1.0)
    scale = np.float32(1e-3)
    field = np.where(np.abs(field) < scale, np.where(field < 0, -scale, scale), field)
    vertices, faces, _, _ = marching_cubes(field, 0.0, gradient_direction="ascent")
    top = np.array(values.shape, np.float32) - 1
    vertices = np.clip(vertices - 1, 0, top)
    vertices = (vertices * pitch + np.asarray(origin)).astype(np.float32) + np.float32(0.0)
    triangles = vertices[faces]
    same = (triangles == np.roll(triangles, -1, axis=1)).all(axis=2).any(axis=1)
    return np.ascontiguousarray(triangles[~same])


def sphere_packing(
    diameter: float = 4.0, count: int = 3, overlap: float = 0.02, segments: int = 48
) -> Soup:
    """Metal spheres in a simple cubic packing inside a frame of four walls, open at both ends.

    Spheres of the given diameter stand on a square grid, count in each direction, spacing
    diameter * (1 - overlap); the channel is count spacings wide, so the outer spheres sink into
    the walls a little. Analytic: through the square window between four touching spheres a ball
    of diameter (sqrt(2) - 1) * diameter can pass when overlap = 0 (in general
    sqrt(2) * spacing - diameter). The channel runs along z from 0 to count * spacing.
    """
    step = diameter * (1 - overlap)
    width = count * step
    ball = m3.Manifold.sphere(diameter / 2, segments)
    middle = (np.arange(count) + 0.5) * step
    balls = [ball.translate((x, y, z)) for x in middle for y in middle for z in middle]
    shell = block((-3, -3, 0), (width + 3, width + 3, width))
    shell -= block((0, 0, -1), (width, width, width + 1))
    inside = block((-1, -1, 0), (width + 1, width + 1, width))
    packed = m3.Manifold.batch_boolean(balls, m3.OpType.Add) ^ inside
    return soup(shell + packed)


EVERY = (
    straight_bore,
    tilted_bore,
    elbow,
    torus_bend,
    helical_tube,
    two_bores,
    u_passage,
    z_passage,
    side_branch,
    slot,
    duct,
    plate_in_tube,
    level_set,
    sphere_packing,
)
