"""Steps to lines of bars in the notation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from itertools import islice, takewhile

from tabtool.drills.ground import Step


def write_bars(
    steps: Sequence[Step], beats: int, bars_a_line: int = 4, chords: Sequence[str] = ()
) -> list[str]:
    """Lines of bars of `beats` beats each; the last bar is filled up with silence.

    `chords` are symbols for the accompaniment, one a bar, written where they change.
    """
    taps = _taps(steps)
    taps += ["."] * (-len(taps) % beats)
    bars = [taps[i : i + beats] for i in range(0, len(taps), beats)]
    for number, symbol in enumerate(chords[: len(bars)]):
        if not number or symbol != chords[number - 1]:
            bars[number][0] = f'"{symbol}"{bars[number][0]}'
    lines = []
    for i in range(0, len(bars), bars_a_line):
        lines.append("| " + " | ".join(" ".join(bar) for bar in bars[i : i + bars_a_line]) + " |")
    return lines


def _taps(steps: Sequence[Step]) -> list[str]:
    """One text for each beat: ``2v``, ``2v,3v``, ``-``."""
    ends: list[tuple[Fraction, str, str]] = []  # when it ends, how it begins, how it goes on
    time = Fraction(0)
    for step in steps:
        time += step.beats
        if step.tone is None:
            ends.append((time, ".", "."))
        else:
            ends.append((time, step.tone.token + "~" * step.vibrato, "-"))
    taps = []
    at, fresh = 0, True
    for beat in range(math.ceil(time)):
        within = takewhile(lambda ending: ending[0] < beat + 1, islice(ends, at, None))  # noqa: B023
        cuts = [end for end, _, _ in within]
        parts = math.lcm(*(cut.denominator for cut in cuts)) if cuts else 1
        texts = []
        for part in range(parts):
            if at >= len(ends):
                texts.append(".")
                continue
            end, first, on = ends[at]
            texts.append(first if fresh else on)
            fresh = beat + Fraction(part + 1, parts) >= end
            at += fresh
        taps.append("." if all(text == "." for text in texts) else ",".join(texts))
    return taps
