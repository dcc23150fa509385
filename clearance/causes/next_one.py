"""What to measure next: information, and whether it can change the recommendation.

In: suspects with their weights after the readings, what each predicts for every candidate, and the
recommendation of each. Out: a `NextMeasurement` for each candidate, and the `Decision`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.causes.candidates import Candidate
from clearance.causes.information import Told, told_by_asking, told_by_measuring, wrong_now
from clearance.causes.worth import Choices
from clearance.result.causes import Decision, NextMeasurement

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]

DECIDED = 0.05
"""A measurement decides if the likelier recommendation after it is wrong less often; a convention,
not a limit of safety."""
APART = 1e4
"""Where there is nothing to measure that is another answer: so many u off all values."""
UNDETERMINED = "undetermined"


@dataclass(frozen=True, eq=False)
class Foreseen:
    """What each suspect predicts for one candidate.

    Attributes
    ----------
    means : (N, Q) ndarray or None
        Q values of equal weight; nan where there is nothing to measure. None of yes or no.
    chances : (N,) ndarray or None
        Of yes; None of what is measured.
    """

    means: Floats | None = None
    chances: Floats | None = None


def told(weights: Floats, foreseen: Foreseen, u: float, labels: Labels) -> Told:
    """What one candidate would tell.

    Parameters
    ----------
    weights : (N,) ndarray
        Of the suspects after the readings; they add up to 1.
    foreseen : Foreseen
    u : float
        Standard uncertainty; not used of yes or no.
    labels : (N,) ndarray of int, from 0
    """
    if foreseen.chances is not None:
        return told_by_asking(weights, foreseen.chances, labels)
    return told_by_measuring(weights, *measured(foreseen, u), labels)


def measured(foreseen: Foreseen, u: float) -> tuple[Floats, float]:
    """What each suspect predicts (N, Q), and the uncertainty to reckon with.

    Nothing to measure is an answer far off all values.
    """
    assert foreseen.means is not None
    absent: NDArray[np.bool_] = np.isnan(foreseen.means[:, 0])
    lowest = np.nanmin(foreseen.means) if not absent.all() else 0.0
    means = np.where(absent[:, None], lowest - APART * u, foreseen.means)
    # A few values stand for a range: between them nothing would be told apart by a finer gauge.
    return means, max(u, float(np.ptp(means, axis=1).max()) / means.shape[1])


def worth(weights: Floats, foreseen: Foreseen, u: float, found: Choices) -> float:
    """What one candidate is worth in money; parameters as of `told`."""
    if foreseen.chances is not None:
        return found.by_asking(weights, foreseen.chances)
    return found.by_measuring(weights, *measured(foreseen, u))


def ranked(
    weights: Floats,
    recommended: Sequence[str],
    foreseen: Sequence[tuple[Candidate, Foreseen]],
    choices: Choices | None = None,
) -> tuple[NextMeasurement, ...]:
    """Every candidate in the order given, with what it would tell, and save if costs are known."""
    labels = _numbered(recommended)
    before = wrong_now(weights, labels)
    found = []
    for one, what in foreseen:
        tells = told(weights, what, one.u or 1.0, labels)
        found.append(
            NextMeasurement(
                measure=one.words,
                kind=one.reading.kind,
                u=one.u,
                u_assumed=one.assumed,
                bits=tells.bits,
                decision_bits=tells.label_bits,
                wrong_after=min(tells.wrong, before),
                decides=before > DECIDED and tells.wrong <= DECIDED,
                worth=None if choices is None else worth(weights, what, one.u or 1.0, choices),
            )
        )
    return tuple(found)


def decision(
    weights: Floats,
    recommended: Sequence[str],
    next_ones: Sequence[NextMeasurement],
    none: bool,
    unlike: Sequence[str] = (),
) -> Decision:
    """Whether the cause matters, and what to do about it, in one sentence.

    Parameters
    ----------
    weights : (N,) ndarray
        Of the suspects that were looked at; they add up to 1.
    recommended : sequence of N
        The recommendation of each.
    next_ones : sequence of NextMeasurement
    none : bool
        None of the suspects explains the readings.
    unlike : sequence of str
        Passages whose state depends on the cause.
    """
    words = sorted(set(recommended))
    wrong = wrong_now(weights, _numbered(recommended))
    if none:
        said = (
            "none of the suspects explains the readings: no recommendation; look again at the "
            "readings, at the ranges, and at the other causes"
        )
        return Decision(False, None, wrong, said)
    if words == [UNDETERMINED]:
        said = "undetermined whatever the cause: what `check` names has to be settled first"
        return Decision(False, UNDETERMINED, wrong, said)
    if len(words) == 1:
        said = f"{words[0]} whatever the cause: for the decision nothing more need be measured"
        if unlike:
            said += (
                f"; the state of {' and '.join(unlike)} depends on the cause, and so may the work"
            )
        return Decision(True, words[0], wrong, said)
    choice = " or ".join(words)
    if wrong <= DECIDED:
        likeliest = words[int(np.argmax(np.bincount(_numbered(recommended), weights)))]
        said = (
            f"{choice}, depending on the cause; {likeliest} but for {100.0 * wrong:.2g} % of what "
            "the readings leave, which is for people to accept"
        )
        return Decision(False, None, wrong, said)
    first = next((one for one in next_ones if one.decides), None)
    if first is not None:
        said = f"{choice}, depending on the cause; it is decided by: {first.measure}"
    elif not any(one.decision_bits > 0.0 for one in next_ones):
        said = f"{choice}, depending on the cause; nothing that is listed here parts them"
    else:
        best = max(next_ones, key=lambda one: one.decision_bits)
        said = (
            f"{choice}, depending on the cause; no single measurement parts them: most tells "
            f"{best.measure}"
        )
    return Decision(False, None, wrong, said)


def _numbered(words: Sequence[str]) -> Labels:
    names = sorted(set(words))
    return np.array([names.index(word) for word in words], np.int64)
