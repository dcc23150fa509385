"""A TOML file, checked table by table, with every fault at its line.

In: a path and the model of the whole file. Out: the document, its sound tables, and
one `CaseError` that lists all the faults. What the tables mean is left to others.
"""

from __future__ import annotations

import difflib
import hashlib
import json
import re
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, get_args

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from clearance.case.kinds import AS_NAME, AS_TABLE, Table
from clearance.errors import CaseError

Where = tuple[str | int, ...]
"""Place in the document: ("passage", 0, "inlet", "radius")."""

LARGEST_BYTES = 16 << 20
"""A file of more is no case; its text is held several times over."""
DEEPEST = 32
"""Pieces of a dotted key, at most: the parser's work grows with their square."""

_NOT_GIVEN = object()
_EXPECTED = {
    "model_type": "a table, { ... }",
    "dict_type": "a table, { ... }",
    "string_too_short": "a text that is not empty",
    "string_type": "a text in quotes",
    "bool_type": "true or false",
    "tuple_type": "a list, [ ... ]",
    "path_type": "the path of a file",
}
"""The validator's kinds of fault whose own words are those of another language."""

_SKIPPED = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})|\'\'\'.*?\'\'\'(?:\'{0,2})'
    r'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{}]|\n',
    re.DOTALL,
)
_PIECE = r"""(?:"(?:\\.|[^"\\])*"|'[^']*'|[A-Za-z0-9_-]+)"""
_DOTTED = rf"{_PIECE}(?:\s*\.\s*{_PIECE})*"
_TOO_DEEP = re.compile(rf"""(?<![\w"'.-]){_PIECE}(?:[ \t]*\.[ \t]*{_PIECE}){{{DEEPEST}}}""")
_DECIMAL_COMMA = re.compile(r"=\s*[-+]?\d+,\d+\s*(?:[#,}].*)?$")
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]")
_KEY = re.compile(rf"\s*({_DOTTED})\s*=")


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Give the known word that `word` most likely stands for, if any is near."""
    by_fold = {name.casefold(): name for name in known}
    sought = word.casefold()
    close = difflib.get_close_matches(sought, by_fold, n=1, cutoff=0.6)
    close += [name for name in by_fold if len(sought) > 2 and name.startswith(sought)]
    return by_fold[close[0]] if close else None


def shown(value: object) -> str:
    """Write a value of the file short enough for a message."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
        return "a list of tables"
    return _short(repr(value) if isinstance(value, str | int | float | list) else str(value))


def _short(text: str) -> str:
    return text if len(text) <= 60 else text[:57] + "..."


def key_lines(text: str) -> dict[Where, int]:
    """Line number of every table and key of a valid TOML text.

    tomllib keeps no positions. A key inside an inline table has no entry of its own:
    it stands at the line of the key that holds the table.
    """
    lines: dict[Where, int] = {}
    counts: dict[Where, int] = {}
    table: Where = ()
    for number, line in _statements(text):
        if header := _HEADER.match(line):
            table = _into_lists(_parts(header[2]), counts)
            if header[1] == "[[":
                counts[table] = counts.get(table, -1) + 1
                lines.setdefault(table, number)
                table = (*table, counts[table])
            lines.setdefault(table, number)
        elif found := _KEY.match(line):
            parts = _parts(found[1])
            for end in range(1, len(parts) + 1):
                lines.setdefault(table + parts[:end], number)
    return lines


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Lines that begin outside every string, array and inline table."""
    depth, number, written = 0, 1, text.split("\n")
    yield 1, written[0]
    for token in _SKIPPED.finditer(text):
        mark = token[0]
        depth += (mark in "[{") - (mark in "]}")
        number += mark.count("\n")
        if mark == "\n" and depth == 0:
            yield number, written[number - 1]


def _parts(dotted: str) -> Where:
    """Split a dotted key; tomllib itself knows best about quotes."""
    found: list[str] = []
    inner: Any = tomllib.loads(f"{dotted} = 0")
    while isinstance(inner, dict):
        name, inner = next(iter(inner.items()))
        found.append(name)
    return tuple(found)


def _into_lists(parts: Where, counts: dict[Where, int]) -> Where:
    """Put a header below a list of tables into the list's latest item."""
    where: Where = ()
    for depth, part in enumerate(parts, start=1):
        where = (*where, part)
        if where in counts and depth < len(parts):
            where = (*where, counts[where])
    return where


