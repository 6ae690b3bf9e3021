"""A tune on a harp: what sounds, and when.

`resolve` plays the written lines out (repeats, endings, holds) into `NoteEvent`s.
Onsets and durations are `Fraction`s of a beat from the first note of the tune, exact
as written; seconds are floats and follow tempo and feel. Swing bends time only in
beats divided in halves: a beat written in thirds is played as written.

An impossible note keeps its event, with the pitch the tab asks for, so that one
fault does not hide the rest; only a note with no reed at all has no pitch (None).
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from tabtool.diagnostics import Diagnostic, Level, Rule, Span
from tabtool.harp import Harp, Layout
from tabtool.header import Setting
from tabtool.repeats import WrittenBar, ends_part, played_order
from tabtool.shares import shares_of, undivided
from tabtool.temperament import Temperament
from tabtool.tune import (
    Bar,
    Broken,
    Figure,
    HeaderLine,
    Hold,
    LyricLine,
    MusicLine,
    Note,
    SectionLine,
    Tune,
)
from tabtool.tunings import HARP_KEY_HELP, UNKNOWN_KEY

BAR_LENGTH = Rule("bar-length", Level.ERROR, "A bar does not add up to its meter.", reads=True)
NOTHING_TO_HOLD = Rule(
    "nothing-to-hold", Level.ERROR, "A hold with nothing sounding before it.", reads=True
)
LYRIC = Rule("lyric", Level.ERROR, "More syllables than notes to sing them to.", reads=True)
HARP_MISSING = Rule(
    "harp-missing", Level.ERROR, "No harp is named, so no pitch is known.", reads=True
)


class Stretch(NamedTuple):
    """A stretch of played time under one setting: a section, each time it is played.

    `onset` is in beats, `quarters` in quarter notes, `start_s` in seconds, all from
    the start of the tune; `written` is the index of the section in the text.
    """

    name: str
    setting: Setting
    onset: int
    quarters: Fraction
    start_s: float
    written: int

    @property
    def beat_s(self) -> float:
        """Seconds a beat lasts."""
        return 60.0 / float(self.setting.tempo)


class NoteEvent(NamedTuple):
    """A note as it is played.

    `onset` and `duration` are in beats, `start_s` and `end_s` in seconds; `pitches` are
    MIDI numbers, one a tone, those of a shake's second tone apart in `shake`. `possible`
    says whether the reeds allow every tone. `play` counts the passes of a repeat.
    """

    note: Note
    stretch: Stretch
    bar: int
    onset: Fraction
    duration: Fraction
    start_s: float
    end_s: float
    pitches: tuple[float | None, ...]
    possible: bool
    play: int
    lyric: str

    @property
    def figure(self) -> Figure:
        return self.note.figure

    @property
    def setting(self) -> Setting:
        return self.stretch.setting

    @property
    def quarters(self) -> Fraction:
        """The onset in quarter notes from the start of the tune."""
        since = self.onset - self.stretch.onset
        return self.stretch.quarters + since * self.setting.meter.beat_quarters


class SymbolEvent(NamedTuple):
    """An accompaniment chord and where it begins, in beats and seconds."""

    text: str
    span: Span
    stretch: Stretch
    onset: Fraction
    start_s: float


class PlayedBar(NamedTuple):
    """A bar as it is played: its written number, where it begins and its length, in beats."""

    number: int
    bar: Bar
    stretch: Stretch
    onset: int
    beats: int
    play: int


class Score(NamedTuple):
    """A tune played out."""

    tune: Tune
    stretches: tuple[Stretch, ...]
    bars: tuple[PlayedBar, ...]
    events: tuple[NoteEvent, ...]
    symbols: tuple[SymbolEvent, ...]
    beats: int  # the whole length

    @property
    def seconds(self) -> float:
        """The whole length in seconds."""
        if not self.stretches:
            return 0.0
        last = self.stretches[-1]
        return last.start_s + (self.beats - last.onset) * last.beat_s


class Section(NamedTuple):
    """A stretch of the text under one setting; the name is empty before the first ``[section]``."""

    name: str
    setting: Setting


class Written(NamedTuple):
    """A tune as it stands on paper: bars in written order, repeats not played out.

    `first_number` is the number of the first bar, 0 for a pick-up; `words` holds the
    syllables of a note, one a verse, by the note's place in the text.
    """

    bars: tuple[WrittenBar, ...]
    sections: tuple[Section, ...]
    words: Mapping[Span, tuple[str, ...]]
    first_number: int


def as_written(tune: Tune, harp_key: str = "", tuning: Layout | None = None) -> Written:
    """A tune in written order; `harp_key` and `tuning` stand in for those the tune names."""
    reading = _Playing(tune, harp_key, tuning, None, None)
    reading.read_lines()
    return Written(
        tuple(reading.bars),
        tuple(reading.sections),
        reading.words,
        reading.number(0) if reading.bars else 1,
    )


def resolve(
    tune: Tune,
    harp_key: str = "",
    tuning: Layout | None = None,
    temperament: Temperament | None = None,
    a4: float | None = None,
) -> tuple[Score, tuple[Diagnostic, ...]]:
    """Play a tune out; what is given here stands in for what the tune says of its harp."""
    return _Playing(tune, harp_key, tuning, temperament, a4).play()


class _Playing:
    def __init__(
        self,
        tune: Tune,
        harp_key: str,
        tuning: Layout | None,
        temperament: Temperament | None,
        a4: float | None,
    ) -> None:
        self.tune = tune
        self.harp_key = harp_key
        self.tuning = tuning
        self.temperament = temperament
        self.a4 = a4
        self.found: list[Diagnostic] = []
        self.sections: list[Section] = []
        self.bars: list[WrittenBar] = []
        self.words: dict[Span, tuple[str, ...]] = {}

    def play(self) -> tuple[Score, tuple[Diagnostic, ...]]:
        self.read_lines()
        order, faults = played_order(self.bars)
        self.found += faults
        self.check_lengths(order)
        return self.perform(order), tuple(self.found)

    def read_lines(self) -> None:
        setting = self.override(Setting())
        name = ""
        fresh = True  # header lines since the last bar: a new section begins with the next
        written: list[tuple[Bar, int]] = []
        music: MusicLine | None = None
        named: dict[str, HeaderLine] = {}  # the last line that names the harp, and the tuning
        for line in self.tune.lines:
            if isinstance(line, MusicLine):
                if fresh:
                    self.begin_section(name, setting, named, line)
                    fresh = False
                written += [(bar, len(self.sections) - 1) for bar in line.bars]
                music = line
            elif isinstance(line, HeaderLine):
                setting, fresh = setting.after(line), True
                if line.name in ("harp", "tuning", "temperament", "pitch"):
                    setting = self.override(setting)
                    named[line.name] = line
            elif isinstance(line, SectionLine):
                name, fresh = line.name, True
            elif isinstance(line, LyricLine) and music is not None:
                self.sing(line, music)
        for index, (bar, section) in enumerate(written):
            before = written[index - 1][0].after if index else None
            after = written[index + 1][0].before if index + 1 < len(written) else None
            own, end = bar.before, bar.after
            self.bars.append(
                WrittenBar(
                    bar,
                    section,
                    opens=bool((own and own.opens) or (before and before.opens)),
                    closes=bool((end and end.closes) or (after and after.closes)),
                    ending=(own.ending if own else 0) or (before.ending if before else 0),
                )
            )

    def override(self, setting: Setting) -> Setting:
        if self.harp_key or self.tuning:
            setting = setting.on(self.harp_key or setting.harp_key, self.tuning or setting.tuning)
        return setting._replace(
            temperament=self.temperament or setting.temperament, a4=self.a4 or setting.a4
        )

    def begin_section(
        self, name: str, setting: Setting, named: dict[str, HeaderLine], music: MusicLine
    ) -> None:
        """Add a section, and tell where its harp is not known; an unread name has been told of."""
        harp, tuning = named.get("harp"), named.get("tuning")
        if (harp and harp.parsed is None and not self.harp_key) or (
            tuning and tuning.parsed is None and not self.tuning
        ):
            setting = setting._replace(harp=None)
        elif setting.harp is None and harp is not None:
            self.no_such_harp(harp, setting)
        elif setting.harp is None and not self.harp_key and not self.sections:
            first = next((note for bar in music.bars for note in _notes(bar)), None)
            self.found.append(
                HARP_MISSING.at(
                    first.span if first else music.span,
                    "the tune does not say which harp it is for",
                    "write harp: C (or its key) at the top, or name one with --harp",
                )
            )
        self.sections.append(Section(name, setting))

    def no_such_harp(self, line: HeaderLine, setting: Setting) -> None:
        if setting.harp_key.endswith("m") and not setting.tuning.minor:
            message = f"a {setting.tuning.name} harp is not sold as {setting.harp_key}"
            help = f"write harp: {setting.harp_key[:-1]}, or a minor tuning"
        else:
            message, help = f"there is no harp in {setting.harp_key}", HARP_KEY_HELP
        fault = UNKNOWN_KEY.at(line.span, message, help)
        if fault not in self.found:
            self.found.append(fault)

    def sing(self, line: LyricLine, music: MusicLine) -> None:
        """Lay syllables under the notes of the bars above; each further line is a verse."""
        bars = [_notes(bar) for bar in music.bars]
        notes = [(note, index) for index, bar in enumerate(bars) for note in bar]
        verse = 0
        place = bar_now = 0
        if notes:
            verse = len(self.words.get(notes[0][0].span, ()))
            for note, _ in notes:
                sung = self.words.get(note.span, ())
                self.words[note.span] = (*sung, "")
        for syllable, span in line.syllables:
            if syllable == "|":
                bar_now += 1
                while place < len(notes) and notes[place][1] < bar_now:
                    place += 1
                continue
            if place >= len(notes):
                if any(isinstance(note, Broken) and not note.counted for note, _ in notes):
                    break  # what could not be read may have been any number of notes
                count = "1 note" if len(notes) == 1 else f"{len(notes)} notes"
                self.found.append(
                    LYRIC.at(
                        span,
                        "a syllable with no note left to sing it to",
                        f"the bars above have {count}; - joins syllables of a word "
                        "(write Ket- tle), _ holds one on, * leaves a note out",
                    )
                )
                break
            note, bar_now = notes[place]
            if syllable not in ("_", "*"):
                sung = self.words[note.span]
                self.words[note.span] = (*sung[:verse], syllable)
            place += 1

    def check_lengths(self, order: list[tuple[int, int]]) -> None:
        """Bars that do not add up; a bar split by a repeat, double bar or section counts as one."""
        excused = {order[0][0]} if order and self.short(order[0][0]) else set[int]()
        for (one, _), (two, _) in pairwise(order):
            boundary = (
                two != one + 1
                or self.bars[one].closes
                or self.bars[two].opens
                or self.bars[two].ending
                or ends_part(self.bars, one)
            )
            if boundary and self.short(one) and self.short(two):
                meter = self.meter(one)
                together = len(self.bars[one].bar.beats) + len(self.bars[two].bar.beats)
                if meter == self.meter(two) and together == meter:
                    excused |= {one, two}
        for index, written in enumerate(self.bars):
            wanted, bar = self.meter(index), written.bar
            if wanted is None or len(bar.beats) == wanted or index in excused:
                continue
            if any(isinstance(part, Broken) and not part.counted for part in _notes(bar)):
                continue  # what could not be read may have been any number of beats
            of = self.sections[written.section].setting.meter.text
            number, has = self.number(index), len(bar.beats)
            if not has:
                message = f"bar {number} is empty"
                help = (
                    f"write {' '.join('.' * wanted)} for a bar of silence, "
                    "or take one of the two bar lines out"
                )
            elif has > wanted:
                message = f"bar {number} has {has} beats, {_beats(has - wanted)} too many for {of}"
                help = (
                    "join what belongs to one beat with commas, or put a bar line "
                    f"after {_beats(wanted)}"
                )
            else:
                message = f"bar {number} has {_beats(has)}, {_beats(wanted - has)} too few for {of}"
                help = "add - to hold the last note on, . for silence, or the missing notes"
            self.found.append(BAR_LENGTH.at(bar.span, message, help))

    def meter(self, index: int) -> int | None:
        return self.sections[self.bars[index].section].setting.meter.beats

    def short(self, index: int) -> bool:
        wanted = self.meter(index)
        return wanted is not None and 0 < len(self.bars[index].bar.beats) < wanted

    def number(self, index: int) -> int:
        """The number of a bar as written, a pick-up being bar 0."""
        return index if self.bars and self.short(0) and len(self.bars) > 1 else index + 1

    def perform(self, order: list[tuple[int, int]]) -> Score:
        events: list[NoteEvent] = []
        symbols: list[SymbolEvent] = []
        stretches: list[Stretch] = []
        played: list[PlayedBar] = []
        beat_now = 0
        stretch: Stretch | None = None
        beat_s = 0.0
        swing = Fraction(1, 2)
        words = self.words
        pitches = _Pitches(None)
        first_number = self.number(0) if order else 1
        sounding: Note | Broken | None = None
        changed_harp = False  # at the beginning of this stretch
        silent = False  # a rest has been written since
        onset = duration = Fraction(0)
        start_s = end_s = 0.0
        note_bar = note_play = 0
        note_stretch = stretch

        def finish() -> None:
            if isinstance(sounding, Note):
                assert note_stretch is not None
                sung = words.get(sounding.span, ()) if words else ()
                known, possible = pitches.of(sounding.figure)
                lyric = sung[min(note_play, len(sung)) - 1] if sung else ""
                events.append(
                    NoteEvent(
                        sounding, note_stretch, note_bar, onset, duration, start_s, end_s,
                        known, possible, note_play, lyric,
                    )
                )  # fmt: skip

        for index, play in order:
            written = self.bars[index]
            if stretch is None or stretch.written != written.section:
                section = self.sections[written.section]
                changed_harp = stretch is not None and section.setting.harp != stretch.setting.harp
                if changed_harp and sounding is not None:  # nor can it be held on another harp
                    finish()
                    sounding, silent = None, False
                stretch = self.stretch(stretch, written.section, beat_now)
                stretches.append(stretch)
                beat_s, swing = stretch.beat_s, stretch.setting.swing
                if pitches.harp is not stretch.setting.harp:
                    pitches = _Pitches(stretch.setting.harp)
            number = first_number + index
            bar = written.bar
            played.append(PlayedBar(number, bar, stretch, beat_now, len(bar.beats), play))
            for beat in bar.beats:
                base = stretch.start_s + (beat_now - stretch.onset) * beat_s
                for offset, length, into, out, share in shares_of(beat.parts, swing):
                    if share.symbol:
                        symbols.append(
                            SymbolEvent(
                                share.symbol, share.span, stretch, beat_now + offset,
                                base + into * beat_s,
                            )
                        )  # fmt: skip
                    if isinstance(share, Hold):
                        if sounding is not None:
                            duration += length
                            end_s = base + out * beat_s
                        elif not silent:
                            self.found.append(
                                NOTHING_TO_HOLD.at(
                                    share.span,
                                    "nothing sounds here to hold on"
                                    + (", the harp being another" if changed_harp else ""),
                                    "write a note, or . for silence",
                                )
                            )
                            silent = True
                        continue
                    finish()
                    if isinstance(share, (Note, Broken)):
                        sounding, silent = share, False
                        onset, duration = beat_now + offset, length
                        start_s, end_s = base + into * beat_s, base + out * beat_s
                        note_bar, note_play, note_stretch = number, play, stretch
                    else:
                        sounding, silent = None, True
                beat_now += 1
        finish()
        return Score(
            self.tune, tuple(stretches), tuple(played), tuple(events), tuple(symbols), beat_now
        )

    def stretch(self, before: Stretch | None, written: int, beat: int) -> Stretch:
        section = self.sections[written]
        if before is None:
            return Stretch(section.name, section.setting, 0, Fraction(0), 0.0, written)
        since = beat - before.onset
        return Stretch(
            section.name,
            section.setting,
            beat,
            before.quarters + since * before.setting.meter.beat_quarters,
            before.start_s + since * before.beat_s,
            written,
        )


class _Pitches:
    """The pitches of figures on one harp, each worked out once.

    Figures are kept by identity: the parser hands out one object for each distinct token.
    """

    def __init__(self, harp: Harp | None) -> None:
        self.harp = harp
        self.known: dict[int, tuple[tuple[float | None, ...], bool]] = {}

    def of(self, figure: Figure) -> tuple[tuple[float | None, ...], bool]:
        known = self.known.get(id(figure))
        if known is None:
            harp = self.harp
            if harp is None:
                known = (None,) * len(figure.tones), False
            else:
                known = (
                    tuple(harp.intended(tone) for tone in figure.tones),
                    all(harp.can_play(tone) for tone in figure.all_tones),
                )
            self.known[id(figure)] = known
        return known


def _notes(bar: Bar) -> list[Note | Broken]:
    """The notes of a bar, and what should have been notes."""
    shares = (share for beat in bar.beats for share in undivided(beat.parts))
    return [share for share in shares if isinstance(share, (Note, Broken))]


def _beats(count: int) -> str:
    return "one beat" if count == 1 else f"{count} beats"
