"""Phrases and small songs in a position, invented around the notes drilled.

A phrase is two bars: a rhythm, and a melody that moves mostly by step along a ladder
between *anchors*, the notes at its first beat, at its second bar and at its end. One anchor
is the target, the others belong to the chord of the bar where the ladder has such notes.
Every phrase ends in a rest to breathe. Of two phrases the first asks and the second answers
with a like beginning and an end nearer home.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from random import Random
from typing import NamedTuple

from tabtool.drills.ground import Ground, Scale, Step, pick
from tabtool.harp import Way
from tabtool.music import MODES, spell_class

# Lengths in beats over two bars; below zero is a rest. The last two of each meter are quicker.
_RHYTHMS = {
    4: (
        (1, 1, 1, 1, 2, 1, -1),
        (2, 1, 1, 3, -1),
        (1, 1, 2, 1, 1, 1, -1),
        (-1, 1, 1, 1, 2, 1, -1),
        (1.5, 0.5, 1, 1, 2, 1, -1),
        (1, 0.5, 0.5, 1, 1, 2, 1, -1),
        (1.5, 0.5, 1, 1, 1.5, 0.5, 1, -1),
        (0.5, 0.5, 1, 0.5, 0.5, 1, 2, 1, -1),
    ),
    3: (
        (1, 1, 1, 2, -1),
        (2, 1, 2, -1),
        (1, 1, 1, 1, 1, -1),
        (1.5, 0.5, 1, 2, -1),
        (1, 0.5, 0.5, 1, 2, -1),
    ),
}


class Chord(NamedTuple):
    """A chord of the accompaniment: its symbol and its pitch classes."""

    symbol: str
    classes: frozenset[int]


class Line(NamedTuple):
    """A phrase: lengths in beats (below zero for rests) and a rung of the ladder for each note."""

    rhythm: tuple[float, ...]
    rungs: tuple[int, ...]
    ladder: tuple[Way, ...]

    @property
    def steps(self) -> list[Step]:
        notes = iter(self.rungs)
        return [
            Step(None if length < 0 else self.ladder[next(notes)].tone, Fraction(abs(length)))
            for length in self.rhythm
        ]


def chord(ground: Ground, above: int, quality: str) -> Chord:
    """A chord `above` semitones over the tonic: quality ``""`` major, ``m``, ``dim``, ``7``."""
    root = (ground.key.pitch_class + above) % 12
    steps = {"": (0, 4, 7), "m": (0, 3, 7), "dim": (0, 3, 6), "7": (0, 4, 7, 10)}[quality]
    name = spell_class(root, ground.key)
    return Chord(name + quality, frozenset((root + step) % 12 for step in steps))


def chords(ground: Ground, scale: Scale) -> tuple[Chord, Chord, Chord]:
    """First, fourth and fifth of the key, as its scale has them.

    Sevenths in a blues; elsewhere the triads of the scale, five-note scales filled up to
    major or minor. Where the scale has no perfect fourth its second stands for it (lydian),
    where the fifth would be diminished its flat seventh or second (phrygian).
    """
    if scale.bluesy or "mixolydian" in scale.name:
        return chord(ground, 0, "7"), chord(ground, 5, "7"), chord(ground, 7, "7")
    tonic = ground.key.pitch_class
    notes = {(pitch - tonic) % 12 for pitch in scale.classes}
    if len(notes) < 7:
        notes |= set(MODES["minor" if 3 in notes and 4 not in notes else "major"])

    def triad(choices: tuple[int, ...]) -> Chord:
        whole = [root for root in choices if root in notes and (root + 7) % 12 in notes]
        root = (whole or list(choices))[0]
        if not whole and (root + 6) % 12 in notes:
            return chord(ground, root, "dim")
        minor = (root + 3) % 12 in notes and (root + 4) % 12 not in notes
        return chord(ground, root, "m" if minor else "")

    return triad((0,)), triad((5, 2)), triad((7, 10, 1))


def phrase(ground: Ground, target: Way, rng: Random) -> tuple[list[Step], list[str], Scale]:
    """Four bars: a question and its answer, both through the target."""
    scale = ground.scale(target, rng)
    one, four, five = chords(ground, scale)
    ask = invent(ground, target, scale, (one, pick(rng, (four, five))), rng)
    answer = reply(ground, target, ask, (one, one), rng)
    return ask.steps + answer.steps, [], scale


class Song(NamedTuple):
    """A small song: its steps, the symbol of each bar, and how it is made."""

    steps: list[Step]
    symbols: list[str]
    scale: Scale
    beats: int
    form: str
    bars_a_line: int


def song(ground: Ground, targets: Sequence[Way], rng: Random) -> Song:
    """A blues of twelve bars, or a song of sixteen in the form A A B A, through each target.

    At most `SONG_TARGETS` targets, which both forms have room for.
    """
    scale = _shared(ground, targets, rng)
    one, four, five = chords(ground, scale)
    through = [targets[i % len(targets)] for i in range(4)]
    if scale.bluesy:
        plan = ((one, one), (four, four), (five, four))
        lines: list[Line] = []
        ask = invent(ground, through[0], scale, (one, one), rng)
        for number, pair in enumerate(plan):
            if number and through[number] != through[number - 1]:
                ask = invent(ground, through[number], scale, pair, rng)
            elif number == 2:
                ask = invent(ground, through[2], scale, pair, rng)
            home = (one, one) if number < 2 else (one, five)
            lines += [ask, reply(ground, through[number], ask, home, rng)]
        bars = [one, one, one, one, four, four, one, one, five, four, one, five]
        steps = [step for line in lines for step in line.steps]
        return Song(steps, [c.symbol for c in bars], scale, 4, "a twelve-bar blues", 4)
    beats = pick(rng, (4, 4, 3))
    first = invent(ground, through[0], scale, (one, four), rng, beats)
    ending = reply(ground, through[1], first, (five, one), rng, beats)
    middle = invent(ground, through[2], scale, (four, one), rng, beats)
    half = reply(ground, through[3], middle, (four, five), rng, beats, home=False)
    lines = [first, ending, first, ending, middle, half, first, ending]
    eight = [one, four, five, one]
    bars = [*eight, *eight, four, one, four, five, *eight]
    steps = [step for line in lines for step in line.steps]
    form = "sixteen bars" + (" in three-four time" if beats == 3 else "") + ", A A B A"
    return Song(steps, [c.symbol for c in bars], scale, beats, form, 4)


SONG_TARGETS = 3


def _shared(ground: Ground, targets: Sequence[Way], rng: Random) -> Scale:
    """The scale of the first target, or another's if that holds more of them."""
    scales = [ground.scale(target, rng) for target in targets]
    return max(scales, key=lambda scale: sum(int(t.pitch) % 12 in scale.classes for t in targets))


