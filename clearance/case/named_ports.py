"""Ports that are given once and named by the passages that have them.

In: a case file. Out: faults of names that lead nowhere; the passages with their ports.
"""

from __future__ import annotations

from typing import Any

from clearance.case.tables import CaseFile, PassageTable, Port
from clearance.case.toml_file import TomlFile, Where, nearest


def port_at(file: TomlFile, where: Where) -> dict[str, Any] | None:
    """A port of a passage as the file has it, there or under [[port]]; None if it is not sound."""
    written = file.sound(where)
    if not isinstance(written, str):
        return written if isinstance(written, dict) else None
    places = [("port", number) for number in range(len(file.items("port")))]
    found = [file.sound(place) for place in places if file.sound((*place, "name")) == written]
    return found[0] if found and isinstance(found[0], dict) else None


def check_ports(file: TomlFile) -> None:
    """Each name of a port leads to one, and each [[port]] is somebody's."""
    items = file.items("port")
    names = [name for item in items if isinstance(name := item.get("name"), str)]
    used, all_read = set(), True
    mouths = {
        f"{item.get('name')} {end}" for item in file.items("passage") for end in ("inlet", "outlet")
    }
    for number in range(len(items)):
        if (name := file.sound(("port", number, "name"))) in mouths:
            file.fault(("port", number, "name"), f"another name: {name!r} is a passage's own mouth")
    for number in range(len(file.items("passage"))):
        for end in ("inlet", "outlet"):
            where = ("passage", number, end)
            name = file.sound(where)
            all_read = all_read and name is not None
            if not isinstance(name, str):
                continue
            used.add(name)
            if name not in names:
                near = nearest(name, names)
                hint = f"; did you mean {near!r}?" if near else ""
                file.fault(where, f"a table, {{ ... }}, or the name of a [[port]]{hint}")
    for number in range(len(items)):
        name = file.sound(("port", number, "name"))
        if name is not None and name not in used and all_read and used <= set(names):
            ask = "a name that some passage's inlet or outlet has; else give it under [[closed]]"
            file.fault(("port", number, "name"), ask)


def with_ports(tables: CaseFile) -> tuple[PassageTable, ...]:
    """The passages, names of ports replaced by what stands under [[port]]."""
    ports = {port.name: Port(**port.model_dump(exclude={"name"})) for port in tables.port}

    def named(passage: PassageTable) -> dict[str, Port]:
        ends = {end: getattr(passage, end) for end in ("inlet", "outlet")}
        return {end: ports[port] for end, port in ends.items() if isinstance(port, str)}

    return tuple(passage.model_copy(update=named(passage)) for passage in tables.passage)