def table_of(annotation: object) -> type[Table] | None:
    """Find the table class inside `Model`, `Model | None` or `tuple[Model, ...]`."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    inner = (table_of(part) for part in get_args(annotation))
    return next((found for found in inner if found is not None), None)


def _is_list(annotation: object) -> bool:
    return getattr(annotation, "__origin__", None) is tuple or any(
        _is_list(part) for part in get_args(annotation)
    )


class TomlFile:
    """One file, read once; faults are gathered and raised together.

    Parameters
    ----------
    path : Path
        The file.
    layout : type[Table]
        The model of the whole file: a field for each table.
    tables : dict, optional
        Instead of a file what it would hold; faults then have no line, and the hash is that of
        the tables as JSON.

    Raises
    ------
    CaseError
        The file cannot be read, is empty, or is not TOML.
    """

    def __init__(self, path: Path, layout: type[Table], tables: object = _NOT_GIVEN) -> None:
        self.path = path
        self.layout = layout
        if tables is _NOT_GIVEN:
            data = _read(path)
            text = _decoded(path, data)
            self.document = _parsed(path, text)
            self._lines = key_lines(text)
        else:
            self.document = _plain_tables(path, tables)
            data = json.dumps(self.document, sort_keys=True, default=str).encode()
            self._lines = {}
        self.sha256 = hashlib.sha256(data).hexdigest()
        self._faults: list[tuple[Where, str]] = []
        self._tables = {
            name: (table_of(field.annotation) or Table, _is_list(field.annotation))
            for name, field in layout.model_fields.items()
        }
        self.sound_tables: dict[Where, Table] = {}
        self._check_tables()

    def fault(self, where: Where, expected: str, found: object = _NOT_GIVEN) -> None:
        """Note that the value at `where` is not what is expected, or that it is missing."""
        value = self.value(where) if found is _NOT_GIVEN else found
        if value is None:
            self.say(where, f"the key is missing, expected {expected}")
            return
        self.say(where, f"found {shown(value)}, expected {expected}")

    def say(self, where: Where, text: str) -> None:
        """Note a fault in free words."""
        if (where, text) not in self._faults:
            self._faults.append((where, text))

    def raise_faults(self) -> None:
        """Raise one `CaseError` with a line for each fault, if there are any."""
        if self._faults:
            lines = sorted(
                ((self._line(where) or 0, self._message(where, text))
                 for where, text in self._faults),
                key=lambda item: item[0],
            )  # fmt: skip
            raise CaseError("\n".join(text for _, text in lines))

    def value(self, where: Where) -> Any:
        """Value at `where` as written; None if there is none."""
        inner: Any = self.document
        for step in where:
            if not _has(inner, step):
                return None
            inner = inner[step]
        return inner

    def sound(self, where: Where) -> Any:
        """Value at `where` if it is there and has no fault, else None."""
        faulty = any(place[: len(where)] == where for place, _ in self._faults)
        return None if faulty else self.value(where)

    def items(self, name: str) -> list[dict[str, Any]]:
        """Tables of the list `name` as written, sound or not."""
        found = self.document.get(name)
        listed = found if isinstance(found, list) else []
        return [item if isinstance(item, dict) else {} for item in listed]

    def _check_tables(self) -> None:
        for name in self.document:
            if name not in self._tables:
                self._unknown((name,), None)
        for name, (model, many) in self._tables.items():
            self._check_table(name, model, many)

    def _check_table(self, name: str, model: type[Table], many: bool) -> None:
        raw = self.document.get(name)
        if raw is None or (many and raw == []):
            if self.layout.model_fields[name].is_required():
                self.say((name,), "the table is missing" + (", at least one" if many else ""))
        elif many and not isinstance(raw, list):
            self.fault((name,), f"a list of tables, each headed [[{name}]]")
        elif many:
            for number in range(len(raw)):
                self._validate((name, number), model)
        elif isinstance(raw, dict):
            self._validate((name,), model)
        else:
            self.fault((name,), f"one table, headed [{name}]")

    def _validate(self, where: Where, model: type[Table]) -> None:
        raw = self.value(where)
        if not isinstance(raw, dict):
            self.fault(where, "a table")
            return
        try:
            self.sound_tables[where] = model.model_validate(raw)
        except ValidationError as error:
            for fault in error.errors(include_url=False):
                self._explain(where, model, fault)

    def _explain(self, where: Where, model: type[Table], fault: ErrorDetails) -> None:
        """Say a fault of the validator in the file's own terms."""
        kind = fault["type"]
        if fault["loc"][-1] == "bool" and isinstance(fault["input"], int | float):
            return  # where a value may be either, what is wrong with the number is said
        loc = tuple(step for step in fault["loc"] if step not in (AS_TABLE, AS_NAME))
        place = self._as_written(where + loc, keep_last=kind == "missing")
        if kind == "missing":
            self.say(place, "the key is missing")
        elif kind == "extra_forbidden":
            self._unknown(place, _inner(model, loc[:-1]))
        elif kind == "string_too_long":
            self.fault(place, f"at most {fault['ctx']['max_length']} letters")
        elif kind == "too_short":
            self.fault(place, f"a list of at least {fault['ctx']['min_length']}")
        else:
            self.fault(place, _EXPECTED.get(kind, fault["msg"].removeprefix("Input should be ")))

    def _as_written(self, where: Where, keep_last: bool) -> Where:
        """Cut steps that the file does not have, such as the items of a single value."""
        inner: Any = self.document
        for depth, step in enumerate(where):
            if not _has(inner, step):
                return where if keep_last and depth == len(where) - 1 else where[:depth]
            inner = inner[step]
        return where

    def _unknown(self, where: Where, model: type[Table] | None) -> None:
        """Refuse a key or table, and propose what may have been meant."""
        word = str(where[-1])
        kind = "key" if model is not None else "table"
        known = list(model.model_fields if model is not None else self._tables)
        near = nearest(word, known)
        homes = [name for name, (table, _) in self._tables.items() if word in table.model_fields]
        if near is not None:
            hint = f"; did you mean {near if model is not None else self._headed(near)}?"
        elif homes:
            hint = f"; {word} belongs to {' or '.join(map(self._headed, homes))}"
        else:
            hint = f"; known here: {', '.join(known)}"
        found = "" if kind == "table" else f"found {shown(self.value(where))}, "
        self.say(where, f"{found}no such {kind}{hint}")

    def _headed(self, name: str) -> str:
        return f"[[{name}]]" if self._tables[name][1] else f"[{name}]"

    def _line(self, where: Where) -> int | None:
        """Line of the place, or of the nearest thing around it that has one."""
        ends = range(len(where), 0, -1)
        return next((self._lines[where[:end]] for end in ends if where[:end] in self._lines), None)

    def _message(self, where: Where, text: str) -> str:
        line = self._line(where)
        at = f"{self.path}:{line}" if line is not None else f"{self.path}"
        return f"{at}: {self._label(where)}: {text}"

    def _label(self, where: Where) -> str:
        name = str(where[0])
        if name not in self._tables:
            name = _short(name)
            return f"[{name}]" if isinstance(self.value(where), dict) else name
        label, rest = self._headed(name), where[1:]
        if rest and isinstance(rest[0], int):
            label, rest = f"[[{name}]] number {rest[0] + 1}", rest[1:]
        keys = "".join(f", item {s + 1}" if isinstance(s, int) else f".{_short(s)}" for s in rest)
        return f"{label} {keys.removeprefix('.')}".rstrip()


