"""A random part held against solid booleans: what the program says beside what is true.

In: a scene of random_kinds.py. Out: the truth of every passage (connection from booleans, bounds of
the clear diameter from true_diameter.py, drilled holes as solids), and every disagreement.
"""

from __future__ import annotations

import itertools
import math
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import booleans
import make
import manifold3d as m3
import numpy as np
import shapes
import true_diameter
from booleans import Disc, Predicted
from random_kinds import Passage, Scene
from true_diameter import Bracket

from clearance.case.read import read_case
from clearance.errors import ClearanceError

SURE = 0.01
"""How far beyond a bound of the truth an answer must lie to be wrong for sure, mm."""
SMALLEST_WAY = 0.05
CLEAR_OF_NOTHING = 0.8
"""Requirement where nothing is known to pass, and least one above what may pass there, mm."""
TOUCHED = 1e-6
"""Metal in a passage that is more than rounding, mm3; nor does what is thinner count than the
reference draws its slices out, to meet what they lie on."""


@dataclass(frozen=True)
class Truth:
    """What is true of one passage, over all that the case leaves open.

    Attributes
    ----------
    brackets : tuple of Bracket
        Of the clear diameter, one for every event; (0, 0) where the booleans part the ports.
    leaks : bool
        The void also leads out of the part through no mouth.
    """

    brackets: tuple[Bracket, ...]
    leaks: bool = False

    @property
    def low(self) -> float:
        """Bound from below of the narrowest."""
        return min(b.low for b in self.brackets)

    @property
    def high(self) -> float:
        """Bound from above of the widest."""
        return max(b.high for b in self.brackets)

    def __str__(self) -> str:
        leaks = ", leaks" if self.leaks else ""
        return f"{self.low:.3f} to {self.high:.3f}{leaks}"


@dataclass
class Verdict:
    """One passage of one part: what is said, what is true, what disagrees.

    `faults` are sentences; `unsafe` says that one of them could hurt somebody or cost a part.
    """

    seed: int
    kind: str
    passage: str
    need: float
    said: str
    truth: Truth
    advice: str = ""
    plan: bool = False
    undetermined: bool = False
    far: bool = False
    faults: list[str] = field(default_factory=list)
    unsafe: bool = False
    seconds: float = 0.0

    @property
    def wrong(self) -> bool:
        """Unsafe, or a bracket that does not hold what is true."""
        return self.unsafe or any("what is true" in words for words in self.faults)

    def fault(self, words: str, unsafe: bool) -> None:
        """Note a disagreement."""
        self.faults.append(words)
        self.unsafe |= unsafe

    def __str__(self) -> str:
        told = f"seed {self.seed}, {self.kind}, {self.passage}: need {self.need:.3f}, {self.said}"
        return f"{told}; true {self.truth}; {'; '.join(self.faults) or 'agrees'}"


# ---- what is true ------------------------------------------------------------------------------


def predicted(scene: Scene, events: Any, solid: m3.Manifold, bare: bool = False) -> Predicted:
    """A solid after one of the events that the case leaves possible."""
    plates = list(scene.plates.values())
    args = (solid, events, scene.layer, scene.platform, scene.also, plates, bare)
    return booleans.predicted(*args)


def moved(part: Predicted, disc: Disc) -> Disc:
    """A mouth where it lies now."""
    return disc._replace(centre=part.moved(disc.centre))


def _clear(part: Predicted, blank: m3.Manifold, passage: Passage, scene: Scene) -> Bracket:
    ends = [moved(part, disc) for disc in (passage.inlet, passage.outlet)]
    others = [moved(part, disc) for disc in (*scene.closed, *scene.unnamed)]
    bracket = true_diameter.clear_diameter(part.solid, blank, *ends, others)
    if not others:
        return bracket
    # A ball may stand out of a third mouth, or find it shut: both are covered.
    shut = [shapes.bore(d.centre, d.centre + d.outward, 1.3 * d.radius) for d in others]
    lower = part.solid + m3.Manifold.batch_boolean(shut, m3.OpType.Add)
    return Bracket(true_diameter.clear_diameter(lower, blank, *ends, others).low, bracket.high)