def invent(
    ground: Ground,
    target: Way,
    scale: Scale,
    harmony: tuple[Chord, Chord],
    rng: Random,
    beats: int = 4,
) -> Line:
    """A phrase of two bars through the target; `harmony` is the chord of each bar."""
    ladder = ground.rungs(target, scale)
    rhythm = pick(rng, _RHYTHMS[beats])
    heart = ladder.index(target)
    second, count = _places(rhythm, beats)
    where = pick(rng, [place for place in (0, second, second) if place < count])
    anchors: dict[int, int] = {where: heart}
    ends = [(0, harmony[0]), (second, harmony[1]), (count - 1, harmony[1])]
    for place, over in ends:
        if place not in anchors:
            anchors[place] = _anchor(ladder, over, anchors, place, rng)
    return Line(rhythm, tuple(_walk(anchors, count, len(ladder), rng)), tuple(ladder))


def reply(
    ground: Ground,
    target: Way,
    ask: Line,
    harmony: tuple[Chord, Chord],
    rng: Random,
    beats: int = 4,
    home: bool = True,
) -> Line:
    """An answer to a phrase: its rhythm and its beginning where they can stay, its own end.

    `home`: it ends on the tonic, or on the nearest the ladder has to it.
    """
    scale_pitches = {way.pitch for way in ask.ladder}
    ladder = list(ask.ladder)
    if target.pitch not in scale_pitches or target not in ladder:
        ladder = sorted(
            [way for way in ladder if way.pitch != target.pitch] + [target],
            key=lambda way: way.pitch,
        )
    second, count = _places(ask.rhythm, beats)
    heart = ladder.index(target)
    kept = [
        min(range(len(ladder)), key=lambda i: abs(ladder[i].pitch - ask.ladder[rung].pitch))
        for rung in ask.rungs[:second]
    ]
    shift = pick(rng, (0, 0, -1, 1))  # the beginning as it was, or a rung lower or higher
    if all(0 <= rung + shift < len(ladder) for rung in kept):
        kept = [rung + shift for rung in kept]
    anchors = dict(enumerate(kept))
    last = count - 1
    tonic = [i for i, way in enumerate(ladder) if int(way.pitch) % 12 == ground.key.pitch_class]
    choices = tonic if home and tonic else _of(ladder, harmony[1])
    middle = second if second < last else max(0, last - 1)
    if heart not in kept or middle not in anchors:
        anchors[middle] = (
            heart if heart not in kept else _anchor(ladder, harmony[0], anchors, middle, rng)
        )
    near = anchors[middle]
    if middle != last:
        anchors[last] = min(choices, key=lambda i: (abs(i - near), i))
    return Line(ask.rhythm, tuple(_walk(anchors, count, len(ladder), rng)), tuple(ladder))


