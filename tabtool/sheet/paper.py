"""A tune in the order it stands on paper: how long each note lies there, tap by tap.

A place is counted in taps of the foot from the first beat written, as a `Fraction`;
repeats are not played out.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from tabtool.diagnostics import Span
from tabtool.shares import flatten
from tabtool.tune import Hold, MusicLine, Note, Rest, Tune
from tabtool.written import Section, Written


class Measure(NamedTuple):
    """A bar: its taps, and what the bar lines around it say.

    `line` counts the lines of bars in the text; `ending` is 0 where none begins.
    """

    number: int
    first: int
    taps: int
    section: int
    line: int
    opens: bool
    closes: bool
    double: bool
    final: bool
    ending: int


class Ending(NamedTuple):
    """The bars of an ending, by index; `closed` if they go back at their end."""

    number: int
    first: int
    last: int
    closed: bool


class Sound(NamedTuple):
    """A note and where it lies: from-to, and again from-to if an ending takes it up anew."""

    note: Note
    stretches: tuple[tuple[Fraction, Fraction], ...]


class Paper(NamedTuple):
    """Everything that is drawn of a tune, by its place."""

    measures: tuple[Measure, ...]
    sections: tuple[Section, ...]
    sounds: tuple[Sound, ...]
    rests: tuple[tuple[Fraction, Fraction], ...]
    symbols: tuple[tuple[Fraction, str], ...]
    divisions: tuple[tuple[Fraction, ...], ...]  # where the shares of each tap begin
    words: Mapping[Span, tuple[str, ...]]
    verses: int
    endings: tuple[Ending, ...]

    def between(self, taps: Sequence[tuple[int, int]]) -> list[Paper]:
        """The paper of each of several stretches, from tap to tap, in order and apart."""
        starts = [start for start, _ in taps]
        ends = [end for _, end in taps]

        def touched(first: Fraction, last: Fraction) -> range:
            return range(bisect_right(ends, first), bisect_left(starts, last))

        sounds: list[list[Sound]] = [[] for _ in taps]
        for sound in self.sounds:
            places = {i for stretch in sound.stretches for i in touched(*stretch)}
            for index in sorted(places):
                sounds[index].append(sound)
        rests: list[list[tuple[Fraction, Fraction]]] = [[] for _ in taps]
        for rest in self.rests:
            for index in touched(*rest):
                rests[index].append(rest)
        symbols: list[list[tuple[Fraction, str]]] = [[] for _ in taps]
        for at, text in self.symbols:
            symbols[bisect_right(starts, at) - 1].append((at, text))
        return [
            self._replace(sounds=tuple(own), rests=tuple(silent), symbols=tuple(named))
            for own, silent, named in zip(sounds, rests, symbols, strict=True)
        ]


def read(tune: Tune, written: Written) -> Paper:
    """The paper of a tune."""
    measures = tuple(_measures(tune, written))
    words = {place: sung for place, sung in written.words.items() if any(sung)}
    return Paper(
        measures,
        written.sections,
        *_contents(written),
        words,
        max(map(len, words.values()), default=0),
        endings(measures),
    )


def endings(measures: Sequence[Measure]) -> tuple[Ending, ...]:
    """Where each ending runs; the last of a repeat is taken to be as long as the one before."""
    found: list[Ending] = []
    for index, measure in enumerate(measures):
        if not measure.ending:
            continue
        longest = len(measures) - index
        if measure.ending > 1 and found:
            longest = found[-1].last - found[-1].first + 1
        last = index
        while (
            not (measures[last].closes or measures[last].double or measures[last].final)
            and last + 1 < len(measures)
            and not measures[last + 1].ending
            and not measures[last + 1].opens
            and measures[last + 1].section == measure.section
            and last - index + 1 < longest
        ):
            last += 1
        found.append(Ending(measure.ending, index, last, measures[last].closes))
    return tuple(found)


def _measures(tune: Tune, written: Written) -> Iterator[Measure]:
    music = [line for line in tune.lines if isinstance(line, MusicLine)]
    lines = [index for index, line in enumerate(music) for _ in line.bars]
    first = 0
    for index, (bar, line) in enumerate(zip(written.bars, lines, strict=True)):
        after = bar.bar.after
        following = written.bars[index + 1] if index + 1 < len(written.bars) else None
        before = following.bar.before if following else None
        ends = [barline for barline in (after, before) if barline is not None]
        taps = len(bar.bar.beats)
        yield Measure(
            written.first_number + index,
            first,
            taps,
            bar.section,
            line,
            bar.opens,
            bar.closes,
            double=any(barline.double for barline in ends),
            final=any(barline.final for barline in ends),
            ending=bar.ending,
        )
        first += taps


class _Open:
    """A note that still sounds, growing as its holds are met."""

    def __init__(self, note: Note, start: Fraction, end: Fraction) -> None:
        self.note = note
        self.stretches = [(start, end)]

    def hold(self, start: Fraction, end: Fraction) -> None:
        last_start, last_end = self.stretches[-1]
        if start == last_end:
            self.stretches[-1] = last_start, end
        else:
            self.stretches.append((start, end))


def _contents(
    written: Written,
) -> tuple[
    tuple[Sound, ...],
    tuple[tuple[Fraction, Fraction], ...],
    tuple[tuple[Fraction, str], ...],
    tuple[tuple[Fraction, ...], ...],
]:
    opened: list[_Open] = []
    rests: list[tuple[Fraction, Fraction]] = []
    symbols: list[tuple[Fraction, str]] = []
    divisions: list[tuple[Fraction, ...]] = []
    sounding: _Open | None = None
    before_endings: _Open | None = None  # what sounded where the first ending begins
    harp = None
    tap = 0
    for bar in written.bars:
        section = written.sections[bar.section].setting
        if section.harp != harp:  # a note cannot be held from one harp to another
            harp, sounding = section.harp, None
        if bar.ending == 1:
            before_endings = sounding
        elif bar.ending:
            sounding = before_endings
        for beat in bar.bar.beats:
            shares = list(flatten(beat.parts, Fraction(tap), Fraction(1)))
            divisions.append(tuple(start for start, _, _ in shares))
            for start, length, share in shares:
                if share.symbol:
                    symbols.append((start, share.symbol))
                if isinstance(share, Note):
                    sounding = _Open(share, start, start + length)
                    opened.append(sounding)
                elif isinstance(share, Hold):
                    if sounding is not None:
                        sounding.hold(start, start + length)
                    else:  # silence held on
                        rests.append((start, start + length))
                else:
                    sounding = None
                    if isinstance(share, Rest):
                        rests.append((start, start + length))
            tap += 1
    sounds = tuple(Sound(note.note, tuple(note.stretches)) for note in opened)
    return sounds, tuple(rests), tuple(symbols), tuple(divisions)
