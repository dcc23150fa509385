"""One passage in one predicted part, as judged; and what several such looks say together.

In: crossings, a way and a state. Out: `PassageVerdict`; the look that knows more, the leak that is
named, the variants between which a state flips.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from clearance.geometry.soup import Soup
from clearance.heights import place
from clearance.passages.crossings import Crossing
from clearance.passages.way import Way
from clearance.predicted.variants import Variant
from clearance.result import OpenTogether, State
from clearance.verdict.numbers import rounded_up
from clearance.verdict.states import contradicts

if TYPE_CHECKING:
    import networkx

    from clearance.predicted.part import Predicted


FACETS_MM = 2e-3
"""By so much the facets' share may miss what is missing, for the search of circles."""


@dataclass(frozen=True, eq=False)
class Crossed:
    """What crosses one passage in one predicted part.

    Attributes
    ----------
    crossings : tuple of Crossing
        Those that can lie on the way from inlet to outlet.
    graph : networkx.MultiGraph
        Its edges are numbered as they are.
    everything : tuple of Crossing
        All crossings of the void, those of its other branches too: what is proven of ways
        rests on these.
    """

    variant: Variant
    crossings: tuple[Crossing, ...]
    graph: networkx.MultiGraph
    everything: tuple[Crossing, ...]


@dataclass(frozen=True)
class Together:
    """Channels that lead side by side through one sheet.

    Attributes
    ----------
    stray : int
        Number of the stray table.
    height_mm : float
        Of the channel that is closed most.
    channels : int
        Crossings that surely are among them.
    least, greatest : float
        Open share of their nominal area: of those that surely are among them, and of whichever
        others lower or raise it most. Each counts at the height where least of it is open.
    """

    stray: int
    height_mm: float
    channels: int
    least: float
    greatest: float

    def told(self) -> OpenTogether:
        """As the result has it."""
        return {
            "stray": self.stray,
            "height_mm": self.height_mm,
            "channels": self.channels,
            "least": self.least,
            "greatest": self.greatest,
        }


@dataclass(frozen=True, eq=False)
class PassageVerdict(Crossed):
    """One passage in one predicted part.

    `wide`: it is wide enough by proof, so that no finer pitch tells what is undetermined.
    `together`: what channels side by side leave open, where the case asks for it.
    `part`: where it was judged, if that is not the variant's part but that less a plan's bores.
    """

    state: State
    way: Way
    reasons: tuple[str, ...]
    pitch_mm: float
    wide: bool = False
    part: Predicted | None = None
    together: tuple[Together, ...] = ()


def tighter(a: PassageVerdict, b: PassageVerdict) -> PassageVerdict:
    """Of two looks at one passage the one that knows more."""
    if b.state is not State.UNDETERMINED or contradicts(b.way):
        return b
    if b.way.high_mm - b.way.low_mm < a.way.high_mm - a.way.low_mm:
        return b
    return a


def leaks(judged: list[PassageVerdict], platform_z: float) -> list[str]:
    """A way out of the part that is too narrow to matter, named all the same."""
    way = next((j.way for j in judged if j.way.leak_mm > 0.0 and not j.way.leak), None)
    if way is None:
        return []
    near = "" if way.leak_at is None else f" near {place(way.leak_at, platform_z)}"
    return [
        f"the void may also reach the outside{near}, by ways of at most "
        f"{rounded_up(way.leak_mm, 2)} mm: what is wider has not left the part"
    ]


def facets(nominal: PassageVerdict, required_mm: float, metal: Callable[[], Soup]) -> list[str]:
    """Whether the nominal part misses its requirement only because it is drawn in facets."""
    missing = required_mm - nominal.way.low_mm
    if missing <= 0.0 or nominal.way.leak or not len(nominal.way.route):
        return []
    from clearance.geometry.chord_error import only_facets

    if not only_facets(metal(), nominal.way.route, 0.5 * required_mm, 0.5 * FACETS_MM):
        return []
    return [
        f"the nominal mesh itself lets {nominal.way.low_mm:.3f} mm pass, {missing:.3f} mm less "
        "than required, and only facets of its round walls stand in the way: if the drawing is "
        f"round there, mesh_tolerance = {math.ceil(1e3 * missing) / 1e3:.3f} would allow that"
    ]


class Told(Protocol):
    """A variant and its state."""

    @property
    def variant(self) -> Variant: ...  # noqa: D102
    @property
    def state(self) -> State | None: ...  # noqa: D102


def differences(told: Sequence[Told]) -> str:
    """Where the state flips, as the pairs of neighbouring variants between which it does."""
    flips = [
        f"{a.state.value} at {a.variant.said}, {b.state.value} at {b.variant.said}"
        for a, b in itertools.pairwise(told)
        if a.state is not b.state and a.state is not None and b.state is not None
    ]
    return "; ".join(flips[:4])
