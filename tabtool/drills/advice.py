"""Which drills to practise next, from how far out of tune a take's bends were.

Cents are the player's own error: sharp positive. A bend that is sharp was not bent far
enough, a flat one too far; an overbend is the other way about. What helps against what is
common practice, no source.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from statistics import median
from typing import NamedTuple

from tabtool.harp import Harp, Technique, Tone
from tabtool.tunings import find_tuning

WAVERING = 15.0  # cents of spread within a note from which holding it comes first
FAR = 3  # holes from the note before: the leap is part of the trouble


class Result(NamedTuple):
    """How one note of a take came out.

    `cents` is its error, None for a wrong or a missing note; `spread` how far its pitch
    wandered, in cents; `before` the tone played before it.
    """

    tone: Tone
    cents: float | None = None
    spread: float = 0.0
    before: Tone | None = None


class Advice(NamedTuple):
    """What to practise for one tone: kinds of drill, the most needed first, and the reason."""

    tone: Tone
    kinds: tuple[str, ...]
    why: str
    times: int


def suggest(results: Iterable[Result]) -> tuple[Advice, ...]:
    """Drills for the bends and overbends among notes that were out of tune, worst first.

    Give it only the notes that were out: it does not judge what is near enough. Natural
    notes are passed over; no drill bends them.
    """
    by_tone: dict[Tone, list[Result]] = {}
    for result in results:
        if result.tone.technique is not Technique.NATURAL:
            by_tone.setdefault(result.tone, []).append(result)
    advice = [_advise(tone, found) for tone, found in by_tone.items()]
    size = {tone: max(_error(result) for result in found) for tone, found in by_tone.items()}
    return tuple(sorted(advice, key=lambda one: (-one.times, -size[one.tone])))


def command(advice: Iterable[Advice], harp: Harp) -> str:
    """The command that writes a page of the drills advised; empty if none are."""
    found = list(advice)
    if not found:
        return ""
    bends = ",".join(one.tone.token for one in found)
    kinds = ",".join(dict.fromkeys(kind for one in found for kind in one.kinds))
    arguments = ["tabtool", "drill", "--harp", harp.key]
    if harp.tuning != "Richter":  # a player's own is known by its file
        arguments += ["--tuning", harp.tuning if find_tuning(harp.tuning) else harp.layout.source]
    return shlex.join([*arguments, "--bends", bends, "--kinds", kinds])


def _advise(tone: Tone, results: list[Result]) -> Advice:
    kinds: list[str] = []
    reasons: list[str] = []
    errors = [result.cents for result in results if result.cents is not None]
    if len(errors) < len(results):
        missed = len(results) - len(errors)
        reasons.append(f"{missed} of {len(results)} not found at its pitch")
        kinds += ["reference", "above", "cold"]
    if errors:
        off = median(errors)
        short = (off < 0) if tone.overbent else (off > 0)
        side = "sharp" if off > 0 else "flat"
        how = "not bent far enough" if short else "bent too far"
        if tone.overbent:
            how = "not brought up to its pitch" if short else "pushed past its pitch"
        reasons.append(f"{abs(off):.0f} cents {side}: {how}")
        kinds += ["reference", "above", "hold"] if short else ["below", "around", "swap"]
    if max(result.spread for result in results) > WAVERING:
        reasons.append("its pitch wanders")
        kinds = ["hold", "pulse", *kinds]
    before = [result.before for result in results if result.before is not None]
    if any(abs(other.hole - tone.hole) >= FAR for other in before):
        kinds.append("leap")
        reasons.append("after a leap")
    elif any(other.hole == tone.hole and other != tone for other in before):
        kinds.append("swap")
    kinds.append("phrase")
    return Advice(tone, tuple(dict.fromkeys(kinds)), "; ".join(reasons), len(results))


def _error(result: Result) -> float:
    return 100.0 if result.cents is None else abs(result.cents)
