"""What sounds, and when: a tune played out on a harp, as `resolve` makes it.

Onsets and durations are `Fraction`s of a beat from the first note of the tune, exact
as written; seconds are floats and follow tempo and feel. Pitches are MIDI numbers.

An impossible note keeps its event, with the pitch the tab asks for, so that one
fault does not hide the rest; only a note with no reed at all has no pitch (None).
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from tabtool.diagnostics import Span
from tabtool.header import Setting
from tabtool.tune import Bar, Figure, Note, Tune


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

    `onset` and `duration` are in beats, `start_s` and `end_s` in seconds. `pitches` has one
    for each of the figure's `tones`, among which the second tone of a shake is not; `possible`
    says whether the reeds allow every tone, that one too. `play` counts the passes of a repeat.
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
