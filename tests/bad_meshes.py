"""Meshes with one fault each, made by scripts, and what `clearance mesh` has to say of each.

`BAD` maps a name to a function that makes the triangles and to words of the fault; `DAMAGED` maps
a name to a function that spoils the bytes of a sound binary STL, and words of the refusal.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapes
from numpy.typing import NDArray

Soup = NDArray[np.float32]


def sound() -> Soup:
    """A block 20 x 20 x 30 with a bore of radius 3 on the z axis."""
    return shapes.straight_bore(3.0, (20.0, 20.0, 30.0), 48)


def block(low: tuple, high: tuple) -> Soup:
    return shapes.soup(shapes.block(low, high))


def turned(triangles: Soup) -> Soup:
    return triangles[:, ::-1].copy()


def disc(radius: float, z: float, corners: int = 48) -> Soup:
    turn = np.linspace(0.0, 2.0 * np.pi, corners + 1)
    rim = np.column_stack([radius * np.cos(turn), radius * np.sin(turn), np.full_like(turn, z)])
    rim[-1] = rim[0]
    centre = np.broadcast_to([0.0, 0.0, z], (corners, 3))
    return np.stack([centre, rim[:-1], rim[1:]], axis=1).astype(np.float32)


def plate(radius: float, low: float, high: float) -> Soup:
    return shapes.soup(shapes.bore((0, 0, low), (0, 0, high), radius, segments=48))


def with_triangle(corners: list) -> Soup:
    return np.concatenate([sound(), np.array([corners], np.float32)])


def one_missing() -> Soup:
    return sound()[1:]


def no_top() -> Soup:
    mesh = sound()
    return mesh[~(mesh[:, :, 2] == 30.0).all(axis=1)]


def two_holes() -> Soup:
    mesh = sound()
    middle = mesh.mean(axis=1)
    far = [int(np.argmax(middle @ d)) for d in ((1.0, 0.1, 0.0), (-1.0, 0.1, 0.0))]
    return np.delete(mesh, far, axis=0)


def torn_apart() -> Soup:
    """Every triangle drawn a little towards its own middle: no two share an edge."""
    mesh = sound()
    return (mesh + 0.01 * (mesh.mean(axis=1, keepdims=True) - mesh)).astype(np.float32)


def crack() -> Soup:
    """The upper half is 0.01 mm off the lower one."""
    low, high = block((-5, -5, 0), (5, 5, 10)), block((-5, -5, 10), (5, 5, 20))
    low = low[~(low[:, :, 2] == 10.0).all(axis=1)]
    high = high[~(high[:, :, 2] == 10.0).all(axis=1)]
    return np.concatenate([low, high + np.float32([0, 0, 0.01])])


def t_junction() -> Soup:
    """A box whose top is cut in two at the middle of an edge that its side does not cut."""
    mesh = block((0, 0, 0), (10, 10, 10))
    mesh = mesh[~(mesh[:, :, 2] == 10.0).all(axis=1)]
    p = np.array([[0, 0, 10], [5, 0, 10], [10, 0, 10], [10, 10, 10], [0, 10, 10]], np.float32)
    return np.concatenate([mesh, p[[[0, 1, 4], [1, 3, 4], [1, 2, 3]]]])


def one_flipped() -> Soup:
    mesh = sound()
    mesh[7] = mesh[7, ::-1]
    return mesh


def some_flipped() -> Soup:
    mesh = sound()
    mesh[5:60:7] = mesh[5:60:7, ::-1]
    return mesh


def inside_out() -> Soup:
    return turned(sound())


def one_shell_inside_out() -> Soup:
    return np.concatenate([sound(), turned(block((20, 0, 0), (24, 4, 4)))])


def cavity_faces_outward() -> Soup:
    return np.concatenate([block((0, 0, 0), (20, 20, 20)), block((5, 5, 5), (15, 15, 15))])


def duplicates() -> Soup:
    mesh = sound()
    return np.concatenate([mesh, mesh[10:14]])


def every_triangle_twice() -> Soup:
    mesh = sound()
    return np.concatenate([mesh, mesh])


def back_to_back() -> Soup:
    """Two triangles more that are each other's back."""
    mesh = sound()
    extra = mesh[20:21]
    return np.concatenate([mesh, extra, turned(extra)])


def needle() -> Soup:
    return with_triangle([[0, 0, 0], [0, 0, 0], [5, 5, 5]])


def point() -> Soup:
    return with_triangle([[1, 2, 3]] * 3)


def collinear() -> Soup:
    """A triangle and its back on a line."""
    line = [[4.0, 4.0, 30.0], [5.0, 5.0, 30.0], [6.0, 6.0, 30.0]]
    extra = np.array([line, line[::-1]], np.float32)
    return np.concatenate([sound(), extra])


def overlapping() -> Soup:
    return np.concatenate([sound(), block((8, -4, 5), (16, 4, 15))])


def within() -> Soup:
    return np.concatenate([sound(), block((5, 5, 5), (8, 8, 9))])


def through_itself() -> Soup:
    """One piece whose own surface runs through its metal: a U whose legs cross."""
    mesh = shapes.soup(
        shapes.block((0, 0, 0), (20, 4, 4))
        + shapes.block((0, 0, 0), (4, 4, 20))
        + shapes.block((16, 0, 0), (20, 4, 20))
    )
    lean = np.float32(1.3) * np.maximum(mesh[:, :, 2] - 4, 0)
    mesh[:, :, 0] += np.where(mesh[:, :, 0] < 10, lean, -lean)
    return mesh


