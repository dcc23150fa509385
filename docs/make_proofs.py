"""Draw a figure for each proof of docs/method.md: ``python docs/make_proofs.py [FOLDER]``.

One small part, a block with a leaning bore; what is drawn is what the program computes of it.
"""

from __future__ import annotations

import itertools
import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import manifold3d as m3
import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from clearance import Case
from clearance.evidence.signs import overhang
from clearance.figures import style
from clearance.figures.areas import area
from clearance.figures.files import write
from clearance.figures.style import Look
from clearance.flow.of_check import CheckedFlow
from clearance.geometry import sections
from clearance.geometry.areas import largest_circle_mm
from clearance.geometry.planes import Plane
from clearance.passages.fins import Told, unseen
from clearance.passages.levels import faces
from clearance.passages.rooms import holds_rims_only, room
from clearance.predicted.part import NOMINAL, Predicted
from clearance.predicted.plane_sections import predicted_metal, stray_metal
from clearance.predicted.slabs import slabs
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import prepare

FIGURES = Path(__file__).parent / "figures"
LOW, HIGH = np.array([-9.0, -4.0, 0.0]), np.array([9.0, 4.0, 16.0])
LEAN, RADIUS, LAYER = 4.5, 2.0, 0.4
WIDE_IN, HIGH_IN, TEXT_PT = 7.0, 3.6, 9.0
SURE = Look("#bdbdbd", "#8a8a8a", width_pt=0.3)
BALL = Look("none", style.WARN, width_pt=1.4)
SOFT = Look("none", "#005a9c", width_pt=1.0)
PIECES = ("#9ecae9", "#f6c98a", "#b5d8a6", "#d9c2e6")


# ---- the part --------------------------------------------------------------------------------


def checked(
    pitch: float,
    height: float,
    *,
    lean: float = LEAN,
    less: m3.Manifold | None = None,
    stray: m3.Manifold | None = None,
    rate: float | None = None,
    **event: Any,
) -> PassageCheck:
    """The passage of the block with an event at a height, or with measured stray metal.

    The bore leans by `lean` to both sides of the middle; `less` is cut out of the block as well.
    With a `rate` water flows, L/min.
    """
    block = m3.Manifold.cube(tuple(HIGH - LOW)).translate(tuple(LOW))
    along = np.array([2.0 * lean, 0.0, HIGH[2]])
    turn = float(np.degrees(np.arctan2(along[0], along[2])))
    bore = m3.Manifold.cylinder(40.0, RADIUS, RADIUS, 64, center=True).rotate((0.0, turn, 0.0))
    part = block - bore.translate((0.0, 0.0, 0.5 * HIGH[2]))
    wide = RADIUS / float(np.cos(np.radians(turn)))
    if stray is not None:
        sheet: dict[str, Any] = {"shape": "mesh", "mesh": "stray.stl", "source": "measured"}
    else:
        sheet = {"height": height, "layers": 3, "penetration": LAYER}
        if "next_layer" not in event:
            sheet["resume"] = "height"
    tables = {
        "part": {
            "name": "block",
            "mesh": "block.stl",
            "layer_thickness": LAYER,
            "platform_z": 0.0,
        },
        "passage": [
            {
                "name": "bore",
                "inlet": {"centre": [-lean, 0.0, 0.0], "radius": wide},
                "outlet": {"centre": [lean, 0.0, float(HIGH[2])], "radius": wide},
                "min_clear_diameter": 3.0,
            }
        ],
        "stray": [{**sheet, **event}],
        "grid": {"pitch": pitch},
        "drilling": {"series": []},
    }
    if rate is not None:
        tables["flow"] = {"density": 998.0, "viscosity": 0.001, "rate": rate}
    with tempfile.TemporaryDirectory() as folder:
        _write_stl(Path(folder) / "block.stl", _soup(part if less is None else part - less))
        if stray is not None:
            _write_stl(Path(folder) / "stray.stl", _soup(stray))
        ready = prepare(Case.from_tables(tables, folder))
    return PassageCheck(ready, ready.case.passage[0])