def _has(inner: object, step: str | int) -> bool:
    if isinstance(inner, dict):
        return step in inner
    return isinstance(inner, list) and isinstance(step, int) and 0 <= step < len(inner)


def _inner(model: type[Table], loc: Where) -> type[Table]:
    """Table class at the end of `loc`, from field to field."""
    for step in loc:
        if isinstance(step, str) and step in model.model_fields:
            model = table_of(model.model_fields[step].annotation) or model
    return model


def _read(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise CaseError(f"{path}: found a folder, expected a TOML file")
        if path.is_file() and path.stat().st_size > LARGEST_BYTES:
            found = path.stat().st_size
            raise CaseError(f"{path}: found {found} bytes, expected at most {LARGEST_BYTES}")
        return path.read_bytes()
    except FileNotFoundError as error:
        raise CaseError(f"{path}: no such file, expected a TOML file") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise CaseError(f"{path}: cannot be read: {reason}") from error


def _plain_tables(path: Path, tables: object) -> dict[str, Any]:
    """A copy of the tables with the kinds of value that a file has."""
    if not isinstance(tables, dict):
        raise CaseError(f"{path}: found {shown(tables)}, expected a dict of tables such as part")
    document: dict[str, Any] = _plain_value(tables)
    if not document:
        raise CaseError(f"{path}: there is no table, expected tables such as part")
    return document


def _plain_value(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(name): _plain_value(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain_value(inner) for inner in value]
    if isinstance(value, Path):
        return str(value)
    return _plain_value(value.tolist()) if hasattr(value, "dtype") else value  # of an array


def _decoded(path: Path, data: bytes) -> str:
    try:
        # Some editors put a mark before the text; line ends are made plain for the line count.
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        found = data[error.start]
        raise CaseError(f"{path}:{line}: found byte 0x{found:02x}, expected UTF-8 text") from error


def _parsed(path: Path, text: str) -> dict[str, Any]:
    for number, line in enumerate(text.split("\n"), start=1):
        if _TOO_DEEP.search(line):
            raise CaseError(
                f"{path}:{number}: found a key of more than {DEEPEST} pieces, expected fewer"
            )
    try:
        document = tomllib.loads(text)
    except RecursionError as error:
        raise CaseError(f"{path}: not valid TOML: nested too deeply") from error
    except ValueError as error:
        place = re.search(r" ?\(at line (\d+), column (\d+)\)", str(error))
        if place is None:
            raise CaseError(f"{path}: not valid TOML: {error}") from error
        reason = str(error).replace(place[0], "")
        line = text.split("\n")[int(place[1]) - 1]
        if _DECIMAL_COMMA.search(line):
            reason = "found a decimal comma, expected a decimal point"
        raise CaseError(
            f"{path}:{place[1]}: not valid TOML: {reason}, at column {place[2]}"
        ) from error
    if not document:
        raise CaseError(f"{path}: the file is empty, expected tables such as [part]")
    return document
