"""A tune as it stands on paper: its lines put together, with nothing played out.

Header and section lines are gathered into sections, each with its `Setting`; bars learn
what the bar lines of their neighbours say of them; syllables are laid under their notes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from tabtool.diagnostics import Diagnostic, Level, Rule, Span
from tabtool.harp import Layout
from tabtool.header import Setting
from tabtool.repeats import WrittenBar, written_bars
from tabtool.temperament import Temperament
from tabtool.tune import (
    Bar,
    Broken,
    HeaderLine,
    LyricLine,
    MusicLine,
    Note,
    SectionLine,
    Share,
    Tune,
    undivided,
)
from tabtool.tunings import HARP_KEY_HELP, UNKNOWN_KEY

HARP_MISSING = Rule(
    "harp-missing", Level.ERROR, "No harp is named, so no pitch is known.", reads=True
)
LYRIC = Rule("lyric", Level.ERROR, "More syllables than notes to sing them to.", reads=True)


class Section(NamedTuple):
    """A stretch of the text under one setting; the name is empty before the first ``[section]``."""

    name: str
    setting: Setting


class Written(NamedTuple):
    """A tune as it stands on paper: bars in written order, repeats not played out.

    `words` holds the syllables of a note, one a verse, by the note's place in the text.
    """

    bars: tuple[WrittenBar, ...]
    sections: tuple[Section, ...]
    words: Mapping[Span, tuple[str, ...]]

    @property
    def first_number(self) -> int:
        """The number of the first bar: 0 for a pick-up."""
        return 0 if len(self.bars) > 1 and self.is_short(0) else 1

    def setting(self, index: int) -> Setting:
        """What holds for the bar at `index`."""
        return self.sections[self.bars[index].section].setting

    def is_short(self, index: int) -> bool:
        """Whether the bar at `index` has beats, but fewer than its meter asks for."""
        wanted = self.setting(index).meter.beats
        return wanted is not None and 0 < len(self.bars[index].bar.beats) < wanted


class InHand(NamedTuple):
    """The harp in the player's hand, where it is another than the tune says.

    `harp_key` and what else is given stand in for what the tune names; `a4` is in Hz.
    """

    harp_key: str = ""
    tuning: Layout | None = None
    temperament: Temperament | None = None
    a4: float | None = None

    def instead(self, setting: Setting) -> Setting:
        """The setting on this harp."""
        if self.harp_key or self.tuning:
            setting = setting.on(self.harp_key or setting.harp_key, self.tuning or setting.tuning)
        return setting._replace(
            temperament=self.temperament or setting.temperament, a4=self.a4 or setting.a4
        )


def as_written(tune: Tune, harp_key: str = "", tuning: Layout | None = None) -> Written:
    """A tune in written order; `harp_key` and `tuning` stand in for those the tune names."""
    return put_together(tune, InHand(harp_key, tuning))[0]


def put_together(tune: Tune, in_hand: InHand) -> tuple[Written, tuple[Diagnostic, ...]]:
    """A tune in written order, and what is wrong with its harps and words."""
    sections = _Sections(in_hand)
    bars: list[tuple[Bar, int]] = []
    words: dict[Span, tuple[str, ...]] = {}
    found: list[Diagnostic] = []
    above: MusicLine | None = None
    for line in tune.lines:
        if isinstance(line, MusicLine):
            found += sections.play(line)
            bars += [(bar, len(sections.made) - 1) for bar in line.bars]
            above = line
        elif isinstance(line, HeaderLine):
            sections.head(line)
        elif isinstance(line, SectionLine):
            sections.name(line)
        elif isinstance(line, LyricLine) and above is not None:
            found += _sing(line, above, words)
    return Written(written_bars(bars), tuple(sections.made), words), tuple(found)


class _Sections:
    """The sections of a tune so far, and the setting the next one will have."""

    def __init__(self, in_hand: InHand) -> None:
        self.in_hand = in_hand
        self.made: list[Section] = []
        self.next_name = ""
        self.next_setting = in_hand.instead(Setting())
        self.headed = True  # a header or section line since the last bar: a section begins
        self.naming: dict[str, HeaderLine] = {}  # the last line that names the harp, the tuning
        self.told: set[Diagnostic] = set()

    def head(self, line: HeaderLine) -> None:
        """A header line."""
        self.next_setting, self.headed = self.next_setting.after(line), True
        if line.name in ("harp", "tuning", "temperament", "pitch"):
            self.next_setting = self.in_hand.instead(self.next_setting)
            self.naming[line.name] = line

    def name(self, line: SectionLine) -> None:
        """A section line."""
        self.next_name, self.headed = line.name, True

    def play(self, music: MusicLine) -> list[Diagnostic]:
        """A line of bars: a section begins with it where header or section lines went before."""
        if not self.headed:
            return []
        self.headed = False
        setting, fault = self.next_setting, None
        if self.harp_unread():
            setting = setting._replace(harp=None)
        elif setting.harp is None:
            fault = self.harp_fault(setting, music)
        self.made.append(Section(self.next_name, setting))
        if fault is None or fault in self.told:
            return []
        self.told.add(fault)
        return [fault]

    def harp_unread(self) -> bool:
        """Whether the harp or tuning meant is named in words not understood, told of in `parse`."""
        harp, tuning = self.naming.get("harp"), self.naming.get("tuning")
        return bool(
            (harp and harp.parsed is None and not self.in_hand.harp_key)
            or (tuning and tuning.parsed is None and not self.in_hand.tuning)
        )

    def harp_fault(self, setting: Setting, music: MusicLine) -> Diagnostic | None:
        """Why a section has no harp; None where that was told at the section before."""
        line = self.naming.get("harp")
        if line is not None:
            return _no_such_harp(line, setting)
        if self.in_hand.harp_key or self.made:
            return None
        first = next((note for bar in music.bars for note in notes_meant(bar)), None)
        return HARP_MISSING.at(
            first.span if first else music.span,
            "the tune does not say which harp it is for",
            "write harp: C (or its key) at the top, or name one with --harp",
        )


def _no_such_harp(line: HeaderLine, setting: Setting) -> Diagnostic:
    if setting.harp_key.endswith("m") and not setting.tuning.minor:
        return UNKNOWN_KEY.at(
            line.span,
            f"a {setting.tuning.name} harp is not sold as {setting.harp_key}",
            f"write harp: {setting.harp_key[:-1]}, or a minor tuning",
        )
    return UNKNOWN_KEY.at(line.span, f"there is no harp in {setting.harp_key}", HARP_KEY_HELP)


def _sing(
    line: LyricLine, music: MusicLine, words: dict[Span, tuple[str, ...]]
) -> list[Diagnostic]:
    """Add a verse to `words`: syllables for the notes of the bars above."""
    notes = [(note, number) for number, bar in enumerate(music.bars) for note in notes_meant(bar)]
    verse = len(words.get(notes[0][0].span, ())) if notes else 0
    for note, _ in notes:
        words[note.span] = (*words.get(note.span, ()), "")
    place = bar_now = 0
    for syllable, span in line.syllables:
        if syllable == "|":
            bar_now += 1
            while place < len(notes) and notes[place][1] < bar_now:
                place += 1
        elif place < len(notes):
            note, bar_now = notes[place]
            if syllable not in ("_", "*"):
                words[note.span] = (*words[note.span][:verse], syllable)
            place += 1
        else:
            return _no_note_left(span, [note for note, _ in notes])
    return []


def _no_note_left(syllable: Span, notes: Sequence[Note | Broken]) -> list[Diagnostic]:
    if any(uncounted(note) for note in notes):
        return []
    count = "1 note" if len(notes) == 1 else f"{len(notes)} notes"
    return [
        LYRIC.at(
            syllable,
            "a syllable with no note left to sing it to",
            f"the bars above have {count}; - joins syllables of a word "
            "(write Ket- tle), _ holds one on, * leaves a note out",
        )
    ]


def notes_meant(bar: Bar) -> list[Note | Broken]:
    """The notes of a bar, and what should have been notes."""
    shares = (share for beat in bar.beats for share in undivided(beat.parts))
    return [share for share in shares if isinstance(share, (Note, Broken))]


def uncounted(share: Share) -> bool:
    """Whether it could not be read and may have been any number of beats or notes."""
    return isinstance(share, Broken) and not share.counted