def four_at_an_edge() -> Soup:
    return np.concatenate([block((0, 0, 0), (10, 10, 10)), block((10, 10, 0), (20, 20, 10))])


def one_sided() -> Soup:
    """A ring of triangles with half a turn."""
    t = np.linspace(0.0, 2.0 * np.pi, 25)
    side = np.stack([np.cos(t / 2) * np.cos(t), np.cos(t / 2) * np.sin(t), np.sin(t / 2)], axis=1)
    middle = 10.0 * np.stack([np.cos(t), np.sin(t), 0.0 * t], axis=1)
    a, b = (middle + 2 * side).astype(np.float32), (middle - 2 * side).astype(np.float32)
    a[-1], b[-1] = b[0], a[0]
    return np.concatenate(
        [np.stack([a[:-1], b[:-1], a[1:]], axis=1), np.stack([b[:-1], b[1:], a[1:]], axis=1)]
    )


def bare_surface() -> Soup:
    return disc(8.0, 0.0)


def no_volume() -> Soup:
    one = disc(8.0, 0.0)
    return np.concatenate([one, turned(one)])


def in_metres() -> Soup:
    return (sound() * np.float32(1e-3)).astype(np.float32)


def in_inches() -> Soup:
    return (sound() / np.float32(25.4)).astype(np.float32)


def in_micrometres() -> Soup:
    return sound() * np.float32(1e3)


def not_a_number() -> Soup:
    mesh = sound()
    mesh[3, 1, 2] = np.nan
    return mesh


def infinite() -> Soup:
    mesh = sound()
    mesh[3, 1, 2] = np.inf
    return mesh


def bare_sheet() -> Soup:
    """Level triangles without thickness across the bore."""
    return np.concatenate([sound(), disc(2.9, 12.0)])


def folded_sheet() -> Soup:
    """The same from both sides."""
    one = disc(2.9, 12.0)
    return np.concatenate([sound(), one, turned(one)])


def thin_sheet() -> Soup:
    """A plate of 0.15 mm across the bore, standing into the wall."""
    return np.concatenate([sound(), plate(3.4, 12.0, 12.15)])


def floating_speck() -> Soup:
    """A loose piece in the wall's metal, facing inward: a closed void of 1 mm."""
    return np.concatenate(
        [sound(), turned(block((5, 5, 5), (6, 6, 6))), block((5.2, 5.2, 5.2), (8, 8, 8))]
    )


Make = Callable[[], Soup]

BAD: dict[str, tuple[Make, str]] = {
    "one triangle missing": (one_missing, "open: 3 unclosed edges"),
    "no top": (no_top, "open: 52 unclosed edges"),
    "two holes": (two_holes, "open: 6 unclosed edges"),
    "torn apart": (torn_apart, "unclosed edges"),
    "a crack": (crack, "open: 8 unclosed edges"),
    "a T-junction": (t_junction, "T-junctions"),
    "one triangle flipped": (one_flipped, "flipped: 1 triangle against"),
    "some triangles flipped": (some_flipped, "flipped: 8 triangles against"),
    "inside out": (inside_out, "facing inward"),
    "one shell inside out": (one_shell_inside_out, "facing inward: 12 triangles"),
    "a cavity that faces outward": (cavity_faces_outward, "overlapping: 1 of 2 pieces"),
    "duplicates": (duplicates, "duplicate: 4 triangles"),
    "every triangle twice": (every_triangle_twice, "duplicate: "),
    "two triangles back to back": (back_to_back, "duplicate: 2 triangles"),
    "a needle": (needle, "zero area: 1 triangle"),
    "a point": (point, "zero area: 1 triangle"),
    "triangles on a line": (collinear, "zero area: 2 triangles"),
    "overlapping shells": (overlapping, "overlapping: 2 of 2 pieces"),
    "a shell within metal": (within, "overlapping: 1 of 2 pieces"),
    "through itself": (through_itself, "overlapping: 1 of 1 piece"),
    "four triangles at an edge": (four_at_an_edge, "crowded: 1 edges"),
    "one-sided": (one_sided, "one-sided"),
    "a bare surface": (bare_surface, "open: 48 unclosed edges"),
    "no volume": (no_volume, "no volume"),
    "metres taken for millimetres": (in_metres, "unit m would make it likely"),
    "inches taken for millimetres": (in_inches, "unit inch would make it likely"),
    "micrometres taken for millimetres": (in_micrometres, "unit um would make it likely"),
    "not a number": (not_a_number, "not finite: in 1 triangle"),
    "infinite": (infinite, "not finite: in 1 triangle"),
    "a bare sheet across the bore": (bare_sheet, "flat sheet of the file's own"),
    "a folded sheet across the bore": (folded_sheet, "flat sheet of the file's own"),
    "a thin sheet across the bore": (thin_sheet, "0.15 mm thick"),
    "a cavity with a loose piece": (floating_speck, "overlapping"),
}

DAMAGED: dict[str, tuple[Callable[[bytes], bytes], str]] = {
    "empty": (lambda data: b"", "empty"),
    "cut off": (lambda data: data[: len(data) // 2], "cut off"),
    "a count too large": (lambda data: data[:80] + b"\xff\xff\xff\x7f" + data[84:], "header says"),
    "no triangles": (lambda data: data[:80] + bytes(4), "holds no triangles"),
    "words": (lambda data: b"This is a drawing list, not a mesh.\n" * 20, "cut off"),
    "random bytes": (lambda data: np.random.default_rng(3).bytes(5000), "cut off"),
    "text STL cut off": (
        lambda data: b"solid a\n facet normal 0 0 1\n  outer loop\n   vertex 0 0",
        "cut off",
    ),
}
