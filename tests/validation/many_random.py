"""Many random parts against solid booleans, outside the plain run.

    python tests/validation/many_random.py 0 1000 --out FILE [--retell] [--every N] [--offset K]

Runs the seeds from the first up to the second (or every Nth of them, for a second process), and
writes one line of JSON a passage to FILE as soon as it is known. Run again with the same FILE it
goes on where it stopped. At the end, or with `--report FILE ...` alone, it prints counts for each
kind, the share that is undetermined, and every disagreement. With `--retell` each part is also told
again in another way: turned, mirrored, upside down, ends swapped, triangles split and shuffled,
another pitch, other threads, other units. `--counts FILE --of WHAT` keeps the counts, with a word
on which program was run, for docs/validation.md.
"""

from __future__ import annotations

import argparse
import json
import signal
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE)]

import random_judged  # noqa: E402
import random_kinds  # noqa: E402

SECONDS = 300
"""A part that takes longer is given up, and listed."""
LOOSE = ("height range", "layers range", "foreign void", "third mouth open")
"""Kinds of which more may be undetermined: intervals, ways through other voids, and mouths that the
case does not name, which it is then asked for."""


class TooSlow(Exception):
    """A part was given up."""


def _stop(*_: Any) -> None:
    raise TooSlow


def run(seed: int, retell: bool) -> list[dict[str, Any]]:
    """Rows of one seed."""
    kind = list(random_kinds.KINDS)[seed % len(random_kinds.KINDS)]
    signal.alarm(SECONDS)
    try:
        with tempfile.TemporaryDirectory() as folder:
            scene = random_kinds.make_scene(seed)
            found = random_judged.judged(Path(folder), scene, seed)
            rows = [_row(verdict) for verdict in found]
            if retell:
                import retelling

                need = {verdict.passage: verdict.need for verdict in found}
                rows[0]["retold"] = retelling.faults(Path(folder), scene, seed, need)
            return rows
    except TooSlow:
        return [{"seed": seed, "kind": kind, "failed": f"given up after {SECONDS} s"}]
    except ArithmeticError as fault:
        return [{"seed": seed, "kind": kind, "no_reference": str(fault)}]
    except Exception as fault:
        return [{"seed": seed, "kind": kind, "failed": f"{type(fault).__name__}: {fault}"}]
    finally:
        signal.alarm(0)


def _row(verdict: random_judged.Verdict) -> dict[str, Any]:
    return {
        "seed": verdict.seed,
        "kind": verdict.kind,
        "passage": verdict.passage,
        "need": verdict.need,
        "said": verdict.said,
        "true": [round(verdict.truth.low, 4), round(verdict.truth.high, 4)],
        "leaks": verdict.truth.leaks,
        "advice": verdict.advice,
        "plan": verdict.plan,
        "undetermined": verdict.undetermined,
        "far": verdict.far,
        "faults": verdict.faults,
        "unsafe": verdict.unsafe,
        "seconds": round(verdict.seconds, 2),
    }


def counts(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Counts for each kind, and for all."""
    table = []
    for kind in (*random_kinds.KINDS, "all"):
        some = [r for r in rows if kind in (r["kind"], "all")]
        judged = [r for r in some if "said" in r]
        words = Counter(r["said"].split()[0] for r in judged)
        far = [r for r in judged if r["far"] and (kind != "all" or r["kind"] not in LOOSE)]
        table.append(
            {
                "kind": kind,
                "parts": len({r["seed"] for r in some if "said" in r}),
                "passages": len(judged),
                "open": words["open"],
                "restricted": words["restricted"],
                "blocked": words["blocked"],
                "undetermined": words["undetermined"],
                "far": len(far),
                "far_undetermined": sum(r["undetermined"] for r in far),
                "plans": sum(r["plan"] for r in judged),
                "disagree": sum(bool(r["faults"]) for r in judged),
                "unsafe": sum(r["unsafe"] for r in judged),
                "not_judged": sum("said" not in r for r in some),
            }
        )
    return table


def report(rows: list[dict[str, Any]]) -> str:
    """Counts, shares and every disagreement, as text."""
    table = counts(rows)
    names = list(table[0])
    lines = ["  ".join(f"{name:>12}" if n else f"{name:22}" for n, name in enumerate(names))]
    for row in table:
        values = [row[name] for name in names]
        lines.append("  ".join(f"{v:>12}" if n else f"{v:22}" for n, v in enumerate(values)))
    whole = table[-1]
    share = 100.0 * whole["far_undetermined"] / max(whole["far"], 1)
    lines.append(f"undetermined where that should not be: {share:.1f} % (of kinds but {LOOSE})")
    for row in sorted(rows, key=lambda r: (not r.get("unsafe", False), r["kind"], r["seed"])):
        if "said" not in row:
            words = row.get("failed") or f"no reference: {row.get('no_reference')}"
            lines.append(f"seed {row['seed']}, {row['kind']}: {words}")
        elif row["faults"] or row.get("retold"):
            unsafe = "UNSAFE " if row["unsafe"] else ""
            words = "; ".join([*row["faults"], *row.get("retold", [])])
            lines.append(
                f"{unsafe}seed {row['seed']}, {row['kind']}, {row['passage']}: need "
                f"{row['need']:.3f}, said {row['said']} ({row['advice']}), true {row['true']}"
                f"{', leaks' if row['leaks'] else ''}: {words}"
            )
    return "\n".join(lines)


def keep(path: Path, rows: list[dict[str, Any]], of: str) -> None:
    """Write the counts that docs/validation.md shows."""
    faults = [
        {k: r[k] for k in ("seed", "kind", "passage", "need", "said", "true", "faults", "unsafe")}
        for r in rows
        if r.get("faults")
    ]
    seeds = sorted({r["seed"] for r in rows})
    kept = {
        "program": of,
        "seeds": [seeds[0], seeds[-1]],
        "counts": counts(rows),
        "faults": faults,
        "not_judged": [r for r in rows if "said" not in r],
    }
    path.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")


def read(paths: list[Path]) -> list[dict[str, Any]]:
    """Rows of files that were written before."""
    lines = [line for path in paths if path.exists() for line in path.read_text().splitlines()]
    return [json.loads(line) for line in lines]


def main() -> None:
    """Take the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("first", type=int, nargs="?", default=0)
    parser.add_argument("last", type=int, nargs="?", default=0)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--offset", type=int, default=0)
    parser.add_argument("--retell", action="store_true")
    parser.add_argument("--report", type=Path, nargs="*", default=[])
    parser.add_argument("--counts", type=Path)
    parser.add_argument("--of", default="not said")
    given = parser.parse_args()
    signal.signal(signal.SIGALRM, _stop)
    rows = read([given.out] if given.out else [])
    done = {row["seed"] for row in rows}
    for seed in range(given.first + given.offset, given.last, given.every):
        if seed in done:
            continue
        for row in run(seed, given.retell):
            rows.append(row)
            if given.out:
                with given.out.open("a") as file:
                    file.write(json.dumps(row) + "\n")
    rows += read(given.report)
    if given.counts:
        keep(given.counts, rows, given.of)
    print(report(rows))


if __name__ == "__main__":
    main()
