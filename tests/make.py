"""Write a case folder from a solid and a few tables, and check it in this process.

In: a soup or a manifold3d solid, tables as keyword arguments or dictionaries with the keys of the
case file. Out: `case.toml` and the meshes in a folder, the `Case` read back from there, or its
`Result`. Tests go through the file on purpose: what they prove holds for what a user writes.
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import manifold3d as m3
import numpy as np
import shapes
import shared
from numpy.typing import ArrayLike, NDArray

Table = Mapping[str, Any]
Solid = NDArray[np.float32] | m3.Manifold


def port(centre: ArrayLike, radius: float, normal: ArrayLike | None = None) -> dict[str, Any]:
    """Table of a port."""
    table: dict[str, Any] = {"centre": [float(x) for x in np.asarray(centre, float)]}
    table["radius"] = float(radius)
    if normal is not None:
        table["normal"] = [float(x) for x in np.asarray(normal, float)]
    return table


def passage(
    inlet: ArrayLike,
    outlet: ArrayLike,
    radius: float,
    need: float,
    name: str = "a",
    **keys: Any,
) -> dict[str, Any]:
    """Table of a passage both of whose ports have one radius; `keys` replaces or adds any key."""
    table = {
        "name": name,
        "inlet": port(inlet, radius),
        "outlet": port(outlet, radius),
        "min_clear_diameter": float(need),
    }
    return {**table, **keys}


def sheet(height: float, layers: int = 3, **keys: Any) -> dict[str, Any]:
    """Table of a stray sheet of the part's first layers, without penetration unless given."""
    table = {"height": float(height), "layers": layers, "resume": "height", "penetration": 0.0}
    if "next_layer" in keys:
        del table["resume"]
    return {**table, **keys}


def plane(height: float, layers: int = 3, **keys: Any) -> dict[str, Any]:
    """Table of a stray sheet as wide as the part."""
    return sheet(height, layers, shape="plane", **keys)


def soup_of(solid: Solid) -> NDArray[np.float32]:
    """Triangles of a solid or of what is a soup already."""
    return shapes.soup(solid) if isinstance(solid, m3.Manifold) else solid


def write_case(
    folder: Path,
    solid: Solid,
    passages: Sequence[Table] | Table,
    strays: Sequence[Table] | Table = (),
    *,
    layer: float = 0.1,
    pitch: float | None = 0.3,
    smallest_way: float | None = None,
    meshes: Mapping[str, Solid] | None = None,
    part: Table | None = None,
    **tables: Any,
) -> Path:
    """Write case.toml and its meshes.

    Parameters
    ----------
    solid : soup or Manifold
        The nominal part.
    passages, strays : one table or several
    part : dict
        Further keys of [part]; None leaves one out.
    layer, pitch, smallest_way : float, mm
        Keys of [part] and [grid].
    meshes : dict of name to solid
        Written as name.stl beside the part: for `mesh` strays and `also_melted`.
    part : dict
        Further keys of [part].
    tables
        Any further table (`separate`, `closed`, `melted`, ...), a dict or a list of dicts. Without
        `drilling` the shop has no drills: the search for plans takes ten times the rest.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for name, mesh in {"part": solid, **(meshes or {})}.items():
        shapes.write_stl(folder / f"{name}.stl", soup_of(mesh))
    grid = {} if pitch is None else {"pitch": float(pitch)}
    if smallest_way is not None:
        grid["smallest_way"] = float(smallest_way)
    own = {
        "name": "part",
        "mesh": "part.stl",
        "layer_thickness": float(layer),
        "platform_z": 0.0,
        **(part or {}),
    }
    document = {
        "part": {key: value for key, value in own.items() if value is not None},
        "passage": [passages] if isinstance(passages, Mapping) else list(passages),
        "stray": [strays] if isinstance(strays, Mapping) else list(strays),
        "grid": grid,
        "drilling": {"series": []},
        **tables,
    }
    path = folder / "case.toml"
    path.write_text(toml(document), encoding="utf-8")
    return path


def toml(document: Table) -> str:
    """Write tables one level deep, and lists of them, as TOML."""
    lines: list[str] = []
    for name, value in document.items():
        for table in [value] if isinstance(value, Mapping) else value:
            lines.append(f"[{name}]" if isinstance(value, Mapping) else f"[[{name}]]")
            lines += [f"{key} = {_value(item)}" for key, item in table.items()]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, Sequence | np.ndarray):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    return repr(value.item() if isinstance(value, np.generic) else value)


def checked(folder: Path, solid: Solid, *args: Any, **keys: Any) -> Any:
    """Write a case, read it back, check it; takes what `write_case` takes. Returns the Result."""
    from clearance.case.read import read_case

    case = read_case(write_case(folder, solid, *args, **keys))
    return examined(case, about_drills="drilling" in keys).result


def judged(
    case: Any, pitch_mm: float | None = None, threads: int | None = None, in_full: bool = False
) -> Any:
    """Result of a case as the check gives it, without margins; what is left out: `examined`."""
    return examined(case, pitch_mm, threads, in_full).result


def examined(
    case: Any,
    pitch_mm: float | None = None,
    threads: int | None = None,
    in_full: bool = False,
    about_drills: bool = False,
) -> Any:
    """What the check of a case gives, without margins: result, passages, predicted part.

    Unless `in_full`, the plain run goes without what `shared.LEFT_OUT` says of the test's file;
    `about_drills`: not without what concerns these.
    """
    from clearance.checking import judge
    from clearance.verdict.prepared import prepare

    with contextlib.nullcontext() if in_full else shared.less(case, about_drills):
        return judge(prepare(case, pitch_mm), threads=threads)


def first(folder: Path, solid: Solid, *args: Any, **keys: Any) -> Any:
    """Result of the first passage of a case that `write_case` is told."""
    return checked(folder, solid, *args, **keys).passages[0]
