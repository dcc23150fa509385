"""Damage to sound files: bytes, words, lines, numbers, triangles, entries of a package.

In: a generator of random numbers and the bytes of a sound file. Out: other bytes, one to a few
faults in them; the same generator gives the same damage. Knows nothing of what reads them.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable

import numpy as np
import sound

Random = np.random.Generator

NUMBERS = (
    "0", "-0.0", "1", "-1", "nan", "inf", "-inf", "1e308", "-1e308", "1e39", "1e-308", "1e-45",
    "1e9", "-1e9", "1e5", "0.001", "2147483647", "2147483648", "4294967295", "-2147483649",
    "9223372036854775807", "18446744073709551616", "1" * 400, "1_000", "0x7fffffff", "1,5", "1.",
    "20000", "1e400", "65536", "0.1e", "--1",
)  # fmt: skip
VALUES = (
    '""', '"a"', "true", "[]", "{}", "[1]", "[[1, 2], 3]", '["a", "b"]', "1979-05-27", '"\\u0000"',
    "'''\n'''", '"' + "x" * 300 + '"', '"' + "\U0001f600" * 60 + '"', '"../../etc"', '"/"', '"."',
    '"\\n"', '"=1+1"', '"CON"', '"\u202e"', "{ centre = [0, 0, 0], radius = 1 }", "[1, 2]",
    "[0.1, 2]", '"layer"', '"mesh"', '"plane"', '"unknown"', '"624-2399"', '["0-9", "3-4"]',
    "[nan, nan]", "[[[[[[[[[[[]]]]]]]]]]]", '"m"', '"inch"', "-1", "0", "1e300",
)  # fmt: skip
MARKS = (b"\0", b"\xff", b"\xef\xbb\xbf", b"\r", b"\n", b"[", b"]", b'"', b"<", b">", b"&", b"#",
         b"=", b"{", b"}", b"'", b"\\", b",", b";", b" ", b"\xc3\x28")  # fmt: skip
NUMBER = re.compile(rb"[-+]?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?")
VALUE = re.compile(rb"(?<==)[^\n]*")


def damaged(rng: Random, name: str) -> bytes:
    """A damaged mesh of the format that a file of this name has."""
    if rng.random() < 0.45:
        triangles = sound.soup()
        for _ in range(_few(rng)):
            triangles = _one_of(rng, TRIANGLES)(rng, triangles)
        with np.errstate(all="ignore"):
            return sound.FORMATS[name](triangles.astype(np.float32))
    data = sound.FORMATS[name](sound.soup())
    if name.endswith(".3mf") and rng.random() < 0.8:
        return _package(rng, data)
    return _spoilt(rng, data, BYTES + TEXT if b"\0" not in data else BYTES)


def damaged_text(rng: Random, text: str) -> bytes:
    """A damaged case or plate file."""
    data = text.encode()
    if rng.random() < 0.15:
        return _spoilt(rng, data, BYTES)
    return _spoilt(rng, data, TOML)


def damaged_result(rng: Random, data: bytes) -> bytes:
    """A damaged file of results."""
    return _spoilt(rng, data, BYTES + TEXT)


def _few(rng: Random) -> int:
    return 1 + int(rng.geometric(0.6) - 1)


def _one_of(rng: Random, options: tuple) -> Callable:
    return options[int(rng.integers(len(options)))]


def _spoilt(rng: Random, data: bytes, ways: tuple) -> bytes:
    for _ in range(_few(rng)):
        data = _one_of(rng, ways)(rng, data)
    return data


def _at(rng: Random, data: bytes) -> int:
    return int(rng.integers(len(data) + 1))


# ---- bytes -----------------------------------------------------------------------------------


def flip(rng: Random, data: bytes) -> bytes:
    out = bytearray(data)
    for _ in range(_few(rng)):
        if out:
            out[int(rng.integers(len(out)))] ^= 1 << int(rng.integers(8))
    return bytes(out)


def cut_off(rng: Random, data: bytes) -> bytes:
    return data[: _at(rng, data)]


def cut_out(rng: Random, data: bytes) -> bytes:
    a = _at(rng, data)
    return data[:a] + data[a + int(rng.integers(1, 60)) :]


def again(rng: Random, data: bytes) -> bytes:
    a, b = sorted((_at(rng, data), _at(rng, data)))
    at = _at(rng, data)
    return data[:at] + data[a:b] + data[at:]


def put_in(rng: Random, data: bytes) -> bytes:
    at = _at(rng, data)
    some = MARKS[int(rng.integers(len(MARKS)))] * int(rng.integers(1, 4))
    return data[:at] + (some if rng.random() < 0.7 else rng.bytes(9)) + data[at:]


def over_word(rng: Random, data: bytes) -> bytes:
    """Four bytes become a number at a limit."""
    at = int(rng.integers(max(1, len(data) - 3)))
    words = (b"\xff" * 4, bytes(4), b"\xff\xff\xff\x7f", b"\0\0\x80\x7f", b"\0\0\xc0\x7f",
             b"\0\0\0\x80", b"\x01\0\0\0", b"\0\0\x80\xff")  # fmt: skip
    return data[:at] + words[int(rng.integers(len(words)))] + data[at + 4 :]


def blank(rng: Random, data: bytes) -> bytes:
    a, b = sorted((_at(rng, data), _at(rng, data)))
    return data[:a] + bytes(b - a) + data[b:]


BYTES: tuple = (flip, flip, cut_off, cut_out, again, put_in, over_word, over_word, blank)

# ---- words and lines ------------------------------------------------------------------------


def other_number(rng: Random, data: bytes) -> bytes:
    found = list(NUMBER.finditer(data))
    if not found:
        return data
    one = found[int(rng.integers(len(found)))]
    return data[: one.start()] + _number(rng, one[0]) + data[one.end() :]


def _number(rng: Random, old: bytes) -> bytes:
    if rng.random() < 0.5:
        return NUMBERS[int(rng.integers(len(NUMBERS)))].encode()
    try:
        value = float(old)
    except ValueError:
        return b"7"
    if rng.random() < 0.5 and value == int(value):
        return str(int(value) + int(rng.integers(-3, 4))).encode()
    return f"{value * 10.0 ** rng.uniform(-3, 3) * rng.choice([1, 1, 1, -1]):.6g}".encode()


def lines_out(rng: Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    at = int(rng.integers(len(lines)))
    return b"\n".join(lines[:at] + lines[at + int(rng.integers(1, 4)) :])


def lines_again(rng: Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    a, at = int(rng.integers(len(lines))), int(rng.integers(len(lines) + 1))
    return b"\n".join(lines[:at] + lines[a : a + int(rng.integers(1, 12))] + lines[at:])


def lines_changed(rng: Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    a, b = (int(rng.integers(len(lines))) for _ in "ab")
    lines[a], lines[b] = lines[b], lines[a]
    return b"\n".join(lines)


def word_away(rng: Random, data: bytes) -> bytes:
    words = list(re.finditer(rb"[A-Za-z_]+", data))
    if not words:
        return data
    one, other = (words[int(rng.integers(len(words)))] for _ in "ab")
    return data[: one.start()] + (other[0] if rng.random() < 0.5 else b"") + data[one.end() :]


TEXT: tuple = (other_number, other_number, other_number, lines_out, lines_again, lines_changed,
               word_away)  # fmt: skip


def other_value(rng: Random, data: bytes) -> bytes:
    found = list(VALUE.finditer(data))
    if not found:
        return data
    one = found[int(rng.integers(len(found)))]
    new = VALUES[int(rng.integers(len(VALUES)))].encode()
    return data[: one.start()] + b" " + new + data[one.end() :]


def table_again(rng: Random, data: bytes) -> bytes:
    blocks = data.split(b"\n\n")
    one = blocks[int(rng.integers(len(blocks)))]
    return data + b"\n" + b"\n\n".join([one] * int(rng.integers(1, 4))) + b"\n"


def table_away(rng: Random, data: bytes) -> bytes:
    blocks = data.split(b"\n\n")
    del blocks[int(rng.integers(len(blocks)))]
    return b"\n\n".join(blocks)


TOML: tuple = (*TEXT, other_number, other_number, other_value, other_value, other_value,
               table_again, table_away)  # fmt: skip

# ---- triangles -------------------------------------------------------------------------------


def _some(rng: Random, triangles: sound.Soup) -> np.ndarray:
    return rng.integers(len(triangles), size=_few(rng)) if len(triangles) else np.empty(0, int)


def strange_corner(rng: Random, triangles: sound.Soup) -> sound.Soup:
    out = triangles.copy()
    values = (np.nan, np.inf, -np.inf, 3e38, 1e30, 1e6, 1e-40, 0.0, -1e4)
    for n in _some(rng, out):
        out[n, rng.integers(3), rng.integers(3)] = values[int(rng.integers(len(values)))]
    return out


def moved_corner(rng: Random, triangles: sound.Soup) -> sound.Soup:
    """A point moves in all of its triangles, or in one only."""
    out = triangles.copy()
    for n in _some(rng, out):
        at = out[n, rng.integers(3)].copy()
        by = rng.normal(size=3) * 10.0 ** rng.uniform(-7, 1.5)
        same = (out == at).all(axis=2)
        if rng.random() < 0.5:
            same &= np.arange(len(out))[:, None] == n
        out[same] += by.astype(np.float32)
    return out


def joined_corners(rng: Random, triangles: sound.Soup) -> sound.Soup:
    out = triangles.copy()
    if len(out):
        points = out.reshape(-1, 3)
        a, b = (points[rng.integers(len(points))].copy() for _ in "ab")
        out[(out == a).all(axis=2)] = b
    return out


def fewer(rng: Random, triangles: sound.Soup) -> sound.Soup:
    return np.delete(triangles, _some(rng, triangles), axis=0)


def more(rng: Random, triangles: sound.Soup) -> sound.Soup:
    extra = triangles[_some(rng, triangles)]
    return np.concatenate([triangles, extra[:, ::-1] if rng.random() < 0.5 else extra])


def turned(rng: Random, triangles: sound.Soup) -> sound.Soup:
    out = triangles.copy()
    some = _some(rng, out)
    out[some] = out[some, ::-1]
    return out


def all_turned(rng: Random, triangles: sound.Soup) -> sound.Soup:
    return triangles[:, ::-1].copy()


def other_size(rng: Random, triangles: sound.Soup) -> sound.Soup:
    return (triangles * np.float32(10.0 ** rng.uniform(-4, 4))).astype(np.float32)


def far_off(rng: Random, triangles: sound.Soup) -> sound.Soup:
    return (triangles + (rng.normal(size=3) * 10.0 ** rng.uniform(-3, 6))).astype(np.float32)


def on_a_raster(rng: Random, triangles: sound.Soup) -> sound.Soup:
    step = np.float32(10.0 ** rng.uniform(-4, 1))
    return (np.round(triangles / step) * step).astype(np.float32)


def a_copy(rng: Random, triangles: sound.Soup) -> sound.Soup:
    by = (rng.normal(size=3) * 10.0 ** rng.uniform(-6, 1)).astype(np.float32)
    return np.concatenate([triangles, triangles + by])


def leaning(rng: Random, triangles: sound.Soup) -> sound.Soup:
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    return (triangles @ turn).astype(np.float32)


def sheets(rng: Random, triangles: sound.Soup) -> sound.Soup:
    """Random triangles on top."""
    extra = rng.uniform(-8, 14, size=(int(rng.integers(1, 6)), 3, 3)).astype(np.float32)
    if rng.random() < 0.5:
        extra[:, :, 2] = extra[:, :1, 2]
    return np.concatenate([triangles, extra, extra[:, ::-1]])


TRIANGLES: tuple = (strange_corner, moved_corner, moved_corner, joined_corners, fewer, more,
                    turned, all_turned, other_size, far_off, on_a_raster, a_copy, leaning,
                    sheets)  # fmt: skip

# ---- packages --------------------------------------------------------------------------------


def _package(rng: Random, data: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        files: dict[str, str | bytes] = {name: archive.read(name) for name in archive.namelist()}
    names = list(files)
    name = names[-1] if rng.random() < 0.75 else names[int(rng.integers(len(names)))]
    what = rng.random()
    if what < 0.05:
        del files[name]
    elif what < 0.1:
        files[name.upper() if rng.random() < 0.5 else "/" + name] = files.pop(name)
    else:
        files[name] = _spoilt(rng, bytes(files[name]), XML)  # type: ignore[arg-type]
    return sound.zipped(files)


def attribute_away(rng: Random, data: bytes) -> bytes:
    found = list(re.finditer(rb' [a-z0-9:]+="[^"]*"', data))
    if not found:
        return data
    one = found[int(rng.integers(len(found)))]
    new = (b"", one[0] * 2, b' a:b="1"', one[0].upper())[int(rng.integers(4))]
    return data[: one.start()] + new + data[one.end() :]


def element_away(rng: Random, data: bytes) -> bytes:
    found = list(re.finditer(rb"</?[a-z]+[^>]*>", data))
    if not found:
        return data
    one = found[int(rng.integers(len(found)))]
    new = (b"", one[0] * 2, b"<a/>", b"<!DOCTYPE a>", b"<a:b xmlns:a='c'/>")[int(rng.integers(5))]
    return data[: one.start()] + new + data[one.end() :]


XML: tuple = (*TEXT, attribute_away, attribute_away, element_away, element_away, flip, cut_off,
              put_in)  # fmt: skip
