"""Tune to `Score`: what sounds on the harp, and when.

The lines are put together (`written`), the order in which the bars are played is found
(`repeats`), their lengths are checked (`lengths`), and bar by bar the notes are given
their times and pitches. Swing bends time only in beats divided in halves: a beat written
in thirds is played as written.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from tabtool.diagnostics import Diagnostic, Level, Rule
from tabtool.events import NoteEvent, PlayedBar, Score, Stretch, SymbolEvent
from tabtool.harp import Harp, Layout
from tabtool.lengths import check_lengths
from tabtool.repeats import played_order
from tabtool.shares import shares_of
from tabtool.temperament import Temperament
from tabtool.tune import Broken, Figure, Hold, Note, Share, Tune
from tabtool.written import InHand, Written, put_together

NOTHING_TO_HOLD = Rule(
    "nothing-to-hold", Level.ERROR, "A hold with nothing sounding before it.", reads=True
)


def resolve(
    tune: Tune,
    harp_key: str = "",
    tuning: Layout | None = None,
    temperament: Temperament | None = None,
    a4: float | None = None,
) -> tuple[Score, tuple[Diagnostic, ...]]:
    """Play a tune out; what is given here stands in for what the tune says of its harp."""
    written, unclear = put_together(tune, InHand(harp_key, tuning, temperament, a4))
    order, unmatched = played_order(written.bars)
    uneven = check_lengths(written, order)
    bars = _played(written, order)
    playing = _Playing(written)
    for bar in bars:
        playing.bar(bar)
    score = Score(
        tune,
        tuple(playing.stretches),
        tuple(bars),
        tuple(playing.events),
        tuple(playing.symbols),
        sum(bar.beats for bar in bars),
    )
    return score, (*unclear, *unmatched, *uneven, *playing.found)


def _played(written: Written, order: Sequence[tuple[int, int]]) -> list[PlayedBar]:
    """The bars in the order they are played, each with its stretch and where it begins."""
    played: list[PlayedBar] = []
    stretch: Stretch | None = None
    first_number, onset = written.first_number, 0
    for index, play in order:
        bar, section, *_ = written.bars[index]
        if stretch is None or stretch.written != section:
            stretch = _stretch(written, section, stretch, onset)
        beats = len(bar.beats)
        played.append(PlayedBar(first_number + index, bar, stretch, onset, beats, play))
        onset += beats
    return played


def _stretch(written: Written, index: int, before: Stretch | None, onset: int) -> Stretch:
    """The stretch that begins at a beat, with the section at `index`."""
    name, setting = written.sections[index]
    if before is None:
        return Stretch(name, setting, onset, Fraction(0), 0.0, index)
    since = onset - before.onset
    return Stretch(
        name,
        setting,
        onset,
        before.quarters + since * before.setting.meter.beat_quarters,
        before.start_s + since * before.beat_s,
        index,
    )


class _Playing:
    """A tune being played, bar by bar: the events so far, and what a hold would hold on."""

    def __init__(self, written: Written) -> None:
        self.words = written.words
        self.events: list[NoteEvent] = []
        self.symbols: list[SymbolEvent] = []
        self.found: list[Diagnostic] = []
        self.last: Share | None = None  # None at the beginning, and on a harp just taken up
        self.stretches: list[Stretch] = []
        self.beat_s = 0.0  # seconds a beat lasts in this stretch, worked out once
        self.changed_harp = False  # at the beginning of this stretch
        self.pitches = _Pitches(None)

    def bar(self, bar: PlayedBar) -> None:
        """Play a bar."""
        stretch = bar.stretch
        if not self.stretches or stretch is not self.stretches[-1]:
            self.begin(stretch)
        beat_s, swing = self.beat_s, stretch.setting.swing
        for beat_onset, beat in enumerate(bar.bar.beats, start=bar.onset):
            beat_start_s = stretch.start_s + (beat_onset - stretch.onset) * beat_s
            for offset, length, into, out, share in shares_of(beat.parts, swing):
                if share.symbol:
                    self.symbols.append(
                        SymbolEvent(
                            share.symbol, share.span, stretch,
                            offset + beat_onset, beat_start_s + into * beat_s,
                        )
                    )  # fmt: skip
                if isinstance(share, Hold):
                    self.hold(share, length, beat_start_s + out * beat_s)
                    continue
                self.last = share
                if isinstance(share, Note):
                    pitches, possible = self.pitches.of(share.figure)
                    self.events.append(
                        NoteEvent(
                            share, stretch, bar.number, offset + beat_onset, length,
                            beat_start_s + into * beat_s, beat_start_s + out * beat_s,
                            pitches, possible, bar.play, self.syllable(share, bar.play),
                        )
                    )  # fmt: skip

    def begin(self, stretch: Stretch) -> None:
        """Begin a stretch; what sounded cannot be held on another harp."""
        harp = stretch.setting.harp
        self.changed_harp = bool(self.stretches) and self.stretches[-1].setting.harp != harp
        self.stretches.append(stretch)
        self.beat_s = stretch.beat_s
        if self.changed_harp and isinstance(self.last, (Note, Broken)):
            self.last = None
        if self.pitches.harp is not harp:
            self.pitches = _Pitches(harp)

    def hold(self, hold: Hold, length: Fraction, end_s: float) -> None:
        """Let the last note sound on, until `end_s`; silence and what was not read go on too."""
        if isinstance(self.last, Note):
            event = self.events[-1]
            self.events[-1] = event._replace(duration=event.duration + length, end_s=end_s)
        elif self.last is None:
            self.found.append(
                NOTHING_TO_HOLD.at(
                    hold.span,
                    "nothing sounds here to hold on"
                    + (", the harp being another" if self.changed_harp else ""),
                    "write a note, or . for silence",
                )
            )
            self.last = hold  # told once

    def syllable(self, note: Note, play: int) -> str:
        """What is sung to a note in a pass: the verse of the same number, or else the last."""
        verses = self.words.get(note.span) if self.words else None
        return verses[min(play, len(verses)) - 1] if verses else ""


class _Pitches:
    """The pitches of figures on one harp, each worked out once.

    Figures are kept by identity: the parser hands out one object for each distinct token.
    """

    def __init__(self, harp: Harp | None) -> None:
        self.harp = harp
        self.known: dict[int, tuple[tuple[float | None, ...], bool]] = {}

    def of(self, figure: Figure) -> tuple[tuple[float | None, ...], bool]:
        """The pitch of each tone, and whether the reeds allow them all."""
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
