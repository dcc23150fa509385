"""[scan]: a scan of the part, as written.

In: nothing. Out: the model of its keys. What the scan shows is left to `scanned`.
"""

from __future__ import annotations

from typing import Literal

from clearance.case.kinds import FilePath, NotNegative, Positive, Table, key

Unit = Literal["mm", "cm", "m", "um", "in", "inch", "foot"]


class ScanTable(Table):
    """[scan]: the part as measured; after reading, the path is resolved."""

    mesh: FilePath = key(
        "Closed surface of the part from a tomograph or a scanner: STL, PLY, OBJ or 3MF."
    )
    unit: Unit = key("Unit of a mesh that carries none.", "", "mm")
    uncertainty: NotNegative = key(
        "How far a surface of the scan may lie off the metal's, either way.", "mm"
    )
    thinnest_shown: Positive | None = key(
        "Thinnest sheet that the scan surely shows. Where the event can make a thinner one the "
        "scan never proves a passage open.",
        "mm",
        None,
        "not known: no sheet is surely shown",
    )
    placed: bool = key(
        "`true`: the file stands as the part does; no other way round is looked for.", "", False
    )
