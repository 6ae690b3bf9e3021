"""Which harp a melody lies well on, and on which holes: `fingering`, asked about a score.

A pitch the harp does not have is still written down, as the bend or overbend it would
take, so that no note is lost; `check` then says that it cannot be played.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple, TypeAlias

from tabtool.harp import Harp, Layout, Technique, Tone
from tabtool.header import DEFAULT_TEMPO
from tabtool.holes.fingering import Hands, hands
from tabtool.holes.passage import Passage, Want
from tabtool.player import Player
from tabtool.scores.measures import Measure, RepeatError, order
from tabtool.tune import Figure
from tabtool.tunings import STANDARD_KEYS, make_harp

# Registers sold beside the standard set (published facts, keys and registers).
UNUSUAL = ("low F", "low D", "low E", "low Eb", "low C", "high G")
# Points a note by which an unusual register must be easier than a standard harp to be chosen.
WORTH = 2

# A note's bar, its place in the bar, and which of its grace notes (-1: the note itself).
Place: TypeAlias = tuple[int, int, int]


class Fit(NamedTuple):
    """How a melody lies on a harp: notes that need a bend, an overbend, or are not there."""

    harp: Harp
    bends: int
    overbends: int
    missing: int


class Chosen(NamedTuple):
    """The figures of a melody on one harp, by place; `left_out` counts pitches of chords that
    no one breath sounds, `silent` are pitches the instrument has nothing like."""

    figures: dict[Place, Figure]
    left_out: int
    silent: dict[Place, float]


def best_harp(
    measures: Sequence[Measure],
    layout: Layout,
    player: Player = Player(),  # noqa: B008 (immutable)
) -> Harp:
    """The harp of a layout on which a melody lies best; of equals, the more usual key."""
    played = hands(layout, player)
    passage, _, _ = _passage(measures, None)
    rated: list[tuple[int, float, Harp]] = []
    for key in (*STANDARD_KEYS, *UNUSUAL):
        harp = make_harp(key + ("m" if layout.minor else ""), layout)
        assert harp is not None
        missing, cost = played.rate(passage, harp.root)
        extra = WORTH * len(passage) if key in UNUSUAL else 0
        rated.append((missing, cost + extra, harp))
    return min(rated, key=lambda one: one[:2])[2]


def fit(harp: Harp, measures: Sequence[Measure], player: Player = Player()) -> Fit:  # noqa: B008
    """How a melody, as written, lies on one harp for a player."""
    bends = overbends = missing = 0
    figures = choose(harp, measures, player).figures
    for (_, _, grace), figure in figures.items():
        if grace < 0:
            if not _playable(harp, figure, player):
                missing += 1
                continue
            bends += any(tone.technique is Technique.BEND for tone in figure.tones)
            overbends += any(tone.overbent for tone in figure.tones)
    return Fit(harp, bends, overbends, missing)


def choose(
    harp: Harp,
    measures: Sequence[Measure],
    player: Player = Player(),  # noqa: B008
) -> Chosen:
    """A figure for every note struck."""
    played = hands(harp.layout, player)
    passage, places, left_out = _passage(measures, (played, harp.root))
    grips = played.choose(passage, harp.root).grips
    figures: dict[Place, Figure] = {}
    silent: dict[Place, float] = {}
    for place, number, grip in zip(places, passage.sounds, grips, strict=True):
        if place in figures or place in silent:
            continue
        if grip is not None:
            figures[place] = Figure(grip.tones)
            continue
        pitch = max(passage.wants[number].pitches)
        tone = _out_of_reach(harp, pitch)
        if tone is None:
            silent[place] = pitch
        else:
            figures[place] = Figure((tone,))
    return Chosen(figures, left_out, silent)


def _passage(
    measures: Sequence[Measure], played: tuple[Hands, int] | None
) -> tuple[Passage, list[Place], int]:
    """The melody as it is played, ready for choosing, and the place of each of its sounds.

    With the `played` hands and a harp's root, chords they cannot sound become their highest
    note; the pitches that leaves out are counted, each once.
    """
    try:
        played_bars = order(measures)
    except RepeatError:
        played_bars = list(range(len(measures)))
    wants: list[Want] = []
    starts: list[float] = []
    places: list[Place] = []
    left: dict[Place, int] = {}
    now = 0.0  # seconds
    quarter = float(60 / (DEFAULT_TEMPO * measures[0].meter.beat_quarters)) if measures else 0.5
    for bar in played_bars:
        measure = measures[bar]
        if measure.change.tempo:
            quarter = float(Fraction(60) / measure.change.tempo)
        for number, note in enumerate(measure.notes):
            if note.tied or not note.pitches:
                continue
            start = now + float(note.onset) * quarter
            for grace, pitch in enumerate(note.grace):
                wants.append(Want((pitch,)))
                starts.append(start)
                places.append((bar, number, grace))
            want = Want(tuple(sorted(note.pitches)))
            if len(want.pitches) > 1 and played is not None:
                own, root = played
                if not own.grips(want.moved(-root)):
                    left[bar, number, -1] = len(want.pitches) - 1
                    want = Want(want.pitches[-1:])
            wants.append(want)
            starts.append(start)
            places.append((bar, number, -1))
        now += float(measure.length) * quarter
    times = [max(0.0, two - one) for one, two in pairwise(starts)]
    return Passage(wants, times, written=places), places, sum(left.values())


def _playable(harp: Harp, figure: Figure, player: Player) -> bool:
    return all(
        harp.can_play(tone)
        and (tone.technique is not Technique.BEND or player.can_bend(tone.depth))
        and not (tone.overbent and player.overbends is False)
        for tone in figure.tones
    )


def _out_of_reach(harp: Harp, pitch: float) -> Tone | None:
    """The bend or raised overbend that would sound a pitch, if the reeds or the player did."""
    ways = harp.ways_by_pitch.get(pitch, ())
    if ways:
        return ways[0].tone
    above = [w for w in harp.ways if w.tone.technique is Technique.NATURAL and w.pitch > pitch]
    if above:
        nearest = min(above, key=lambda way: way.pitch)
        return nearest.tone._replace(technique=Technique.BEND, depth=nearest.pitch - pitch)
    over = [way for way in harp.ways if way.tone.overbent and way.pitch < pitch]
    if over:
        highest = max(over, key=lambda way: way.pitch)
        return highest.tone._replace(depth=pitch - highest.pitch)
    return None
