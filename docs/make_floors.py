"""Draw the floors of the package: the table in DEVELOPERS.md and docs/figures/floors.svg.

In: the order of `tests/test_floors.py`, the packages' own first lines and their imports. Out: the
table (each package, what it is for, its modules), and boxes with an arrow to each floor that one
uses; an arrow is left out where others lead there. Where a module comes or goes:
`python docs/make_floors.py`.
"""

import ast
from functools import cache
from pathlib import Path

import networkx

ROOT = Path(__file__).parent.parent
BEGIN, END = "<!-- floors -->", "<!-- end of floors -->"
WIDE, HIGH, ACROSS, DOWN = 96, 24, 120, 52  # a box, and the steps from one to the next


@cache
def order() -> list[str]:
    tree = ast.parse((ROOT / "tests" / "test_floors.py").read_text("utf-8"))
    for node in tree.body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "FLOORS":
            return ast.literal_eval(node.value)
    raise SystemExit("tests/test_floors.py has no FLOORS")


def files(name: str) -> list[Path]:
    folder = ROOT / "clearance" / name
    return sorted(folder.glob("*.py")) if folder.is_dir() else [folder.with_suffix(".py")]


def table() -> str:
    rows = ["| floor | what for | modules |", "| --- | --- | --- |"]
    for name in order():
        words = ast.get_docstring(ast.parse(files(name)[0].read_text("utf-8"))).split("\n\n")[0]
        inside = [path.stem for path in files(name) if path.stem not in (name, "__init__")]
        listed = ", ".join(f"`{module}`" for module in inside)
        rows.append(f"| `{name}` | {' '.join(words.split())} | {listed} |")
    return "\n".join(rows)


def drawn(text: str) -> str:
    before, rest = text.split(BEGIN)
    return f"{before}{BEGIN}\n{table()}\n{END}{rest.split(END)[1]}"


@cache
def uses() -> networkx.DiGraph:
    """Which floor uses which, without what follows from the rest."""
    graph = networkx.DiGraph()
    graph.add_nodes_from(order())
    for name in order():
        for path in files(name):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("clearance"):
                    for one in node.names:
                        used = f"{node.module}.{one.name}".split(".")[1]
                        if used in graph and used != name:
                            graph.add_edge(name, used)
    return networkx.transitive_reduction(graph)


def picture() -> str:
    graph, row = uses(), {}
    for name in order():  # what a floor uses comes before it
        row[name] = 1 + max((row[used] for used in graph.successors(name)), default=-1)
    beside = {name: [other for other in order() if row[other] == row[name]] for name in row}
    width = ACROSS * max(len(names) for names in beside.values())
    x, y = {}, {name: DOWN * row[name] + HIGH for name in row}
    for name, names in beside.items():
        x[name] = width * (names.index(name) + 0.5) / len(names)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} '
        f'{max(y.values()) + HIGH}" font-family="sans-serif" font-size="13">',
        '<defs><marker id="tip" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="7" '
        'markerHeight="7" orient="auto"><path d="M0 0L8 4L0 8z"/></marker></defs>',
    ]
    for a, b in sorted(graph.edges, key=lambda edge: (row[edge[0]], *edge)):
        top, bottom = y[b] + HIGH / 2, y[a] - HIGH / 2
        bend = 0.5 * (bottom - top)
        round_ = WIDE if x[a] == x[b] and row[a] - row[b] > 1 else 0  # past the boxes between
        lines.append(
            f'<path d="M{x[a]:g} {bottom:g}C{x[a] + round_:g} {bottom - bend:g} '
            f"{x[b] + round_:g} {top + bend:g} "
            f'{x[b]:g} {top:g}" fill="none" stroke="black" marker-end="url(#tip)"/>'
        )
    for name in order():
        lines.append(
            f'<rect x="{x[name] - WIDE / 2:g}" y="{y[name] - HIGH / 2:g}" width="{WIDE}" '
            f'height="{HIGH}" fill="white" stroke="black"/><text x="{x[name]:g}" '
            f'y="{y[name] + 4:g}" text-anchor="middle">{name}</text>'
        )
    return "\n".join([*lines, "</svg>", ""])


if __name__ == "__main__":
    page = ROOT / "DEVELOPERS.md"
    page.write_text(drawn(page.read_text("utf-8")), "utf-8")
    (ROOT / "docs" / "figures" / "floors.svg").write_text(picture(), "utf-8")
