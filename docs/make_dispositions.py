"""Write the table of rules into docs/method.md: ``python docs/make_dispositions.py``."""

from __future__ import annotations

from pathlib import Path

from clearance.disposition.table import TABLE

METHOD = Path(__file__).with_name("method.md")
BEGIN, END = "<!-- rows -->", "<!-- end of rows -->"


def table() -> str:
    """The rows as docs/method.md shows them."""
    lines = ["| row | if | then |", "| --- | --- | --- |"]
    lines += [f"| {number} | {row.holds} | {row.then} |" for number, row in TABLE.items()]
    return "\n".join(lines)


def method(text: str) -> str:
    """The page with its table."""
    before, rest = text.split(BEGIN)
    return f"{before}{BEGIN}\n{table()}\n{END}{rest.split(END)[1]}"


if __name__ == "__main__":
    METHOD.write_text(method(METHOD.read_text("utf-8")), "utf-8")
