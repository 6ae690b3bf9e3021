"""A tune in the order it stands on paper: how long each note lies there, tap by tap.

A place is counted in taps of the foot from the first beat written, as a `Fraction`;
repeats are not played out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import NamedTuple

from tabtool.diagnostics import Span
from tabtool.resolve import Section, Written
from tabtool.tune import Hold, MusicLine, Note, Rest, Share, Split, Tune


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

    @property
    def verses(self) -> int:
        return max(map(len, self.words.values()), default=0)


def read(tune: Tune, written: Written) -> Paper:
    """The paper of a tune."""
    return Paper(
        tuple(_measures(tune, written)),
        written.sections,
        *_contents(written),
        {place: sung for place, sung in written.words.items() if any(sung)},
    )


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
            shares = list(_shares(beat.parts, Fraction(tap), Fraction(1)))
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


def _shares(
    parts: tuple[Share, ...], at: Fraction, length: Fraction
) -> Iterator[tuple[Fraction, Fraction, Share]]:
    """Undivided shares with their places; the symbol of a split belongs to its first."""
    step = length / len(parts)
    for index, part in enumerate(parts):
        start = at + index * step
        if isinstance(part, Split):
            inner = list(_shares(part.parts, start, step))
            if part.symbol:
                place, extent, first = inner[0]
                inner[0] = place, extent, first._replace(symbol=part.symbol)
            yield from inner
        else:
            yield start, step, part
