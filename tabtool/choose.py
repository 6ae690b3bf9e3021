"""Which harp a melody lies well on, and on which holes.

A plain choice, note by note: natural notes before bends, bends before overbends, near
holes before far ones. A pitch the harp does not have is still written down, as the bend
or overbend it would take, so that no note is lost; `check` then says that it cannot be
played.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import product
from typing import NamedTuple

from tabtool.harp import Harp, Layout, Technique, Tone
from tabtool.tune import PLAIN, Figure, Marks
from tabtool.tunings import STANDARD_KEYS, make_harp

# Registers sold beside the standard set (FACTS: keys and registers), tried after it.
KEYS = (*STANDARD_KEYS, "low F", "low D", "low E", "low Eb", "low C", "high G")
BEND, DEEPER, OVERBEND, UNUSUAL, MISSING = 1.0, 0.5, 5.0, 3.0, 1000.0


class Fit(NamedTuple):
    """How a melody lies on a harp: notes that need a bend, an overbend, or are not there."""

    harp: Harp
    bends: int
    overbends: int
    missing: int


def best_harp(pitches: Iterable[float], layout: Layout) -> Fit:
    """The harp of a layout on which the pitches lie best; of equals, the more usual key."""
    struck = list(pitches)
    count = {pitch: struck.count(pitch) for pitch in set(struck)}
    best: tuple[float, Harp] | None = None
    for key in KEYS:
        harp = make_harp(key + ("m" if layout.minor else ""), layout)
        assert harp is not None
        cost = UNUSUAL * (key not in STANDARD_KEYS)
        cost += sum(_cheapest(harp, pitch) * times for pitch, times in count.items())
        if best is None or cost < best[0]:
            best = cost, harp
    assert best is not None
    return fit(best[1], struck)


def fit(harp: Harp, pitches: Iterable[float]) -> Fit:
    """How the pitches lie on one harp."""
    bends = overbends = missing = 0
    for pitch in pitches:
        ways = ways_of(harp, pitch)
        if not ways:
            missing += 1
            continue
        easiest = min(ways, key=_cost)
        bends += easiest.technique is Technique.BEND
        overbends += easiest.overbent
    return Fit(harp, bends, overbends, missing)


def figures(
    harp: Harp, chords: Sequence[tuple[float, ...]]
) -> list[tuple[Figure | None, tuple[float, ...]]]:
    """A figure for each chord (usually one pitch), and the pitches it has to leave out.

    None where the instrument has nothing like the pitch at all.
    """
    chosen: list[tuple[Figure | None, tuple[float, ...]]] = []
    hole = 4
    for pitches in chords:
        tones = chord(harp, pitches, hole) if len(pitches) > 1 else None
        left: tuple[float, ...] = ()
        if tones is None:
            top = max(pitches)
            left = tuple(pitch for pitch in pitches if pitch != top)
            tone = single(harp, top, hole)
            tones = None if tone is None else (tone,)
        if tones is None:
            chosen.append((None, pitches))
            continue
        hole = tones[-1].hole
        chosen.append((Figure(tones), left))
    return chosen


def single(harp: Harp, pitch: float, near: int) -> Tone | None:
    """The best tone for one pitch, seen from hole `near`; impossible ones where there is none."""
    ways = ways_of(harp, pitch)
    if ways:
        return min(ways, key=lambda tone: (_cost(tone) + 0.3 * abs(tone.hole - near), tone.hole))
    return _out_of_reach(harp, pitch)


def chord(harp: Harp, pitches: tuple[float, ...], near: int) -> tuple[Tone, ...] | None:
    """Tones that sound all the pitches in one breath, natural notes only; None where none do."""
    choices = [
        [tone for tone in ways_of(harp, pitch) if tone.technique is Technique.NATURAL]
        for pitch in pitches
    ]
    found = []
    for tones in product(*choices):
        holes = {tone.hole for tone in tones}
        if len(holes) == len(tones) and len({(t.breath, t.slide) for t in tones}) == 1:
            found.append(tuple(sorted(tones)))
    return min(found, key=lambda t: (t[-1].hole - t[0].hole, abs(t[-1].hole - near)), default=None)


def ways_of(harp: Harp, pitch: float) -> list[Tone]:
    """Every playable tone for a pitch, quarter-tone bends included."""
    if pitch % 1 == 0:
        return [way.tone for way in harp.ways_by_pitch.get(pitch, ())]
    found = []
    for way in harp.ways:
        if way.tone.technique is Technique.NATURAL and way.pitch > pitch:
            tone = way.tone._replace(technique=Technique.BEND, depth=way.pitch - pitch)
            if harp.can_play(tone):
                found.append(tone)
    return found


def _cheapest(harp: Harp, pitch: float) -> float:
    return min((_cost(tone) for tone in ways_of(harp, pitch)), default=MISSING)


def _cost(tone: Tone) -> float:
    if tone.overbent:
        return OVERBEND
    return BEND + DEEPER * (tone.depth - 1) if tone.technique is Technique.BEND else 0.0


def _out_of_reach(harp: Harp, pitch: float) -> Tone | None:
    """The bend or raised overbend that would sound a pitch, if reeds went that far."""
    above = [w for w in harp.ways if w.tone.technique is Technique.NATURAL and w.pitch > pitch]
    if above:
        nearest = min(above, key=lambda way: way.pitch)
        return nearest.tone._replace(technique=Technique.BEND, depth=nearest.pitch - pitch)
    over = [way for way in harp.ways if way.tone.overbent and way.pitch < pitch]
    if over:
        highest = max(over, key=lambda way: way.pitch)
        return highest.tone._replace(depth=pitch - highest.pitch)
    return None


def marked(figure: Figure, marks: Marks, grace: tuple[Figure, ...]) -> Figure:
    """The figure with marks and grace notes."""
    return figure if marks == PLAIN and not grace else figure._replace(marks=marks, grace=grace)