def _places(rhythm: tuple[float, ...], beats: int) -> tuple[int, int]:
    """Which note is the first of the second bar, and how many notes there are."""
    time = 0.0
    note = second = 0
    for length in rhythm:
        if length > 0:
            if time < beats:
                second = note + 1
            note += 1
        time += abs(length)
    return min(second, note - 1), note


def _of(ladder: Sequence[Way], over: Chord) -> list[int]:
    """The rungs that belong to a chord; all of them where none does."""
    found = [i for i, way in enumerate(ladder) if int(way.pitch) % 12 in over.classes]
    return found or list(range(len(ladder)))


def _anchor(
    ladder: Sequence[Way], over: Chord, anchors: dict[int, int], place: int, rng: Random
) -> int:
    """A note of the chord within reach of the anchors there are, in a sixth or so of them."""
    near = anchors[min(anchors, key=lambda at: abs(at - place))]
    choices = [i for i in _of(ladder, over) if 0 < abs(i - near) <= 3]
    choices = choices or [i for i in range(len(ladder)) if 0 < abs(i - near) <= 3]
    return pick(rng, choices or [near])


def _walk(anchors: dict[int, int], count: int, rungs: int, rng: Random) -> list[int]:
    """Rungs for every note: from anchor to anchor, mostly by step, never far off the way."""
    path: list[int] = []
    for place in range(count):
        if place in anchors:
            path.append(anchors[place])
            continue
        here = path[-1] if path else anchors[min(anchors)]
        ahead = min(at for at in anchors if at > place)
        left = ahead - place
        goal = anchors[ahead]
        choices = [
            here + move
            for move in (-1, 1, -1, 1, -2, 2, 0)
            if 0 <= here + move < rungs and abs(goal - here - move) <= 2 * left
        ]
        if left == 1:  # the note before an anchor does not take its place from it
            choices = [rung for rung in choices if rung != goal] or choices
        if len(path) > 1 and path[-1] == path[-2]:
            choices = [rung for rung in choices if rung != here] or choices
        step = (goal > here) - (goal < here)
        path.append(pick(rng, choices) if choices else here + step)
    return path
