"""The program from Python: the same steps as the commands, with values in place of files.

In: a `Case` or a mesh. Out: results, arrays and figures. Thin on purpose: the command line goes
through `examine` here, so that no verdict has two ways.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from clearance import checking
from clearance.case.read import Case
from clearance.checking import Examined
from clearance.mesh.part import Part, read_part
from clearance.result import Result
from clearance.verdict.prepared import prepare, silent

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from clearance.result.causes import CausesResult
    from clearance.survey.openings import Openings
    from clearance.sweeps.result import Sweep


def check(
    case: Case,
    *,
    pitch_mm: float | None = None,
    margins: bool = False,
    verify: bool | None = None,
    memory_gib: float | None = None,
    progress: Callable[[str], None] = silent,
) -> Result:
    """Check every passage of one part, as ``clearance check`` does.

    Parameters
    ----------
    case : Case
    pitch_mm : float, mm, optional
        Distance of the columns; default: the case's, or chosen from the requirements.
    margins : bool
        Look also at first wrong layer and number of layers, and at the recommendation.
    verify : bool, optional
        Ask a second opinion, which shares no code with the check. Default: up to a fixed size of
        the part; `second_opinion` of the result says whether it was asked.
    memory_gib : float, GiB, optional
        Memory to get by with: it orders the work, the result does not depend on it.
    progress : callable
        Called with a sentence before each longer step.

    Returns
    -------
    Result
        Its JSON is that of the command, byte by byte.

    Raises
    ------
    ClearanceError
        What the user has to mend: a mesh, a port, an impossible event, a pitch too fine.

    Examples
    --------
    >>> from clearance import check
    >>> result = check(case)
    >>> result.passage("bore").state
    <State.RESTRICTED: 'restricted'>
    >>> result.exit_status
    3
    """
    return examine(
        case,
        pitch_mm=pitch_mm,
        margins=margins,
        verify=verify,
        memory_gib=memory_gib,
        progress=progress,
    ).in_mesh_axes


def examine(
    case: Case,
    *,
    pitch_mm: float | None = None,
    margins: bool = False,
    verify: bool | None = None,
    memory_gib: float | None = None,
    progress: Callable[[str], None] = silent,
) -> Examined:
    """Check one part and keep what drawings need.

    Parameters
    ----------
    case, pitch_mm, margins, verify, memory_gib, progress
        As for `check`.

    Returns
    -------
    Examined
        `result` is what `check` gives (with a build direction: in the platform's axes, and
        `in_mesh_axes` is what `check` gives); `draw` takes the whole. Holds the part's geometry
        in memory.

    Raises
    ------
    ClearanceError
        As for `check`.

    Examples
    --------
    >>> from clearance import examine
    >>> examined = examine(case)
    >>> examined.result.passage("bore").crossings[0].sealed
    False
    """
    from clearance.margins import margins as every_margin
    from clearance.margins import state_margins

    checked = prepare(case, pitch_mm, progress)
    examined = checking.judge(checked, progress, verify=verify, memory_gib=memory_gib)
    progress("how far the height may be off")
    found = (
        every_margin(examined.checked, examined.result, progress)
        if margins
        else state_margins(examined)
    )
    return replace(examined, result=replace(examined.result, margins=found))


def sweep(
    case: Case,
    *,
    first: float | None = None,
    last: float | None = None,
    step: float | None = None,
    reach: bool = False,
    pitch_mm: float | None = None,
    processes: int = 1,
    progress: Callable[[str], None] = silent,
) -> Sweep:
    """Tell every passage's state for all heights at which the stray sheet might lie.

    Parameters
    ----------
    case : Case
        Its first stray sheet of shape layer or plane is moved.
    first, last : float, mm above the platform, optional
        Default: the part's lowest and last layer.
    step : float, mm, optional
        Default: the layer thickness.
    reach : bool
        Tell also whether a straight drill could reopen it there.
    pitch_mm : float, mm, optional
        As for `check`.
    processes : int
        More than one: do it in as many processes; a script then needs the guard
        ``if __name__ == "__main__":``.
    progress : callable
        Called with a sentence before each longer step.

    Returns
    -------
    Sweep
        `arrays()` gives numpy arrays of shape (passages, heights).

    Raises
    ------
    ClearanceError
        There is no sheet that has a height, the range holds none, and all that `check` raises.

    Examples
    --------
    >>> from clearance import sweep
    >>> found = sweep(case, first=4.0, last=5.0, step=0.5).arrays()
    >>> found.heights_mm
    array([4. , 4.5, 5. ])
    >>> found.high_mm.shape
    (1, 3)
    """
    from clearance.sweeps.in_processes import side_by_side
    from clearance.sweeps.wanted import Wanted

    return side_by_side(case, Wanted(first, last, step, reach), pitch_mm, progress, processes)


def explain(
    case: Case,
    *,
    pitch_mm: float | None = None,
    progress: Callable[[str], None] = silent,
) -> CausesResult:
    """Tell which event explains the readings, and what to measure next, as ``clearance causes``.

    Parameters
    ----------
    case : Case
        With [suspected]; its readings say which suspects are left.
    pitch_mm : float, mm, optional
        As for `check`.
    progress : callable
        Called with a sentence before each longer step.

    Returns
    -------
    CausesResult
        Its JSON is that of the command, byte by byte.

    Raises
    ------
    ClearanceError
        The case has no [suspected], a range leaves the part, and all that `check` raises.

    Examples
    --------
    >>> from clearance import explain
    >>> found = explain(suspected)
    >>> found.suspects, found.classes[0].ratio, found.decision.recommendation
    (2, 1.0, 'undetermined')
    """
    from clearance.causes.explain import explain as explained
    from clearance.causes.explain import suspected_of

    suspected_of(case)  # told before the part is read
    return explained(prepare(case, pitch_mm, progress), progress)


def openings(mesh: Part | Path | str, unit: str = "mm") -> Openings:
    """Find every mouth where an internal void of a mesh reaches the outside.

    Parameters
    ----------
    mesh : Part, or path of an STL, PLY, OBJ, 3MF or STEP file
    unit : str
        Of a file that carries none: "mm", "cm", "m", "um", "in", "inch" or "foot".

    Returns
    -------
    Openings
        Centres and diameters in mm; openings of one network are connected inside.

    Raises
    ------
    PartError
        The file cannot be used.

    Examples
    --------
    >>> from clearance import openings
    >>> [(one.network, round(one.clear_diameter_mm, 1)) for one in openings(part).openings]
    [(1, 6.0), (1, 6.0)]
    """
    from clearance.survey.openings import find_openings

    part = mesh if isinstance(mesh, Part) else read_part(Path(mesh), unit)
    return find_openings(part.triangles, part.walls)


def draw(
    examined: Examined,
    *,
    at_height: float | None = None,
    along: str | None = None,
    drill: str | None = None,
    ax: Axes | None = None,
) -> Figure | Axes:
    """Draw a section of the predicted part, as ``clearance section`` does.

    Parameters
    ----------
    examined : Examined
        As `examine` gives it.
    at_height : float, mm above the platform, optional
        A level section; within a stray sheet in the middle of the layer that holds it.
    along : str, optional
        Name of a passage: clear diameter from inlet to outlet against length, mm.
    drill : str, optional
        Name of a passage: section through the axis of the first drill that reopens it; if none
        does, through its port and the sheet.
    ax : matplotlib Axes, optional
        Draw into these, in mm, and nothing beside them.

    Returns
    -------
    Figure or Axes
        A sheet of A4, landscape, or `ax` where it is given.

    Raises
    ------
    ClearanceError
        Not exactly one of the three is asked for; no part at that height; no such passage; no
        drilling plan.

    Examples
    --------
    >>> from clearance import draw
    >>> from matplotlib.figure import Figure
    >>> axes = Figure().add_subplot()
    >>> draw(examined, at_height=5.0, ax=axes) is axes
    True
    >>> axes.get_xlabel()
    'x, mm'
    """
    from clearance.figures.one import figure_of, into

    asked = (at_height, along, drill)
    return figure_of(examined, *asked) if ax is None else into(ax, examined, *asked)
