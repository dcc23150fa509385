"""The symbol of the projection: first angle, as everywhere here.

In: a place in a figure, inches. Out: the truncated cone and its view from the left, which stands
right of it (ISO 5456-2).
"""

from __future__ import annotations

from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse, Patch, Polygon

from clearance.figures import style


def first_angle(figure: Figure, at: tuple[float, float], size_in: float) -> None:
    """Draw the symbol with its lower left corner at a place, as high as `size_in`.

    The cone's narrow end points left; seen from there both its circles are visible, and that view
    stands on the right. It is twice and a half as wide as high.
    """
    width, height = figure.get_size_inches()
    x, y = at
    middle = y + 0.5 * size_in

    def place(dx: float, dy: float) -> tuple[float, float]:
        return (x + dx * size_in) / width, (middle + dy * size_in) / height

    corners = [place(0.0, -0.25), place(0.0, 0.25), place(1.0, 0.5), place(1.0, -0.5)]
    patches: list[Patch] = [Polygon(corners, closed=True)]
    for share in (1.0, 0.5):
        size = share * size_in
        patches.append(Ellipse(place(1.9, 0.0), size / width, size / height))
    for patch in patches:
        patch.set(fill=False, edgecolor=style.INK, linewidth=style.THIN_PT)
        patch.set_transform(figure.transFigure)
        figure.add_artist(patch)
    for (x0, y0), (x1, y1) in (
        (place(-0.15, 0.0), place(1.15, 0.0)),
        (place(1.25, 0.0), place(2.55, 0.0)),
        (place(1.9, -0.65), place(1.9, 0.65)),
    ):
        line = Line2D(
            (x0, x1), (y0, y1), color=style.INK, linewidth=style.HAIR_PT, linestyle=style.AXIS
        )
        figure.add_artist(line)