def truths(scene: Scene) -> dict[str, Truth]:
    """What is true of every passage."""
    found: dict[str, list[Bracket]] = {p.name: [] for p in scene.passages}
    leaks = dict.fromkeys(found, False)
    for events in scene.events:
        part = predicted(scene, events, scene.nominal)
        blank = predicted(scene, events, scene.blank).solid
        behind = booleans.behind(part, scene.discs)
        for n, passage in enumerate(scene.passages):
            a, b = behind[2 * n : 2 * n + 2]
            leaks[passage.name] |= booleans.OUTSIDE in a | b
            joined = bool(a & b)
            bracket = _clear(part, blank, passage, scene) if joined else Bracket(0.0, 0.0)
            found[passage.name].append(bracket)
    return {name: Truth(tuple(b), leaks[name]) for name, b in found.items()}


def needs(scene: Scene, known: dict[str, Truth]) -> dict[str, float]:
    """Required clear diameters: a share of what is true, where something passes."""
    found = {}
    for name, truth in known.items():
        need = max(scene.share * 0.5 * (truth.low + truth.high), 2 * SMALLEST_WAY)
        if truth.low == 0.0:
            need = max(CLEAR_OF_NOTHING, 2.0 * truth.high)
        found[name] = scene.needs.get(name, round(need, 3))
    return found


# ---- what is said ------------------------------------------------------------------------------


def said(
    folder: Path,
    scene: Scene,
    need: dict[str, float],
    keys: dict[str, Any] | None = None,
    threads: int | None = None,
) -> Any:
    """The program's result for a scene; `keys` are further ones of [part]."""
    meshes = dict(scene.plates)
    part: dict[str, Any] = {"platform_z": scene.platform, **(keys or {})}
    if scene.also is not None:
        meshes["also"] = scene.also
        part["also_melted"] = ["also.stl"]
    passages = [
        {
            "name": p.name,
            "inlet": make.port(p.inlet.centre, p.inlet.radius),
            "outlet": make.port(p.outlet.centre, p.outlet.radius),
            "min_clear_diameter": need[p.name],
        }
        for p in scene.passages
    ]
    tables = dict(scene.tables)
    if scene.closed:
        tables["closed"] = [
            {"name": f"mouth {n}", **make.port(d.centre, d.radius)}
            for n, d in enumerate(scene.closed)
        ]
    if scene.melted is not None:
        tables["melted"] = scene.melted
    path = make.write_case(
        folder,
        scene.nominal,
        passages,
        list(scene.strays),
        layer=scene.layer,
        pitch=scene.pitch,
        meshes=meshes,
        part=part,
        **tables,
    )
    return make.judged(read_case(path), threads=threads, in_full=True)


# ---- the two beside each other -----------------------------------------------------------------


def judged(folder: Path, scene: Scene, seed: int) -> list[Verdict]:
    """Every passage of a scene, said and true."""
    began = time.process_time()
    known = truths(scene)
    need = needs(scene, known)
    between = time.process_time()
    try:
        result = said(folder, scene, need)
    except ClearanceError as refusal:
        first = scene.passages[0].name
        verdict = Verdict(seed, scene.kind, first, need[first], "refused", known[first])
        verdict.fault(f"refused: {refusal}", unsafe=False)
        return [verdict]
    seconds = time.process_time() - between
    found = []
    for passage, answer in zip(scene.passages, result.passages, strict=True):
        truth = known[passage.name]
        clear = answer.clear_diameter_mm
        verdict = Verdict(
            seed,
            scene.kind,
            passage.name,
            need[passage.name],
            f"{answer.state.value} {clear.low:.3f} to {clear.high:.3f}",
            truth,
            result.disposition.recommendation,
            seconds=seconds,
        )
        _states(verdict, answer, truth, scene)
        if answer.rework is not None:
            verdict.plan = True
            for events in scene.events[:1]:
                _plan(verdict, scene, events, passage, answer, result)
        found.append(verdict)
    _together(found[0], result)
    if result.disposition.recommendation == "not-affected":
        _untouched(found[0], scene)
    found[0].seconds += between - began
    return found


