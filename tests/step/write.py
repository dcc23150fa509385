"""Small STEP files of cylinders and tori, and their recorded tessellations, written as text.

``python tests/step/write.py`` writes bore.step and bend.step (ISO 10303-21, AP214) beside itself
and, by the kernel of the extra `step`, what that makes of them at a chord of 0.02 mm (bore.glb,
bend.glb): tests without the kernel read those. Drawn by hand, entity by entity. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

Point = tuple[float, float, float]
HERE = Path(__file__).parent
CHORD_MM = 0.02


def real(value: float) -> str:
    """A number as ISO 10303-21 writes it: always with a point."""
    whole, _, power = repr(float(value)).partition("e")
    whole = whole if "." in whole else f"{whole}."
    return f"{whole}E{power}" if power else whole


class Model:
    """Entities of one file, numbered as they are made; equal ones are made once."""

    def __init__(self, scale: float = 1.0) -> None:
        self.scale, self.lines = scale, []
        self.known: dict[str, str] = {}
        self.edges: dict[frozenset[Point], tuple[Point, str]] = {}

    def add(self, text: str) -> str:
        if text not in self.known:
            self.known[text] = f"#{len(self.known) + 1}"
            self.lines.append(f"{self.known[text]}={text};")
        return self.known[text]

    def point(self, at: Point) -> str:
        values = ",".join(real(v * self.scale) for v in at)
        return self.add(f"CARTESIAN_POINT('',({values}))")

    def direction(self, way: Point) -> str:
        return self.add(f"DIRECTION('',({','.join(map(real, way))}))")

    def axes(self, at: Point, axis: Point, ref: Point) -> str:
        a, b, c = self.point(at), self.direction(axis), self.direction(ref)
        return self.add(f"AXIS2_PLACEMENT_3D('',{a},{b},{c})")

    def vertex(self, at: Point) -> str:
        return self.add(f"VERTEX_POINT('',{self.point(at)})")

    def curve(self, start: Point, end: Point, geometry: str) -> str:
        return self.add(f"EDGE_CURVE('',{self.vertex(start)},{self.vertex(end)},{geometry},.T.)")

    def circle(self, at: Point, axis: Point, ref: Point, radius: float) -> str:
        return self.add(f"CIRCLE('',{self.axes(at, axis, ref)},{real(radius * self.scale)})")

    def line(self, start: Point, end: Point) -> str:
        way = tuple(b - a for a, b in zip(start, end, strict=True))
        length = sum(v * v for v in way) ** 0.5
        vector = f"VECTOR('',{self.direction(tuple(v / length for v in way))},1.)"
        return self.add(f"LINE('',{self.point(start)},{self.add(vector)})")

    def straight(self, start: Point, end: Point) -> str:
        """An oriented edge between two points; both faces share its curve."""
        key = frozenset((start, end))
        if key not in self.edges:
            self.edges[key] = (start, self.curve(start, end, self.line(start, end)))
        first, edge = self.edges[key]
        return self.oriented(edge, start == first)

    def oriented(self, edge: str, forward: bool) -> str:
        return self.add(f"ORIENTED_EDGE('',*,*,{edge},{'.T.' if forward else '.F.'})")

    def loop(self, edges: Sequence[str], outer: bool) -> str:
        loop = self.add(f"EDGE_LOOP('',({','.join(edges)}))")
        return self.add(f"FACE_{'OUTER_' if outer else ''}BOUND('',{loop},.T.)")

    def face(self, bounds: Sequence[str], surface: str, same: bool) -> str:
        sense = ".T." if same else ".F."
        return self.add(f"ADVANCED_FACE('',({','.join(bounds)}),{surface},{sense})")

    def flat(self, ring: Sequence[Point], normal: Point, ref: Point, holes: Sequence[str]) -> str:
        """A plane face inside a ring, counter-clockwise seen against the normal."""
        edges = [self.straight(a, b) for a, b in zip(ring, [*ring[1:], ring[0]], strict=True)]
        bounds = [self.loop(edges, True), *(self.loop([hole], False) for hole in holes)]
        plane = self.add(f"PLANE('',{self.axes(ring[0], normal, ref)})")
        return self.face(bounds, plane, True)

    def block(
        self, low: Point, high: Point, under: Sequence[str], over: Sequence[str]
    ) -> list[str]:
        """Six faces of a block, the lowest and highest with holes."""
        (x0, y0, z0), (x1, y1, z1) = low, high
        a, b, c, d = (x0, y0, z0), (x1, y0, z0), (x1, y1, z0), (x0, y1, z0)
        e, f, g, h = (x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1)
        x, y, z = (1, 0, 0), (0, 1, 0), (0, 0, 1)
        return [
            self.flat([a, d, c, b], (0, 0, -1), x, under),
            self.flat([e, f, g, h], z, x, over),
            self.flat([a, b, f, e], (0, -1, 0), x, ()),
            self.flat([c, d, h, g], y, x, ()),
            self.flat([b, c, g, f], x, y, ()),
            self.flat([d, a, e, h], (-1, 0, 0), y, ()),
        ]

    def text(self, name: str, faces: Sequence[str], unit: str) -> str:
        shell = self.add(f"CLOSED_SHELL('',({','.join(faces)}))")
        solid = self.add(f"MANIFOLD_SOLID_BREP('{name}',{shell})")
        length = self.add(f"(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT({unit},.METRE.))")
        angle = self.add("(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))")
        solid_angle = self.add("(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())")
        least = f"LENGTH_MEASURE({real(1e-6 * self.scale)})"
        true = f"UNCERTAINTY_MEASURE_WITH_UNIT({least},{length},'','')"
        context = self.add(
            "(GEOMETRIC_REPRESENTATION_CONTEXT(3)"
            f"GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT(({self.add(true)}))"
            f"GLOBAL_UNIT_ASSIGNED_CONTEXT(({length},{angle},{solid_angle}))"
            "REPRESENTATION_CONTEXT('',''))"
        )
        origin = self.axes((0, 0, 0), (0, 0, 1), (1, 0, 0))
        shape = self.add(f"ADVANCED_BREP_SHAPE_REPRESENTATION('',({origin},{solid}),{context})")
        use = self.add("APPLICATION_CONTEXT('automotive_design')")
        of = self.add(f"PRODUCT_CONTEXT('',{use},'mechanical')")
        product = self.add(f"PRODUCT('{name}','{name}','',({of}))")
        version = self.add(f"PRODUCT_DEFINITION_FORMATION('','',{product})")
        design = self.add(f"PRODUCT_DEFINITION_CONTEXT('part definition',{use},'design')")
        definition = self.add(f"PRODUCT_DEFINITION('','',{version},{design})")
        of_shape = self.add(f"PRODUCT_DEFINITION_SHAPE('','',{definition})")
        self.add(f"SHAPE_DEFINITION_REPRESENTATION({of_shape},{shape})")
        data = "\n".join(self.lines)
        return (
            "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\n"
            f"FILE_NAME('{name}','2026-01-01T00:00:00',(''),(''),'','','');\n"
            "FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'));\nENDSEC;\nDATA;\n"
            f"{data}\nENDSEC;\nEND-ISO-10303-21;\n"
        )


def bore(scale: float = 1.0, unit: str = ".MILLI.") -> str:
    """A block of 20 x 16 x 18 with a bore of radius 2 along z."""
    model, radius, top = Model(scale), 2.0, 18.0
    z, x, ends = (0, 0, 1), (1, 0, 0), ((radius, 0, 0), (radius, 0, top))
    low, high = (model.curve(end, end, model.circle((0, 0, end[2]), z, x, radius)) for end in ends)
    seam = model.curve(*ends, model.line(*ends))
    way = [(seam, True), (high, True), (seam, False), (low, False)]
    surface = model.add(
        f"CYLINDRICAL_SURFACE('',{model.axes((0, 0, 0), z, x)},{real(radius * model.scale)})"
    )
    wall = model.face([model.loop([model.oriented(*one) for one in way], True)], surface, False)
    under, over = model.oriented(low, True), model.oriented(high, False)
    faces = model.block((-10, -8, 0), (10, 8, top), [under], [over])
    return model.text("bore", [*faces, wall], unit)


def bend(scale: float = 1.0, unit: str = ".MILLI.") -> str:
    """A block of 32 x 12 x 16 with half a torus, radii 10 and 2, both mouths in z = 0."""
    model, major, minor = Model(scale), 10.0, 2.0
    out, back, axis, zero = (1, 0, 0), (-1, 0, 0), (0, -1, 0), (0, 0, 0)
    ends = ((major + minor, 0, 0), (-major - minor, 0, 0))
    first = model.curve(ends[0], ends[0], model.circle((major, 0, 0), (0, 0, -1), out, minor))
    last = model.curve(ends[1], ends[1], model.circle((-major, 0, 0), (0, 0, 1), back, minor))
    seam = model.curve(*ends, model.circle(zero, axis, out, major + minor))
    way = [(first, True), (seam, True), (last, False), (seam, False)]
    radii = f"{real(major * model.scale)},{real(minor * model.scale)}"
    surface = model.add(f"TOROIDAL_SURFACE('',{model.axes(zero, axis, out)},{radii})")
    wall = model.face([model.loop([model.oriented(*one) for one in way], True)], surface, False)
    under = [model.oriented(first, False), model.oriented(last, True)]
    faces = model.block((-16, -6, 0), (16, 6, 16), under, [])
    return model.text("bend", [*faces, wall], unit)


PARTS = {"bore": bore, "bend": bend}


if __name__ == "__main__":
    for name, text in PARTS.items():
        path = HERE / f"{name}.step"
        path.write_text(text(), encoding="ascii", newline="\n")
        from clearance.mesh.step import tessellated

        path.with_suffix(".glb").write_bytes(tessellated(path, CHORD_MM))
