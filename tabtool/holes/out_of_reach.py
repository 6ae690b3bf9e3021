"""Pitches a harp or a player has not: what lies nearest, and how to write them all the same."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from tabtool.diagnostics import TabError
from tabtool.harp import OVERBEND_RAISE, Breath, Harp, Technique, Tone
from tabtool.holes.fingering import Grip, Hands
from tabtool.holes.passage import Want


def nearest_ways(pitch: float, harp: Harp, played: Hands) -> list[tuple[str, Grip]]:
    """The easiest way to the nearest pitch ``below`` and ``above`` that this player has."""
    pitches = sorted({way.pitch for way in harp.ways})
    found = []
    for word, candidates in (
        ("below", [other for other in reversed(pitches) if other < pitch]),
        ("above", [other for other in pitches if other > pitch]),
    ):
        for other in candidates:
            grips = played.grips(Want((other - harp.root,)))
            if grips:
                found.append((word, grips[0]))
                break
    return found


def least_wrong(want: Want, played: Hands) -> Grip:
    """The way to write pitches (from the root) that cannot be played, nearest to what can be.

    A bend written deeper than the reed gives, or an overbend raised past it, has exactly the
    pitch asked for, and `check` flags it.
    """
    pitches = want.pitches if want.shake is None else (*want.pitches, want.shake)
    best: tuple[float, tuple[Tone, ...]] | None = None
    for breath in Breath:
        options = [_written(pitch, breath, played.harp) for pitch in pitches]
        for picked in product(*[sorted(option)[:6] for option in options]):
            tones = tuple(tone for _, tone in picked)
            if len({tone.hole for tone in tones}) < len(tones):
                continue
            wrong = sum(excess for excess, _ in picked)
            wrong += len(tones) > 1 and 3 * sum(tone.overbent for tone in tones)
            if best is None or (wrong, tones) < best:
                best = wrong, tones
    if best is None:
        raise TabError("a chord of more notes than this harp has holes cannot be written for it")
    tones = best[1]
    shake = None if want.shake is None else tones[-1]
    return Grip(tones if shake is None else tones[:-1], shake, 0)


def _written(pitch: float, breath: Breath, harp: Harp) -> Iterator[tuple[float, Tone]]:
    """Every tone of a breath written at a pitch, with the semitones by which it is out of reach."""
    over = Technique.OVERBLOW if breath is Breath.BLOW else Technique.OVERDRAW
    for hole in range(1, harp.holes + 1):
        own, other = harp.reed(hole, breath), harp.reed(hole, breath.other)
        assert own is not None
        assert other is not None
        if own == pitch:
            yield 0, Tone(hole, breath)
        elif own > pitch:
            depth = own - pitch
            yield (
                max(0, depth - harp.bend_limit(hole, breath)),
                Tone(hole, breath, Technique.BEND, depth),
            )
        raised = pitch - other - 1
        if raised >= 0:
            tone = Tone(hole, breath, over, raised)
            yield (0 if harp.can_play(tone) else max(1, raised - OVERBEND_RAISE) + 12), tone