def _states(verdict: Verdict, answer: Any, truth: Truth, scene: Scene) -> None:
    state, clear, need = answer.state.value, answer.clear_diameter_mm, verdict.need
    verdict.undetermined = state == "undetermined"
    apart = scene.pitch + max(b.high - b.low for b in truth.brackets)
    middle = 0.5 * (truth.low + truth.high)
    verdict.far = not truth.leaks and abs(middle - need) > apart
    surely_less = min(b.high for b in truth.brackets) < need - SURE
    surely_more = max(b.low for b in truth.brackets) > need + SURE
    if state == "open" and surely_less:
        verdict.fault("open, but not so wide", unsafe=True)
    if truth.leaks:
        return  # what passes by ways that lead outside is not told
    if state in ("restricted", "blocked") and surely_more:
        verdict.fault(f"{state}, but wide enough", unsafe=True)
    elif state == "blocked" and max(b.low for b in truth.brackets) > SMALLEST_WAY + SURE:
        verdict.fault("blocked, but a way is left", unsafe=True)
    elif state in ("restricted", "open") and truth.high == 0.0:
        verdict.fault(f"{state}, but no way is left", unsafe=True)
    if clear.low > min(b.high for b in truth.brackets) + SURE:
        verdict.fault("low is above what is true", unsafe=clear.low >= need)
    if clear.high < max(b.low for b in truth.brackets) - SURE:
        verdict.fault("high is below what is true", unsafe=clear.high < need)


def _untouched(verdict: Verdict, scene: Scene) -> None:
    """A part that is called not affected has no metal in its passages and nothing moved."""
    nominal = Predicted(scene.nominal, [], [])
    for events in scene.events:
        part = predicted(scene, events, scene.nominal)
        added = part.solid - scene.nominal
        for passage in scene.passages:
            for void in own_void(nominal, scene, passage):
                met = void ^ added
                if met.volume() > TOUCHED + 2.0 * booleans.TRIM * met.project().area():
                    verdict.fault("not affected, but metal is in the passage", unsafe=True)
                    return


def own_void(part: Predicted, scene: Scene, passage: Passage) -> list[m3.Manifold]:
    """Pieces of the void behind a passage's ports, all mouths closed, the outside left out."""
    return _voids(part, scene, passage)[0]


def _voids(
    part: Predicted, scene: Scene, passage: Passage
) -> tuple[list[m3.Manifold], list[m3.Manifold]]:
    """Pieces of void behind a passage's ports, and all other ones but the outside."""
    plugs = booleans.plugs(part, scene.discs)
    pieces = booleans.void_pieces(m3.Manifold.batch_boolean([part.solid, *plugs], m3.OpType.Add))
    a, b = booleans.behind(part, scene.discs)[2 * scene.passages.index(passage) :][:2]
    own = {n for n in a | b if n != booleans.OUTSIDE}
    return (
        [pieces[n] for n in sorted(own)],
        [piece for n, piece in enumerate(pieces) if n and n not in own],
    )


# ---- drilled holes -----------------------------------------------------------------------------


def hole(stroke: Any, radius: float, segments: int = 48) -> m3.Manifold:
    """The cylinder of a stroke, from before the mouth to its full depth (without the point)."""
    entry, axis = np.array(stroke.entry_mm), np.array(stroke.direction)
    return shapes.bore(
        entry - 0.5 * axis, entry + stroke.depth_mm * axis, radius, segments=segments
    )


