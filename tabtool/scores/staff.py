"""A tune as a staff would show it: bars of timed pitches, for the writers of scores.

The way back from `notate`. Holds become one longer note, over a bar line a tied one; each
note carries its tab as written. Repeats stay as they stand.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from tabtool.harp import Harp
from tabtool.header import DEFAULT_TEMPO, Setting
from tabtool.music import Key
from tabtool.repeats import WrittenBar, ends_part
from tabtool.scores.measures import NO_CHANGE, Change, Measure, Melody, Sounded
from tabtool.tune import PLAIN, Figure, Hold, Note, Share, Split, Tune
from tabtool.written import Written


class Staff(NamedTuple):
    """A tune in pitches. `spelling` names the notes where the tune gives no key."""

    melody: Melody
    spelling: Key


def staff(tune: Tune, written: Written) -> Staff:
    """A tune on a staff; ValueError where a section names no harp, so that it has no pitch."""
    laying = _Laying(written)
    measures = tuple(laying.measure(index) for index in range(len(written.bars)))
    silent = f"{laying.silent} notes on holes the harp does not have are silent"
    lost = (silent,) if laying.silent else ()
    melody = Melody(measures, tune.title, tune.header("composer"), "", lost)
    first = written.sections[0].setting.harp if written.sections else None
    return Staff(melody, first.spelling if first is not None else Key("C"))


def flat(
    parts: Sequence[Share], at: Fraction = Fraction(0), length: Fraction = Fraction(1)
) -> Iterator[tuple[Fraction, Fraction, Share]]:
    """The undivided shares of a beat, each with its place and its length in beats."""
    step = length / len(parts)
    for number, part in enumerate(parts):
        start = at + number * step
        if not isinstance(part, Split):
            yield start, step, part
            continue
        for place, (own, size, share) in enumerate(flat(part.parts, start, step)):
            symbol = part.symbol if place == 0 and part.symbol else share.symbol
            yield own, size, share._replace(symbol=symbol)


class _Laying:
    """One pass over the bars; `sounding` is what a hold at the start of a bar goes on with."""

    def __init__(self, written: Written) -> None:
        self.written = written
        self.sounding: tuple[float, ...] = ()
        self.before_endings: tuple[float, ...] = ()
        self.harp: Harp | None = None
        self.setting: Setting | None = None
        self.section = -1
        self.silent = 0
        self.ending: tuple[int, ...] = ()
        self.left = 0  # bars of an ending still to come

    def measure(self, index: int) -> Measure:
        bar = self.written.bars[index]
        section = self.written.sections[bar.section]
        setting = section.setting
        if setting.harp is None:
            raise ValueError("no harp is named")
        change = NO_CHANGE
        if bar.section != self.section:
            change = self.change(setting, section.name)
            if setting.harp is not self.harp and setting.harp != self.harp:
                self.sounding = ()  # a note cannot be held from one harp to another
            self.harp, self.setting, self.section = setting.harp, setting, bar.section
        self.endings(index)
        beat = setting.meter.beat_quarters
        notes: list[Sounded] = []
        symbols: list[tuple[Fraction, str]] = []
        for number, shares in enumerate(bar.bar.beats):
            for at, length, share in flat(shares.parts):
                onset, lasts = (number + at) * beat, length * beat
                if share.symbol:
                    symbols.append((onset, share.symbol))
                self.lay(notes, share, onset, lasts)
        after = bar.bar.after
        following = self.written.bars[index + 1].bar.before if self.more(index) else None
        lines = [line for line in (after, following) if line is not None]
        return Measure(
            len(bar.bar.beats) * beat,
            setting.meter,
            tuple(notes),
            tuple(symbols),
            change,
            opens=bar.opens,
            closes=bar.closes,
            endings=self.ending,
            double=any(line.double for line in lines),
            final=any(line.final for line in lines),
        )

    def more(self, index: int) -> bool:
        return index + 1 < len(self.written.bars)

    def change(self, setting: Setting, name: str) -> Change:
        """What a section brings; the first says everything."""
        old = self.setting
        tempo = setting.tempo * setting.meter.beat_quarters
        said = Change(
            setting.meter,
            tempo,
            setting.key,
            name,
            setting.feel,
            str(setting.harp),
        )
        if old is None:
            usual = DEFAULT_TEMPO * setting.meter.beat_quarters
            return said._replace(
                tempo=None if tempo == usual else tempo,
                feel="" if setting.feel == "straight" else setting.feel,
            )
        before = Change(
            old.meter,
            old.tempo * old.meter.beat_quarters,
            old.key,
            "",
            old.feel,
            str(old.harp),
        )
        return said.since(before)

    def endings(self, index: int) -> None:
        """Follow which ending the bar belongs to; the last is as long as the one before."""
        bar = self.written.bars[index]
        if bar.ending:
            if bar.ending == 1:
                self.before_endings = self.sounding
            else:
                self.sounding = self.before_endings
            self.ending = (bar.ending,)
            self.left = ending_length(self.written.bars, index)
        if not self.left:
            self.ending = ()
        self.left = max(0, self.left - 1)

    def lay(self, notes: list[Sounded], share: Share, onset: Fraction, lasts: Fraction) -> None:
        """Put one share behind the notes of its bar."""
        if isinstance(share, Hold):
            if notes and notes[-1].pitches == self.sounding:
                notes[-1] = notes[-1]._replace(duration=notes[-1].duration + lasts)
            else:
                notes.append(Sounded(onset, lasts, self.sounding, tied=bool(self.sounding)))
            return
        if isinstance(share, Note):
            struck = self.struck(share, onset, lasts)
            self.sounding = struck.pitches
            notes.append(struck)
            return
        self.sounding = ()
        if notes and not notes[-1].pitches:
            notes[-1] = notes[-1]._replace(duration=notes[-1].duration + lasts)
        else:
            notes.append(Sounded(onset, lasts))

    def struck(self, note: Note, onset: Fraction, lasts: Fraction) -> Sounded:
        figure = note.figure
        pitches = self.pitches(figure)
        self.silent += not pitches
        grace = tuple(p for part in figure.grace for p in self.pitches(part)[-1:])
        marks = PLAIN._replace(accent=figure.marks.accent, staccato=figure.marks.staccato)
        words = self.written.words.get(note.span, ())
        return Sounded(onset, lasts, pitches, False, words, marks, grace, figure.token)

    def pitches(self, figure: Figure) -> tuple[float, ...]:
        assert self.harp is not None
        found = (self.harp.intended(tone) for tone in figure.tones)
        return tuple(sorted(pitch for pitch in found if pitch is not None))


def ending_length(bars: Sequence[WrittenBar], index: int) -> int:
    """How many bars the ending that begins at `index` has: to where it goes back or is over.

    A double bar or a new section ends the last ending only (`repeats`).
    """
    longest = len(bars) - index
    if bars[index].ending > 1:
        before = [i for i in range(index) if bars[i].ending]
        if before:
            longest = index - before[-1]
    last_ending = _is_last_ending(bars, index)
    for last in range(index, min(len(bars), index + longest)):
        following = bars[last + 1] if last + 1 < len(bars) else None
        if (
            bars[last].closes
            or following is None
            or following.ending
            or following.opens
            or (last_ending and ends_part(bars, last))
        ):
            return last - index + 1
    return min(longest, len(bars) - index)


def _is_last_ending(bars: Sequence[WrittenBar], index: int) -> bool:
    """Whether the repeat has no ending behind the one that begins at `index`."""
    for bar in bars[index + 1 :]:
        if bar.opens:
            return True
        if bar.ending:
            return bar.ending <= bars[index].ending
    return True
