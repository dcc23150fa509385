"""Draw the floors of the package in DEVELOPERS.md: each package, what it is for, its modules.

In: the order of `tests/test_floors.py` and the packages' own first lines. Out: the drawing.
Run it where a module comes or goes: `python docs/make_floors.py`.
"""

import ast
from pathlib import Path

ROOT = Path(__file__).parent.parent
BEGIN, END = "<!-- floors -->", "<!-- end of floors -->"


def order() -> list[str]:
    tree = ast.parse((ROOT / "tests" / "test_floors.py").read_text("utf-8"))
    for node in tree.body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "FLOORS":
            return ast.literal_eval(node.value)
    raise SystemExit("tests/test_floors.py has no FLOORS")


def drawing() -> str:
    rows = ["| floor | what for | modules |", "| --- | --- | --- |"]
    for name in order():
        folder = ROOT / "clearance" / name
        file = folder / "__init__.py" if folder.is_dir() else folder.with_suffix(".py")
        words = ast.get_docstring(ast.parse(file.read_text("utf-8"))).split("\n\n")[0]
        inside = sorted(path.stem for path in folder.glob("[!_]*.py"))
        listed = ", ".join(f"`{module}`" for module in inside)
        rows.append(f"| `{name}` | {' '.join(words.split())} | {listed} |")
    return "\n".join(rows)


def drawn(text: str) -> str:
    before, rest = text.split(BEGIN)
    return f"{before}{BEGIN}\n{drawing()}\n{END}{rest.split(END)[1]}"


if __name__ == "__main__":
    page = ROOT / "DEVELOPERS.md"
    page.write_text(drawn(page.read_text("utf-8")), "utf-8")
