"""The level sections that the disposition sheet shows, each height cut once.

In: an `Examined`. Out: `LevelSection`s: through the worst crossing, joints, each crossing.
"""

from __future__ import annotations

from dataclasses import replace

from clearance.checking import Examined
from clearance.drawing.leak import NEAR_MM
from clearance.drawing.level import in_sheet, level_section
from clearance.drawing.level_parts import DETAIL_LETTERS, Detail, LevelSection
from clearance.drawing.level_words import DETAIL_MARGIN, share_in_words
from clearance.drawing.scan import examined_scan
from clearance.errors import ClearanceError
from clearance.report.headline import gravest_first
from clearance.report.joints import WHOLE_JOINT, joints
from clearance.result import CrossingResult, PassageResult
from clearance.verdict.numbers import NAMEWORTHY, rounded_up

BESIDE_MM = (-0.01, -0.001, 0.001, 0.01)
"""How far beside a face of measured metal a section is also tried."""


# ---- sections ----------------------------------------------------------------------------------


class Sections:
    """Level sections, each height of a sheet cut once."""

    def __init__(self, examined: Examined):
        self.examined = examined
        self.base = examined.checked.platform_z
        self.scan = examined_scan(examined)
        self.cut: dict[tuple[float, int | None], LevelSection | None] = {}
        self.events = {
            event.stray: event for event in examined.checked.unknowns.variants[0].events or ()
        }

    def at(self, z: float, stray: int | None = None) -> LevelSection | None:
        """The section at a height in mesh coordinates, or in a sheet there; None without a part."""
        if stray in self.events:
            z = in_sheet(self.events[stray], z)
        if (z, stray) not in self.cut:
            result = self.examined.result
            try:
                self.cut[z, stray] = level_section(
                    self.examined.checked,
                    result.passages,
                    z - self.base,
                    result.separate,
                    stray,
                    result.finished,
                    self.scan,
                )
            except ClearanceError:
                self.cut[z, stray] = None
        return self.cut[z, stray]

    def worst(self) -> LevelSection | None:
        """Where circuits are joined; else through the worst crossing; else the worst joint.

        Without either through a crossing, the sheet, or the middle of the part.
        """
        result = self.examined.result
        if any(pair.state == "joined" for pair in result.separate) and (leaks := self.leaks()):
            return leaks[0]
        for passage in gravest_first(result.passages):
            crossing = worst_crossing(passage)
            if crossing is not None and (crossing.sealed or crossing.open_fraction < NAMEWORTHY):
                return self.zoomed(passage.name, crossing)
        for joint in joints(result):
            if joint.share < WHOLE_JOINT or not any(p.crossings for p in result.passages):
                return self.at(joint.height_mm, joint.stray)
        for passage in gravest_first(result.passages):
            crossing = worst_crossing(passage)
            if crossing is not None:
                return self.zoomed(passage.name, crossing)
        return self.at(float(self.examined.checked.bodies.bounds[:, 2].mean()))

    def joints(self) -> tuple[LevelSection, ...]:
        """Through every joint that is not whole and whose sheet no section shows yet."""
        found = []
        for joint in joints(self.examined.result):
            shown = any(stray == joint.stray and cut for (_, stray), cut in self.cut.items())
            if joint.share < WHOLE_JOINT and not shown:
                section = self.at(joint.height_mm, joint.stray)
                found += [section] if section is not None else []
        return tuple(found)

    def leaks(self) -> tuple[LevelSection, ...]:
        """Through every place where circuits are joined or may be, with that place as detail."""
        found: dict[str, LevelSection] = {}
        for pair in self.examined.result.separate:
            if pair.state == "apart" or pair.where_mm is None:
                continue
            for z, stray in self._sheets_near(pair.where_mm[2]):
                section = self.at(z, stray)
                if section is not None and section.detail is not None and section.detail.named:
                    found.setdefault(section.plane, section)
                    break
        return tuple(found.values())

    def _sheets_near(self, z: float) -> list[tuple[float, int | None]]:
        """Sheets near a height, the nearest first; leaks are told by columns. Last the height."""
        tops = {e.stray: e.bottom + len(e.slices) * e.layer for e in self.events.values()}
        near = [
            e for e in self.events.values() if e.bottom - NEAR_MM <= z <= tops[e.stray] + NEAR_MM
        ]
        near.sort(key=lambda e: abs(e.bottom - z))
        return [*((z, event.stray) for event in near), (z, None)]

    def through(self, name: str, crossing: CrossingResult) -> LevelSection | None:
        """The section in which a crossing is the least open: its height may be a layer's face."""
        heights = [crossing.height_mm]
        event = self.events.get(crossing.stray)
        if event is not None:
            heights.append(crossing.height_mm - 0.5 * event.layer)
        else:  # measured metal: told just beside one of its faces, on either side of it
            heights += [crossing.height_mm + step for step in BESIDE_MM]
        cuts = [self.at(z, crossing.stray) for z in heights]
        return min((cut for cut in cuts if cut), key=lambda cut: _open(cut, name), default=None)

    def zoomed(self, name: str, crossing: CrossingResult) -> LevelSection | None:
        """The section through a crossing with that crossing as its detail."""
        import shapely

        section = self.through(name, crossing)
        if section is None:
            return None
        own = [void for void in section.voids if name in void.names]
        if not own:
            return section
        at = shapely.Point(crossing.centre_mm[:2])
        void = min(own, key=lambda v: float(v.nominal.distance(at)))
        x0, y0, x1, y1 = void.nominal.bounds
        grow = DETAIL_MARGIN * max(x1 - x0, y1 - y0)
        detail = Detail(
            (x0 - grow, y0 - grow, x1 + grow, y1 + grow),
            f"detail {DETAIL_LETTERS[0]}: {name}, {share_in_words(void.open_fraction)}",
            (
                f"{crossing.open_area_mm2:.1f} of {crossing.nominal_area_mm2:.1f} mm2 open",
                "nothing passes"
                if crossing.sealed
                else f"at most {rounded_up(crossing.clear_diameter_mm, 2)} mm passes",
            ),
        )
        return replace(section, detail=detail)


def _open(section: LevelSection, name: str) -> float:
    """Smallest open fraction of a passage's pieces in a section."""
    return min((void.open_fraction for void in section.voids if name in void.names), default=1.0)


def worst_crossing(passage: PassageResult) -> CrossingResult | None:
    """The crossing of a passage of which the least is open."""
    if not passage.crossings:
        return None
    return min(passage.crossings, key=lambda c: (not c.sealed, c.open_fraction))
