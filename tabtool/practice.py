"""Playing a score for practice: slower, one section, in a loop that gets faster; what to tap to.

`arranged` turns a score into the score of what is to be heard: the chosen section, as often as
asked, each pass at its own tempo, after a count-in. It is a `Score` like any other, so that MIDI
and sound need to know nothing of practice. Shares of the tempo are fractions: 3/5 is 60 %.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from fractions import Fraction
from typing import NamedTuple

from tabtool.diagnostics import Span, TabError, nearest
from tabtool.events import NoteEvent, PlayedBar, Score, Stretch, SymbolEvent
from tabtool.symbols import bass_note, parse_symbol, voiced
from tabtool.tune import Bar

COUNT_IN = "count-in"
FREE_COUNT = 4  # beats counted before a tune without meter
LONGEST_S = 4 * 3600.0
STRUM = 0.9  # share of a beat that a plain chord sounds


class Practice(NamedTuple):
    """How to play.

    `tempo` in beats a minute stands in for that of the first section played, the others keeping
    their proportion; `slow` is a share of the tempo. `section` names one to play alone. `loop`
    counts passes; with a `ladder` the first is at that share of the tempo, and `steps` equal
    steps lead up to the whole (by default one each pass). `count_in` counts bars.
    """

    tempo: Fraction | None = None
    slow: Fraction = Fraction(1)
    section: str = ""
    loop: int = 1
    ladder: Fraction | None = None
    steps: int = 0
    count_in: int = 0
    click: bool = False
    chords: bool = False

    def shares(self) -> tuple[Fraction, ...]:
        """The share of the tempo of each pass."""
        if self.ladder is None:
            return (self.slow,) * self.loop
        steps = self.steps or max(1, self.loop - 1)
        passes = self.loop if self.loop > 1 else steps + 1
        rungs = [min(steps, number * (steps + 1) // passes) for number in range(passes)]
        rise = (1 - self.ladder) / steps
        return tuple(self.slow * (self.ladder + rise * rung) for rung in rungs)


class Click(NamedTuple):
    """One tap: when, in seconds; `strong` on the first beat of a bar."""

    start_s: float
    stretch: Stretch
    strong: bool


class Strum(NamedTuple):
    """Notes of the accompaniment sounding together, as MIDI numbers."""

    start_s: float
    end_s: float
    stretch: Stretch
    pitches: tuple[int, ...]
    bass: bool


def share(text: str) -> Fraction:
    """``60%`` or ``0.6`` as a share of the tempo, a tenth to three times; TabError else."""
    found = re.fullmatch(r"\s*(\d{1,3}(?:\.\d+)?)\s*(%?)\s*", text)
    value = Fraction(0) if found is None else Fraction(found[1]) / (100 if found[2] else 1)
    if not Fraction(1, 10) <= value <= 3:
        raise TabError(f"'{text}' is no share of the tempo: write 10% to 300%, such as 60%")
    return value


def arranged(score: Score, practice: Practice) -> Score:
    """The score as it is to be heard; TabError if the section is not there, or it is too long."""
    part = _section(score, practice.section) if practice.section else score
    if not part.stretches or not part.beats:
        return part
    tempo = part.stretches[0].setting.tempo
    base = Fraction(1) if practice.tempo is None else practice.tempo / tempo
    shares = [base * share for share in practice.shares()]
    if sum(part.seconds / share for share in shares) > LONGEST_S:
        raise TabError(f"this would last more than {LONGEST_S / 3600:.0f} hours: loop less often")
    if shares == [1] and not practice.count_in:
        return part
    whole = _Joined()
    for number, faster in enumerate(shares):
        if practice.count_in and (number == 0 or faster != shares[number - 1]):
            whole.count_in(part, faster, practice.count_in)
        percent = f" {round(faster / base * 100)} %" if len(set(shares)) > 1 else ""
        whole.add(part, faster, percent)
    return whole.score(part)


def _section(score: Score, name: str) -> Score:
    """The first time a section is played, from its own time 0."""
    names = list(dict.fromkeys(stretch.name for stretch in score.stretches if stretch.name))
    wanted = next((known for known in names if known.lower() == name.strip().lower()), None)
    if wanted is None:
        near = nearest(name, names)
        there = f"; its sections: {', '.join(names)}" if names else "; it has none"
        raise TabError(
            f"the tune has no section '{name}'" + (f"; did you mean '{near}'?" if near else there)
        )
    first = next(i for i, stretch in enumerate(score.stretches) if stretch.name == wanted)
    last = first
    while last < len(score.stretches) and score.stretches[last].name == wanted:
        last += 1
    start = score.stretches[first]
    after = score.stretches[last] if last < len(score.stretches) else None
    begin = start.onset
    end = score.beats if after is None else after.onset
    moved = _Moved(-begin, -start.quarters, -start.start_s, Fraction(1), "")
    end_s = score.seconds if after is None else after.start_s
    return Score(
        score.tune,
        tuple(moved.stretch(stretch) for stretch in score.stretches[first:last]),
        tuple(moved.bar(bar) for bar in score.bars if begin <= bar.onset < end),
        tuple(moved.event(event, end, end_s) for event in score.events
              if begin <= event.onset < end),
        tuple(moved.symbol(symbol) for symbol in _symbols(score, start, end)),
        end - begin,
    )  # fmt: skip


def _symbols(score: Score, start: Stretch, end: int) -> list[SymbolEvent]:
    """The chord symbols of a section, with the one that still holds as it begins."""
    inside = [symbol for symbol in score.symbols if start.onset <= symbol.onset < end]
    before = [symbol for symbol in score.symbols if symbol.onset < start.onset]
    if before and (not inside or inside[0].onset > start.onset):
        first = before[-1]._replace(
            stretch=start, onset=Fraction(start.onset), start_s=start.start_s
        )
        return [first, *inside]
    return inside


class _Moved:
    """Moves everything of a score by beats, quarters and seconds, `faster` times the tempo."""

    def __init__(
        self, beats: int, quarters: Fraction, seconds: float, faster: Fraction, suffix: str
    ) -> None:
        self.beats, self.quarters, self.seconds = beats, quarters, seconds
        self.faster, self.suffix = faster, suffix
        self.known: dict[int, Stretch] = {}

    def time(self, seconds: float) -> float:
        return seconds / float(self.faster) + self.seconds

    def stretch(self, old: Stretch) -> Stretch:
        # One object for each stretch, as `resolve` makes them.
        new = self.known.get(id(old))
        if new is None:
            new = self.known[id(old)] = old._replace(
                name=(old.name + self.suffix).strip(),
                setting=old.setting._replace(tempo=old.setting.tempo * self.faster),
                onset=old.onset + self.beats,
                quarters=old.quarters + self.quarters,
                start_s=self.time(old.start_s),
            )
        return new

    def bar(self, bar: PlayedBar) -> PlayedBar:
        return bar._replace(stretch=self.stretch(bar.stretch), onset=bar.onset + self.beats)

    def event(
        self, event: NoteEvent, end: int | None = None, end_s: float | None = None
    ) -> NoteEvent:
        duration, stop = event.duration, event.end_s
        if end is not None and end_s is not None and event.onset + duration > end:
            duration, stop = end - event.onset, end_s
        return event._replace(
            stretch=self.stretch(event.stretch),
            onset=event.onset + self.beats,
            duration=duration,
            start_s=self.time(event.start_s),
            end_s=self.time(stop),
        )

    def symbol(self, symbol: SymbolEvent) -> SymbolEvent:
        return symbol._replace(
            stretch=self.stretch(symbol.stretch),
            onset=symbol.onset + self.beats,
            start_s=self.time(symbol.start_s),
        )


class _Joined:
    """Scores one after another."""

    def __init__(self) -> None:
        self.beats = 0
        self.quarters = Fraction(0)
        self.seconds = 0.0
        self.stretches: list[Stretch] = []
        self.bars: list[PlayedBar] = []
        self.events: list[NoteEvent] = []
        self.symbols: list[SymbolEvent] = []

    def count_in(self, part: Score, faster: Fraction, bars: int) -> None:
        """Bars to count before `part`, and what its pick-up leaves of its first bar."""
        first = part.stretches[0]
        setting = first.setting._replace(tempo=first.setting.tempo * faster)
        beats = setting.meter.beats or FREE_COUNT
        stretch = Stretch(COUNT_IN, setting, self.beats, self.quarters, self.seconds, first.written)
        self.stretches.append(stretch)
        empty = Bar(None, (), None, Span(part.tune.file, 1, 1, 1))
        lengths = [beats] * bars
        if setting.meter.beats and part.bars and 0 < part.bars[0].beats < beats:
            lengths.append(beats - part.bars[0].beats)
        for length in lengths:
            self.bars.append(PlayedBar(0, empty, stretch, self.beats, length, 1))
            self.beats += length
        self.quarters += sum(lengths) * setting.meter.beat_quarters
        self.seconds += sum(lengths) * stretch.beat_s

    def add(self, part: Score, faster: Fraction, suffix: str) -> None:
        moved = _Moved(self.beats, self.quarters, self.seconds, faster, suffix)
        self.stretches += map(moved.stretch, part.stretches)
        self.bars += map(moved.bar, part.bars)
        self.events += map(moved.event, part.events)
        self.symbols += map(moved.symbol, part.symbols)
        last = part.stretches[-1]
        self.quarters += last.quarters
        self.quarters += (part.beats - last.onset) * last.setting.meter.beat_quarters
        self.beats += part.beats
        self.seconds += part.seconds / float(faster)

    def score(self, part: Score) -> Score:
        return Score(
            part.tune,
            tuple(self.stretches),
            tuple(self.bars),
            tuple(self.events),
            tuple(self.symbols),
            self.beats,
        )


def clicks(score: Score, throughout: bool) -> tuple[Click, ...]:
    """A tap on every beat of the count-in and, if `throughout`, of all the score."""
    taps = []
    for bar in score.bars:
        counted = bar.stretch.name == COUNT_IN
        if counted or throughout:
            pick_up = bar.number == 0 and not counted  # the last beats of a bar: none is strong
            for beat in range(bar.beats):
                at = _seconds(bar.stretch, Fraction(bar.onset + beat))
                taps.append(Click(at, bar.stretch, beat == 0 and not pick_up))
    return tuple(taps)


def comping(score: Score) -> tuple[Strum, ...]:
    """Plain chords under the tune: the bass where a chord or bar begins, the chord on each beat.

    A chord symbol holds until the next, ``N.C.`` until one follows. A symbol inside a beat
    begins there. Symbols not known here (`unknown`) sound nothing.
    """
    strums: list[Strum] = []
    before: tuple[int, ...] = ()
    symbols = [symbol for symbol in score.symbols if parse_symbol(symbol.text) is not None]
    onsets = [stretch.onset for stretch in score.stretches]
    bar_starts = {bar.onset for bar in score.bars}
    ends = [symbol.onset for symbol in symbols[1:]] + [Fraction(score.beats)]
    for symbol, end in zip(symbols, ends, strict=False):
        chord = parse_symbol(symbol.text)
        assert chord is not None
        if not chord.notes:
            continue
        before = voiced(chord, before)
        onset = symbol.onset
        while onset < end:
            following = min(end, Fraction(onset // 1 + 1))
            stretch = score.stretches[bisect_right(onsets, onset) - 1]
            if stretch.name == COUNT_IN:
                break
            start = symbol.start_s if onset == symbol.onset else _seconds(stretch, onset)
            stop = start + (_seconds(stretch, following) - start) * STRUM
            if onset == symbol.onset or onset in bar_starts:
                strums.append(Strum(start, stop, stretch, (bass_note(chord),), True))
            strums.append(Strum(start, stop, stretch, before, False))
            onset = following
    return tuple(strums)


def unknown(score: Score) -> tuple[SymbolEvent, ...]:
    """The chord symbols that `comping` cannot play, each text once."""
    odd = {s.text: s for s in reversed(score.symbols) if parse_symbol(s.text) is None}
    return tuple(reversed(odd.values()))


def _seconds(stretch: Stretch, onset: Fraction) -> float:
    return stretch.start_s + float(onset - stretch.onset) * stretch.beat_s
