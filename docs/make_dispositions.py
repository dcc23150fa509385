"""Write the table of rules and a case for each: ``python docs/make_dispositions.py``.

In: `clearance.disposition.table` and the cases of tests/validation/board_cases.py, which need the
test extra. Out: the table in docs/method.md, and docs/dispositions.md.
"""

from __future__ import annotations

import sys
from pathlib import Path

DOCS = Path(__file__).parent
sys.path[:0] = [str(DOCS.parent / "tests"), str(DOCS.parent / "tests/validation")]

from board_cases import CASES  # noqa: E402

from clearance.disposition.table import TABLE  # noqa: E402

METHOD, PAGE = DOCS / "method.md", DOCS / "dispositions.md"
BEGIN, END = "<!-- rows -->", "<!-- end of rows -->"
HEAD = """\
# A case for every rule

Written by `docs/make_dispositions.py`. Each case is a small part made for it, checked by the
program from the case file to the exit status (`tests/validation/board_cases.py`,
`test_dispositions.py`); all are invented. What is recommended was argued before it was computed.
The rules stand in [Method](method.md#disposition); the exit status is 3 also where a stated
requirement fails and the recommendation is undetermined or use-as-is.
"""
FOOT = """\
Two answers have no case here, since only a fault of the program reaches them: a second opinion
that contradicts (row 2; `tests/validation/test_second_opinion.py` puts a false state in its way),
and a blocked passage in which no crossing was found (rows 13 and 14). A cut that only run-out takes
beyond `wall_allowance` (row 10) is never proposed as a plan; the rule stands by itself all the same
(`tests/unit/test_disposition.py`).
"""


def table() -> str:
    """The rows as docs/method.md shows them."""
    lines = ["| row | if | then |", "| --- | --- | --- |"]
    lines += [f"| {number} | {row.holds} | {row.then} |" for number, row in TABLE.items()]
    return "\n".join(lines)


def method(text: str) -> str:
    """The page with its table."""
    before, rest = text.split(BEGIN)
    return f"{before}{BEGIN}\n{table()}\n{END}{rest.split(END)[1]}"


def page() -> str:
    """The cases as docs/dispositions.md shows them."""
    lines = [
        "| row | case | what a board would say | recommended | exit |",
        "|---|---|---|---|---|",
    ]
    lines += [
        f"| {one.row} | {one.title} | {one.argued} | {one.recommendation} | {one.status} |"
        for one in CASES
    ]
    return "\n".join([HEAD, *lines, "", FOOT])


if __name__ == "__main__":
    METHOD.write_text(method(METHOD.read_text("utf-8")), "utf-8")
    PAGE.write_text(page(), "utf-8")