def _plan(
    verdict: Verdict, scene: Scene, events: Any, passage: Passage, answer: Any, result: Any
) -> None:
    """What the strokes of a plan do to the exact solid."""
    part, bare = (predicted(scene, events, scene.nominal, b) for b in (False, True))
    plan, drilling = answer.rework, scene.tables.get("drilling", {})
    used = result.disposition.recommendation in ("rework", "repair")
    round_out = 1.0 / math.cos(math.pi / 48)
    full = [hole(s, 0.5 * s.drill_diameter_mm * round_out) for s in plan.drilling]
    # The worst that tolerance and run-out may do, and the least that the drill takes.
    wide = [
        hole(s, 0.5 * s.drill_diameter_mm * round_out + s.drill_tolerance_mm + s.run_out_mm)
        for s in plan.drilling
    ]
    thin = [hole(s, 0.5 * s.drill_diameter_mm - s.drill_tolerance_mm) for s in plan.drilling]
    deepest = _cut_depth(bare, m3.Manifold.batch_boolean(full, m3.OpType.Add), scene, passage)
    _, others = _voids(bare, scene, passage)
    least = drilling.get("min_wall")
    for void, (one, worst) in itertools.product(others, zip(full, wide, strict=True)):
        if (void ^ one).volume() > 1e-6:
            verdict.fault(
                f"the plan opens another void ({result.disposition.recommendation})", used
            )
            continue
        if (void ^ worst).volume() > 1e-6:
            verdict.fault("with tolerance and run-out the plan opens another void", used)
        gap = void.min_gap(one, 4.0)
        if used and least is not None and gap < least - 0.03:
            verdict.fault(
                f"the plan leaves a wall of {gap:.3f}, {least:.3f} asked for",
                used and deepest > SURE,
            )
        if plan.wall_left_mm is not None and gap < plan.wall_left_mm - 0.1:
            verdict.fault(f"a wall of {plan.wall_left_mm:.3f} is said, {gap:.3f} is left", False)
    allowed = drilling.get("wall_allowance", 0.0)
    told = max(s.wall_cut_mm for s in plan.drilling)
    if deepest > told + 0.05:
        verdict.fault(f"{told:.3f} cut into the wall is said, {deepest:.3f} is", False)
    if deepest > allowed + 0.05:
        verdict.fault(f"{deepest:.3f} cut into the wall, {allowed:.3f} allowed", used)
    after = part._replace(solid=part.solid - m3.Manifold.batch_boolean(thin, m3.OpType.Add))
    blank = predicted(scene, events, scene.blank).solid
    ends = [moved(part, disc) for disc in (passage.inlet, passage.outlet)]
    clear = true_diameter.clear_diameter(after.solid, blank, *ends)
    if plan.state_after == "open" and clear.high < verdict.need - SURE:
        verdict.fault(f"open after drilling, but at most {clear.high:.3f} passes", used)
    if plan.clear_diameter_after_mm > clear.high + 0.06:
        verdict.fault(
            f"{plan.clear_diameter_after_mm:.3f} after drilling is said, at most {clear.high:.3f}",
            False,
        )


def _together(verdict: Verdict, result: Any) -> None:
    """Holes that are drilled into different passages must not meet."""
    used = result.disposition.recommendation in ("rework", "repair")
    planned = [p.rework.drilling for p in result.passages if p.rework is not None]
    for one, other in itertools.combinations(planned, 2):
        for a, b in itertools.product(one, other):
            holes = [hole(s, 0.5 * s.drill_diameter_mm) for s in (a, b)]
            if (holes[0] ^ holes[1]).volume() > 1e-6:
                verdict.fault("the plans of two passages meet", used)


def _cut_depth(bare: Predicted, drilled: m3.Manifold, scene: Scene, passage: Passage) -> float:
    """How deep a hole reaches into the metal beside the passage's own void, at least, mm.

    Of the metal that is cut, the corner farthest from the passage's own void and from the face
    that the hole enters by.
    """
    cut = drilled ^ bare.solid
    if cut.is_empty() or cut.volume() < 1e-9:
        return 0.0
    corners = cut.to_mesh64().vert_properties[:, :3]
    own = own_void(bare, scene, passage)
    if not own:
        return 0.0
    surface = true_diameter.tree(m3.Manifold.batch_boolean(own, m3.OpType.Add))
    away = true_diameter.distances(surface, corners)
    outside = true_diameter.tree(predicted(scene, scene.events[0], scene.blank).solid)
    away = np.minimum(away, true_diameter.distances(outside, corners))
    return float(away.max())