def _soup(solid: m3.Manifold) -> Any:
    mesh = solid.to_mesh()
    return np.asarray(mesh.vert_properties, np.float32)[np.asarray(mesh.tri_verts)][:, :, :3]


def _write_stl(path: Path, soup: Any) -> None:
    record = np.zeros(len(soup), [("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    record["v"] = soup
    count = np.array([len(soup)], "<u4").tobytes()
    path.write_bytes(b" " * 80 + count + record.tobytes())


def whole(check: PassageCheck, events: Any = None) -> Predicted:
    """The whole part after the event of the case, or another."""
    known = check.checked.unknowns.variants[0].events
    return check.checked.whole.predict(known if events is None else events)


# ---- what several figures draw ---------------------------------------------------------------


def panels(count: int, titles: list[str]) -> tuple[Figure, list[Axes]]:
    """A figure with panels side by side."""
    figure = Figure(figsize=(WIDE_IN, HIGH_IN), layout="constrained")
    axes = list(np.atleast_1d(figure.subplots(1, count)))
    for one, title in zip(axes, titles, strict=True):
        one.set_title(title, fontsize=TEXT_PT)
        one.set_aspect("equal")
    return figure, axes


def upright(
    axes: Axes, x: tuple[float, float] = (-9.5, 9.5), z: tuple[float, float] = (-1, 17)
) -> None:
    """Limits and words of a section at y = 0."""
    axes.set_xlim(*x)
    axes.set_ylim(*z)
    axes.set_xlabel("x, mm")
    axes.set_ylabel("z, mm")


def cut(predicted: Predicted, y: float = 0.0) -> tuple[Any, Any]:
    """Metal of the part without slices and the slices, in the plane of y, as (x, z)."""
    plane = Plane.through((0.0, y, 8.0), (0.0, 1.0, 0.0))

    def seen(shape: Any) -> Any:
        return shapely.transform(shape, lambda xy: plane.to_space(xy)[:, [0, 2]])

    _, metal = predicted_metal(predicted, plane, whole=True)
    return seen(metal), seen(stray_metal(predicted, plane))


def say(axes: Axes, x: float, y: float, words: str, to: tuple[float, float] | None = None) -> None:
    """Words, with a line to what they are about."""
    arrow = None if to is None else {"arrowstyle": "-", "linewidth": 0.7, "color": style.INK}
    axes.annotate(
        words, xy=to or (x, y), xytext=(x, y), fontsize=TEXT_PT, color=style.INK, ha="center",
        va="center", arrowprops=arrow, bbox=style.BACKED,
    )  # fmt: skip


def circle(x: float, y: float, diameter: float) -> Any:
    """A circle as a figure."""
    return shapely.Point(x, y).buffer(0.5 * diameter, quad_segs=24)


# ---- a figure for each proof -----------------------------------------------------------------


def columns() -> Figure:
    """Metal as runs along columns."""
    check = checked(1.0, 9.0)
    window = check.checked.whole
    grid = window.grid
    figure, (axes,) = panels(1, ["metal as intervals along columns, exact in z"])
    j = grid.nearest(0.0, 0.0)[1]
    nominal = window.predict(NOMINAL)
    area(axes, cut(nominal, float(grid.y_mm(j)))[0], style.METAL, "metal")
    for i in range(grid.nx):
        for low, high in nominal.metal.of(i * grid.ny + j):
            x = float(grid.x_mm(i))
            axes.plot([x, x], [low, high], color=style.INK, linewidth=1.4)
            axes.plot([x, x], [low, high], ".", color=style.WARN, markersize=4)
    upright(axes)
    return figure


def predicted_part() -> Figure:
    """The slab table, with the part going on at its height and lifted."""
    figure, axes = panels(2, ['resume = "height"', 'resume = "layer": lifted'])
    for one, resume in zip(axes, ("height", "layer"), strict=True):
        check = checked(0.5, 9.0, resume=resume)
        predicted = whole(check)
        metal, slices = cut(predicted)
        melted = _melted(check, predicted)
        area(one, metal, style.UNMELTED, "powder")
        area(one, melted, style.METAL, "metal")
        area(one, slices.intersection(melted), style.STRAY, "slices")
        upright(one, (-7.0, 7.0), (6.0, 13.0))
        say(one, 5.0, 12.3, "above")
        say(one, 5.6, 7.6, "below")
    say(axes[0], -3.6, 12.3, "gap: stays powder", (-3.4, 9.8))
    say(axes[0], 1.0, 6.6, "wrong slices in the bore", (1.0, 9.4))
    return figure


def _melted(check: PassageCheck, predicted: Predicted) -> Any:
    """Metal as it was melted, at y = 0, from the table without what stayed powder."""
    pieces = []
    nominal = check.checked.whole.predict(NOMINAL)
    solid = cut(nominal)[0]
    for slab in slabs(predicted.events, loose=True):
        low, high = max(slab.low, -1.0), min(slab.high, 18.0)
        band = shapely.box(-20.0, low, 20.0, high)
        if slab.lift is not None:
            lift = slab.lift
            moved = shapely.transform(solid, lambda xz, lift=lift: xz + np.array([0.0, lift]))
            pieces.append(shapely.intersection(moved, band))
        for gate in slab.gates:
            line = shapely.intersection(
                predicted.outline(gate), shapely.LineString([(-20, 0), (20, 0)])
            )
            for piece in shapely.get_parts(line):
                pieces.append(shapely.box(piece.bounds[0], low, piece.bounds[2], high))
    return shapely.union_all(pieces)


def possible_void() -> Figure:
    """Squares that are surely metal, and the pieces of the rest."""
    titles = ["sheet at z 5: one piece", "sheet at z 9: inlet and outlet apart"]
    figure, axes = panels(2, titles)
    for one, height in zip(axes, (5.0, 9.0), strict=True):
        check = checked(0.8, height)
        predicted = check.predicted(check.checked.unknowns.variants[0].events, 0.8)
        found = check.crossed(predicted, check.checked.unknowns.variants[0])
        search = check.search(predicted, list(found.crossings))
        void, grid = predicted.possible, predicted.grid
        ends = [search.behind_inlet, void.pieces_at(np.array([[LEAN - 0.6, 0.0, 15.0]]))]
        squares, lows, highs = void.runs
        for number, low, high in zip(squares, lows, highs, strict=True):
            i, j = divmod(int(number), grid.ny - 1)
            if not grid.y_mm(j) <= 0.0 < grid.y_mm(j + 1):
                continue
            here = np.flatnonzero((squares == number) & (lows == low))[0]
            piece = int(void.piece[here])
            kind = 0 if piece in ends[0] else 1 if piece in ends[1] else None
            look = Look("#efefef", "#c8c8c8", width_pt=0.3)
            if kind is not None:
                look = Look(PIECES[kind], "#7a7a7a", width_pt=0.3)
            x = float(grid.x_mm(i)), float(grid.x_mm(i + 1))
            area(one, shapely.box(x[0], max(low, -1), x[1], min(high, 17)), look, "void")
        metal, slices = cut(predicted)
        area(one, metal, Look("none", style.INK, width_pt=1.2), "metal")
        area(one, slices, style.STRAY, "slices")
        upright(one)
    return figure


def low_end() -> Figure:
    """The way that proves the low end, with its ball."""
    check = checked(0.4, 5.0)
    variant = check.checked.unknowns.variants[0]
    judged = check.judge(variant)
    way = judged.way
    predicted = check.predicted(variant.events, judged.pitch_mm)
    figure, (axes,) = panels(1, [f"a ball of {way.low_mm:.2f} mm travels along the way"])
    metal, slices = cut(predicted)
    area(axes, metal, style.METAL, "metal")
    area(axes, slices, style.STRAY, "slices")
    axes.plot(way.route[:, 0], way.route[:, 2], color="#005a9c", linewidth=1.2)
    for share in np.linspace(0.05, 0.95, 7):
        at = way.route[int(share * (len(way.route) - 1))]
        area(axes, circle(at[0], at[2], way.low_mm), Look("none", "#7fb2d9", width_pt=0.8), "ball")
    throat = way.throat
    area(axes, circle(throat[0], throat[2], way.low_mm), BALL, "throat")
    said = "least exact distance\nto the surface: here"
    say(axes, 4.6, 2.6, said, (throat[0] + 0.5 * way.low_mm, throat[2]))
    upright(axes)
    return figure


def high_end() -> Figure:
    """The circle of the narrowest level section, and what is open there."""
    check = checked(0.4, 5.0)
    variant = check.checked.unknowns.variants[0]
    judged = check.judge(variant)
    (crossing,) = judged.crossings
    figure, axes = panels(2, ["from the side", f"level section at z {crossing.level_mm:.2f}"])
    predicted = check.predicted(variant.events, judged.pitch_mm)
    metal, slices = cut(predicted)
    area(axes[0], metal, style.METAL, "metal")
    area(axes[0], slices, style.STRAY, "slices")
    axes[0].axhline(crossing.level_mm, color=style.WARN, linewidth=1.0)
    upright(axes[0], (-7.0, 4.0), (1.0, 10.0))
    area(axes[1], crossing.footprint, style.METAL, "footprint")
    area(axes[1], crossing.opening, style.VOID, "opening")
    centre = shapely.maximum_inscribed_circle(crossing.opening, tolerance=1e-3)
    x, y = shapely.get_coordinates(centre)[0]
    area(axes[1], circle(x, y, crossing.circle_mm), BALL, "circle")
    said = f"largest circle {largest_circle_mm(crossing.opening):.2f} mm:\nno larger ball passes"
    say(axes[1], -1.0, 3.2, said, (x, y + 0.4 * crossing.circle_mm))
    axes[1].set_xlim(-6.5, 2.5)
    axes[1].set_ylim(-3.4, 4.4)
    axes[1].set_xlabel("x, mm")
    axes[1].set_ylabel("y, mm")
    return figure


def stopper() -> Figure:
    """A mouth, its closing surface, and the stopper that stands on it."""
    pitch = 0.6
    check = checked(pitch, 9.0)
    window = check.window(pitch)
    figure, (axes,) = panels(1, ["a stopper closes the mouth for columns and squares"])
    nominal = window.predict(NOMINAL)
    plane = Plane.through((0.0, 0.0, 8.0), (0.0, 1.0, 0.0))
    plugs = shapely.transform(
        sections.metal(window.plugs, plane, overlapping=True),
        lambda xy: plane.to_space(xy)[:, [0, 2]],
    )
    area(axes, cut(nominal)[0], style.METAL, "metal")
    area(axes, plugs, Look("#cfe0ee", "#005a9c", "\\\\", width_pt=1.0), "stopper")
    rim = check.inlet.rim
    axes.plot([rim[:, 0].min(), rim[:, 0].max()], [0.0, 0.0], color=style.WARN, linewidth=2.2)
    say(axes, -7.4, -2.3, "stopper", (-5.4, -1.4))
    say(axes, -0.6, -2.3, "closing surface", (-3.6, 0.0))
    say(axes, 1.0, 2.4, "void behind the mouth", (-3.4, 1.5))
    upright(axes, (-9.5, 5.0), (-3.2, 4.0))
    return figure


def stopper_room() -> Figure:
    """The room around a stopper: nothing else in it, or a hole that has to be looked at."""
    pitch = 0.6
    by = m3.Manifold.cylinder(3.5, 0.45, 0.45, 32).translate((-1.1, 0.0, -0.5))
    cases = (None, by)
    figure, axes = panels(2, ["", ""])
    for one, less in zip(axes, cases, strict=True):
        check = checked(pitch, 9.0, less=less)
        own = room([check.inlet], pitch)
        proven = holds_rims_only(check.checked.bodies.part, [check.inlet], own) is not None
        said = "proven: nothing is hidden" if proven else "not proven: looked at again"
        one.set_title(said, fontsize=TEXT_PT)
        metal = cut(check.window(pitch).predict(NOMINAL))[0]
        area(one, metal, style.METAL, "metal")
        inside = shapely.box(-20.0, -20.0, 20.0, 20.0)
        for normal, bound in zip(own.normals, own.bounds, strict=True):
            inside = shapely.intersection(inside, _half(normal[[0, 2]], bound))
        area(one, inside, Look("none", "#005a9c", line="--", width_pt=1.2), "room")
        surface = shapely.intersection(metal.boundary, inside)
        for part in shapely.get_parts(shapely.line_merge(surface)):
            for (x0, z0), (x1, z1) in itertools.pairwise(shapely.get_coordinates(part)):
                face = abs(z0) + abs(z1) < 1e-3
                colour = "#005a9c" if face else style.WARN
                one.plot([x0, x1], [z0, z1], color=colour, linewidth=2.6, solid_capstyle="round")
        upright(one, (-9.5, 1.5), (-3.4, 5.0))
    say(axes[0], -7.2, -2.9, "room", (-6.6, -2.4))
    say(axes[0], -1.4, -1.0, "face before\nthe mouth", (-1.6, 0.0))
    say(axes[0], -1.6, 4.4, "wall behind it", (-2.2, 0.1))
    say(axes[1], -1.6, -2.9, "a hole beside the mouth", (-1.1, 0.1))
    return figure


def _half(normal: Any, bound: float) -> Any:
    """All points of a plane with normal @ point <= bound, as far as figures go."""
    size = float(np.hypot(*normal))
    if size < 1e-9:
        return shapely.box(-50.0, -50.0, 50.0, 50.0)
    unit = normal / size
    across = np.array([-unit[1], unit[0]])
    edge = unit * bound / size
    corners = [edge + 80.0 * across, edge - 80.0 * across]
    return shapely.Polygon([*corners, corners[1] - 80.0 * unit, corners[0] - 80.0 * unit])


def ball_at_mouth() -> Figure:
    """Stray metal in front of a mouth: a ball stands out by half, and meets it there."""
    hole, off, top = 2.4, 0.5, float(HIGH[2])
    plate = m3.Manifold.cube((12.0, 7.0, 0.6)).translate((-6.0, -3.5, top + off))
    plate -= m3.Manifold.cylinder(4.0, 0.5 * hole, 0.5 * hole, 64, True).translate((0, 0, top))
    check = checked(0.4, 0.0, lean=0.0, stray=plate)
    variant = check.checked.unknowns.variants[0]
    judged = check.judge(variant)
    high = judged.way.high_mm
    titles = ["a ball of that size", "by the distance d of a plate with a hole of 2.4"]
    figure, axes = panels(2, titles)
    metal, _ = cut(check.window(0.4).predict(NOMINAL))
    area(axes[0], metal, style.METAL, "metal")
    slab = shapely.box(-6.0, top + off, 6.0, top + off + 0.6)
    area(axes[0], slab.difference(shapely.box(-0.5 * hole, 0.0, 0.5 * hole, 40.0)), style.STRAY, "")
    axes[0].plot([-RADIUS, RADIUS], [top, top], color="#005a9c", linewidth=2.0)
    area(axes[0], circle(0.0, top, high), BALL, "ball")
    say(axes[0], 3.2, 14.3, "closing surface", (1.8, top))
    say(axes[0], 3.0, 18.4, f"c = {hole:g}", (0.5 * hole, top + off))
    say(axes[0], -3.4, 18.4, f"at most {high:.2f} mm", (-0.35 * high, top + 0.3 * high))
    upright(axes[0], (-5.5, 5.5), (12.0, 19.0))
    away = np.linspace(0.0, 1.8, 80)
    wide = 2.0 * RADIUS
    axes[1].set_aspect("auto")
    axes[1].plot(away, np.minimum(np.sqrt(hole**2 + 4.0 * away**2), wide), color=style.INK)
    axes[1].plot([off], [high], "o", color=style.WARN, markersize=7)
    axes[1].axhline(wide, color="#005a9c", linewidth=0.9, linestyle="--")
    say(axes[1], 0.6, wide - 0.18, "the mouth's own circle")
    say(axes[1], 1.1, 2.75, "computed", (off, high))
    axes[1].set_xlabel("d, mm")
    axes[1].set_ylabel("ball at most, mm")
    return figure


def slanting_plate() -> Figure:
    """A plate across a bore of which every level section shows a part only."""
    plate = m3.Manifold.cube((9.0, 7.0, 0.5), True).rotate((0.0, -50.0, 0.0)).translate((0, 0, 8))
    check = checked(0.4, 0.0, lean=0.0, stray=plate)
    variant = check.checked.unknowns.variants[0]
    judged = check.judge(variant)
    predicted = check.predicted(variant.events, 0.4)
    own = check.sections(predicted.window)
    heights = np.linspace(4.0, 12.0, 81)
    bore = circle(0.0, 0.0, 2.0 * RADIUS)
    shares = [bore.difference(predicted.section(z)).area / bore.area for z in heights]
    told = [Told(4.0, 12.0, True, bore)]
    (found,) = unseen(own, predicted.events, told)
    figure, axes = panels(2, [f"the passage: {judged.state.value}", "open in level sections"])
    metal, slices = cut(predicted)
    area(axes[0], metal, style.METAL, "metal")
    area(axes[0], slices, style.STRAY, "plate")
    upright(axes[0], (-5.0, 5.0), (2.0, 14.0))
    axes[1].set_aspect("auto")
    axes[1].plot(shares, heights, color=style.INK)
    axes[1].set_xlim(0.0, 1.05)
    axes[1].set_ylim(2.0, 14.0)
    axes[1].set_xlabel("open fraction")
    axes[1].set_ylabel("z, mm")
    least = int(np.argmin(shares))
    say(axes[1], 0.42, 11.6, f"never less than {100.0 * shares[least]:.0f} %",
        (shares[least], heights[least]))  # fmt: skip
    say(axes[1], 0.42, 3.4, f"told: the metal from z {found:.2f} on\nmay shut it unseen")
    return figure


def loss_bracket() -> Figure:
    """Pressure loss against flow: two ends, and what each may be used for."""
    rates = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 30.0)
    ends: dict[str, list[tuple[float, float]]] = {"nominal": [], "predicted": []}
    for rate in rates:
        check = checked(0.4, 5.0, rate=rate)
        for variant in check.checked.unknowns.variants:
            check.judged.append(check.judge(variant))
        flow = CheckedFlow(check).after(None)
        assert flow is not None
        for name, told in ends.items():
            loss = flow[name]  # type: ignore[literal-required]
            told.append((loss["low_kpa"], loss["high_kpa"]))
    figure, (axes,) = panels(1, ["a bracket of the pressure loss, at every flow"])
    axes.set_aspect("auto")
    looks = {"nominal": ("#9ecae9", "#005a9c", "\\\\"), "predicted": ("#f6c98a", "#8a4b00", "//")}
    for name, told in ends.items():
        low, high = np.array(told).T
        face, edge, hatch = looks[name]
        axes.fill_between(rates, low, high, facecolor=face, edgecolor=edge, alpha=0.8, hatch=hatch,
                          linewidth=1.0, label=name)  # fmt: skip
    allowed = 100.0
    axes.axhline(
        allowed, color=style.WARN, linewidth=1.2, linestyle="-.", label="say 100 kPa allowed"
    )
    low, high = np.array(ends["predicted"]).T
    for values, words, z in (
        (high, "surely met\nup to here", 1e4),
        (low, "surely missed\nfrom here", 1.5),
    ):
        at = float(np.exp(np.interp(np.log(allowed), np.log(values), np.log(rates))))
        axes.plot([at, at], [allowed, z], color=style.INK, linewidth=0.8)
        axes.plot([at], [allowed], "o", color=style.INK, markersize=4)
        say(axes, at, z, words)
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlabel("flow, L/min")
    axes.set_ylabel("pressure loss, kPa")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.legend(loc="lower right", fontsize=TEXT_PT)
    return figure


def levels() -> Figure:
    """The faces of a sheet, and how much of the passage each leaves open."""
    check = checked(0.4, 5.0)
    variant = check.checked.unknowns.variants[0]
    predicted = check.predicted(variant.events, 0.4)
    own = check.sections(predicted.window)
    figure, axes = panels(2, ["levels: faces of all layers", "open there, of the nominal area"])
    axes[1].set_aspect("auto")
    metal, slices = cut(predicted)
    area(axes[0], metal, style.METAL, "metal")
    area(axes[0], slices, style.STRAY, "slices")
    shares, heights = [], []
    for face in faces(own, predicted.events, 0):
        axes[0].axhline(face.z, color=style.WARN, linewidth=0.8)
        nominal = sum(piece.area for piece in face.lower)
        opened = sum(piece.opening.area for piece in face.pieces)
        if nominal > 0.0:
            shares.append(opened / nominal)
            heights.append(face.z)
    axes[1].plot(shares, heights, "o-", color=style.INK, linewidth=1.0, markersize=4)
    least = int(np.argmin(shares))
    axes[1].plot([shares[least]], [heights[least]], "o", color=style.WARN, markersize=7)
    axes[1].set_xlim(0.0, 1.05)
    axes[1].set_xlabel("open fraction; the least counts")
    axes[1].set_ylabel("z, mm")
    upright(axes[0], (-5.0, 3.0), (4.0, 7.0))
    axes[1].set_ylim(4.0, 7.0)
    return figure


def between_heights() -> Figure:
    """All places of a sheet whose height is not known: what any has, and what all have."""
    check = checked(0.4, 5.0, height_uncertainty=0.3)
    (span,) = check.checked.unknowns.spans
    figure, axes = panels(2, ["what any of these sheets has", "what all of them have"])
    for one, sure in zip(axes, (False, True), strict=True):
        events = tuple(replace(event, sure=sure) for event in span.events)
        metal, slices = cut(whole(check, events))
        area(one, metal, style.METAL, "metal")
        area(one, slices, style.STRAY, "slices")
        upright(one, (-6.0, 3.0), (3.0, 8.0))
    return figure


def step() -> Figure:
    """The step that a part leaves that goes on aside."""
    check = checked(0.4, 9.0, layers=0, next_layer=23, resume_shift=[0.9, 0.0])
    predicted = whole(check)
    out = overhang(predicted)
    figure, (axes,) = panels(1, [f"the part goes on aside: stands out by {out.length_mm:.2f} mm"])
    area(axes, cut(predicted)[0], style.METAL, "metal")
    x, _, z = out.at_mm
    axes.annotate(
        "", xy=(x, z + 0.5), xytext=(x - out.length_mm, z + 0.5),
        arrowprops={"arrowstyle": "<->", "color": style.WARN, "linewidth": 1.4},
    )  # fmt: skip
    say(axes, 10.9, 7.2, "what is above lies\nbeyond what is below", (x - 0.4, z))
    upright(axes, (3.0, 13.0), (6.0, 12.0))
    return figure


PROOFS: dict[str, Callable[[], Figure]] = {
    "proof-columns.svg": columns,
    "proof-predicted.svg": predicted_part,
    "proof-blocked.svg": possible_void,
    "proof-stopper.svg": stopper,
    "proof-low.svg": low_end,
    "proof-high.svg": high_end,
    "proof-levels.svg": levels,
    "proof-between.svg": between_heights,
    "proof-step.svg": step,
    "proof-room.svg": stopper_room,
    "proof-mouth.svg": ball_at_mouth,
    "proof-fin.svg": slanting_plate,
    "proof-flow.svg": loss_bracket,
}


def main(folder: Path) -> None:
    """Draw all figures into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    sizes = {"axes.labelsize": TEXT_PT, "xtick.labelsize": TEXT_PT, "ytick.labelsize": TEXT_PT}
    for name, draw in PROOFS.items():
        with mpl.rc_context({**style.SETTINGS, **sizes}):
            write(draw(), folder / name)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FIGURES)
