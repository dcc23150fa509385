"""One part of a plate: its check, what it was when the machine stopped, and its sheet.

In: a `Task`. Out: `Computed`, the keys of its result file and its figure. Runs in other
processes and on other machines; reads the meshes that the task names, writes nothing.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.checking import judge
from clearance.drawing.sheet import sheet
from clearance.plates import placed
from clearance.plates.members import Task
from clearance.predicted.part import NOMINAL
from clearance.report.grave import besides
from clearance.report.headline import headline, wrong
from clearance.result import Result, as_json
from clearance.verdict.prepared import Checked, prepare

_ONE = threading.Lock()


@dataclass(frozen=True)
class Computed:
    """What a task gives: the keys of its result file, and the sheet as PDF without a label.

    The page to turn in the hand is empty where none was asked for.
    """

    data: dict[str, Any]
    figure: bytes
    page: bytes = b""


def compute(task: Task) -> Computed:
    """Check one part of a plate.

    Raises
    ------
    ClearanceError
        What the user has to mend.
    """
    with _ONE:  # a worker with several threads: one part's memory at a time
        return _computed(task)


def _computed(task: Task) -> Computed:
    soup, notices = _beside(task)
    case = replace(task.case, notices=(*task.case.notices, *notices))
    others = tuple(neighbour.standing() for neighbour in task.others)
    checked = prepare(case, beside=soup, others=others)
    examined = judge(checked, threads=1, verify=task.verify)
    result = examined.result
    data = as_json(examined.in_mesh_axes)
    data["plate"] = {
        "inputs_sha256": task.key,
        "exit_status": result.exit_status,
        "finding": _finding(examined.on_paper),
        "next_step": headline(result, bool(checked.case.stray)).action,
        **as_json(_at_event(checked, task.stop_mm)),
    }
    from clearance.figures.first_page import report

    page = b""
    if task.pages:
        from clearance.view.page import page as written
        from clearance.view.scene import scene

        page = written(scene(examined))
    return Computed(data, report(sheet(examined, on_plate=True)), page)


def _finding(result: Result) -> str:
    """One reason: the gravest, how many more there are, and what else nobody may miss."""
    first, *more = wrong(result) or (headline(result).finding,)
    others = [f"and {len(more)} more"] if more else []
    return "; ".join([first, *others, *dict.fromkeys(BESIDES[key] for key, _ in besides(result))])


BESIDES = {
    "circuits": "circuits not apart",
    "leak path": "possible leak path",
    "joint": "joint not whole",
    "causes": "other causes are suspected",
    "readings": "THE PART CONTRADICTS THE EVENT",
    "finished shape": "FINISHED SHAPE NOT SURELY INSIDE THE METAL",
    "after the work": "read after the work, see its sheet",
    "trapped powder": "POWDER TRAPPED",
}
"""What stands beside the reason, by the keys of `report.grave.besides`."""


def _beside(task: Task) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    shifts = [float(np.hypot(*stray.resume_shift)) for stray in task.case.stray]
    soup, names = placed.beside(
        task.neighbours,
        placed.slice_heights(task.case, task.platform_z),
        np.array(task.bounds),
        sum(shifts),
    )
    return soup, tuple(
        f"a wrong slice of {name} falls on this part's place: its metal is in the sheet, and "
        "in the overhang outside"
        for name in names
    )


def _at_event(checked: Checked, stop_mm: float | None) -> dict[str, Any]:
    """Height and metal of the part when the machine stopped, and its outline in plan.

    The metal is what columns hold below the stop, stray metal of earlier events included;
    outlines are those of the nominal part at the stop, or at half its height.
    """
    predicted = checked.whole.predict(checked.unknowns.variants[0].events or ())
    base, density = checked.platform_z, checked.case.part.density_g_cm3
    runs, cell = predicted.melted, checked.whole.grid.pitch_mm**2
    whole = float((runs.z[:, 1] - runs.z[:, 0]).sum()) * cell
    height = float(runs.z[:, 1].max()) - base if len(runs.z) else 0.0
    stood = height if stop_mm is None else min(stop_mm, height)
    below = np.minimum(runs.z, base + stood)
    begun = float((below[:, 1] - below[:, 0]).sum()) * cell
    return {
        "height_mm": height,
        "height_at_event_mm": stood,
        "metal_mm3": whole,
        "metal_at_event_mm3": begun,
        "mass_g": None if density is None else whole * density * 1e-3,
        "mass_at_event_g": None if density is None else begun * density * 1e-3,
        "outline_mm": _outline(checked, base + stood),
    }


def _outline(checked: Checked, z: float) -> list[list[list[float]]]:
    low, high = (float(v) for v in checked.bodies.bounds[:, 2])
    at = z if low < z < high else 0.5 * (low + high)
    return placed.outline(checked.whole.predict(NOMINAL).section(at))
