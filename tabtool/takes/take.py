"""A take against its tab: what the player meant, what the recording holds, what to practise.

Conventions: cents, sharp positive, are the player's own error; ``tuning_cents`` is what harp and
recording stand above the tab's own pitch (its ``pitch:`` and ``temperament:`` lines), estimated
from the natural notes and set apart. Notes count from 0 as they are played, repeats played out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from tabtool.events import NoteEvent, Score
from tabtool.expression import GRACE_S
from tabtool.harp import Harp, Technique, Tone
from tabtool.music import hz
from tabtool.takes.align import presence
from tabtool.takes.chords import of_harp
from tabtool.takes.gate import Unjudged, admit
from tabtool.takes.judge import (
    ACCEPTABLE,
    GOOD,
    Expected,
    Extra,
    Judged,
    Verdict,
    hear_chords,
    judge,
)
from tabtool.takes.pitchtrack import PitchTrack, midi, track
from tabtool.takes.recording import read
from tabtool.temperament import Temperament

if TYPE_CHECKING:
    from tabtool.drills import Advice

FOUND_SHARE = 0.25
"""Of the tab's notes so many must be found, or the recording is of something else."""

FITS_BETTER = 2.0
"""Cents by which another temperament must fit the natural notes better to be told of."""


class TakeNote(NamedTuple):
    """A note of the tab and what became of it."""

    event: NoteEvent
    judged: Judged

    @property
    def tone(self) -> Tone:
        """The tone, the first of a chord."""
        return self.event.figure.tones[0]

    @property
    def melodic_bend(self) -> bool:
        """Whether it is a bend or overbend that is meant as a melody note, and was judged."""
        return is_melodic_bend(self.event) and self.judged.cents is not None

    @property
    def landed(self) -> str:
        """``good``, ``acceptable`` or ``off`` for a note judged in cents, else empty."""
        cents = self.judged.cents
        if cents is None or self.judged.status == "missing":
            return ""
        if self.judged.status == "wrong":
            return "off"
        return "good" if abs(cents) <= GOOD else "acceptable" if abs(cents) <= ACCEPTABLE else "off"


class ToneSummary(NamedTuple):
    """All playings of one hole, breath and depth: how many of ``judged`` landed within the
    acceptable limit, the mean error and its standard deviation in cents, None where another
    note was played every time."""

    tone: Tone
    judged: int
    landed: int
    good: int
    mean: float | None
    deviation: float | None


class Take(NamedTuple):
    """A judged take."""

    score: Score
    notes: tuple[TakeNote, ...]
    verdict: Verdict
    track: PitchTrack
    seconds: float

    @property
    def extra(self) -> tuple[Extra, ...]:
        """Notes played that the tab has not there."""
        return self.verdict.extra

    def count(self, status: str) -> int:
        """How many notes are ``ok``, ``wrong`` or ``missing``."""
        return sum(note.judged.status == status for note in self.notes)

    def tones(self, bends: bool | None = None) -> tuple[ToneSummary, ...]:
        """The summary by hole and depth, bends only or natural notes only where asked."""
        groups: dict[Tone, list[Judged]] = {}
        for note in self.notes:
            if note.judged.cents is None or len(note.event.figure.all_tones) > 1:
                continue
            if not note.event.possible:  # no player can learn it on this harp
                continue
            if bends is None or bends == (note.tone.technique is not Technique.NATURAL):
                groups.setdefault(note.tone, []).append(note.judged)
        return tuple(_summed(tone, groups[tone]) for tone in sorted(groups))


def _summed(tone: Tone, judged: Sequence[Judged]) -> ToneSummary:
    # a wrong note is no measure of a bend's pitch, but it did not land
    cents = [n.cents for n in judged if n.cents is not None and n.status == "ok"]
    return ToneSummary(
        tone,
        len(judged),
        sum(abs(c) <= ACCEPTABLE for c in cents),
        sum(abs(c) <= GOOD for c in cents),
        float(np.mean(cents)) if cents else None,
        float(np.std(cents)) if cents else None,
    )


def is_melodic_bend(event: NoteEvent) -> bool:
    """Whether a note is one bend by whole semitones, or one overbend, that the harp has."""
    tones = event.figure.all_tones
    bent = tones[0].technique is not Technique.NATURAL
    return event.possible and len(tones) == 1 and bent and tones[0].depth % 1 == 0


def expected_of(event: NoteEvent) -> Expected:
    """What the tab asks the player to sound; the event must have its pitches."""
    setting = event.setting
    pitches = [float(midi(setting.hz(p))) for p in event.pitches if p is not None]
    shake = event.figure.shake
    if shake is not None and setting.harp is not None:
        other = setting.harp.intended(shake)
        if other is not None:
            pitches.append(float(midi(setting.hz(other))))
    tone = event.figure.tones[0]
    return Expected(
        pitches[0],
        event.start_s,
        event.end_s,
        natural=tone.technique is Technique.NATURAL,
        # between the semitones there is no pitch to miss
        expressive=tone.depth % 1 != 0,
        free=setting.meter.beats is None,
        others=tuple(pitches[1:]),
        adorned=bool(event.figure.marks.scoop or event.figure.marks.dip or event.figure.marks.fall),
        shaken=shake is not None,
    )


def take(score: Score, path: Path) -> Take:
    """Judge a recording of a tune; `Unjudged` where there is nothing that can be judged."""
    recording = read(path)
    try:
        return judged(score, track(recording.samples, recording.rate), recording.seconds)
    except Unjudged as reason:
        raise Unjudged(f"{path}: {reason}") from None


def judged(score: Score, heard: PitchTrack, seconds: float) -> Take:
    """`take` of a pitch track."""
    events = [event for event in score.events if None not in event.pitches]
    if not events:
        raise Unjudged("the tab has no note to judge")
    expected: list[Expected] = []
    place_of: list[int] = []  # of each event among the notes that may be heard
    for event in events:
        expected += _graces_of(event)
        place_of.append(len(expected))
        expected.append(expected_of(event))
    settings = dict.fromkeys(event.setting for event in events)
    rivals = [pitches for setting in settings for pitches in of_harp(setting)]
    told = hear_chords(heard, expected, rivals)
    # where the tab has no chords, a recording of nothing else is none of it
    admit(told if any(note.others for note in expected) else heard)
    verdict = judge(told, expected)
    every = tuple(
        replace(verdict.notes[place], index=index) for index, place in enumerate(place_of)
    )
    found = sum(note.status == "ok" for note in every)
    if found < len(every) / 2:
        _refuse_another(heard, expected, found, verdict)
    event_at = {place: index for index, place in enumerate(place_of)}
    extra = tuple(
        replace(one, again=None if one.again is None else event_at[one.again])
        for one in verdict.extra
        if one.again is None or one.again in event_at
    )
    verdict = replace(verdict, notes=every, extra=extra)
    return Take(score, tuple(map(TakeNote, events, every)), verdict, heard, seconds)


def _graces_of(event: NoteEvent) -> list[Expected]:
    """The grace notes before an event, each a note that may be heard."""
    setting, graces = event.setting, event.figure.grace
    found: list[Expected] = []
    for number, grace in enumerate(graces):
        pitch = setting.harp.intended(grace.tones[0]) if setting.harp else None
        if pitch is not None:
            start = event.start_s - GRACE_S * (len(graces) - number)
            at = float(midi(setting.hz(pitch)))
            found.append(Expected(at, start, start + GRACE_S, grace=True))
    return found


def _refuse_another(
    heard: PitchTrack, expected: Sequence[Expected], found: int, verdict: Verdict
) -> None:
    """Raise `Unjudged` where a take of which little was found is one of something else."""
    count = len(expected)
    only = f"only {found} of the tab's {count} notes are heard"
    shift = _moved(heard, expected)
    if shift:
        steps = f"{abs(shift)} semitone{'s' if abs(shift) > 1 else ''}"
        where = "higher" if shift > 0 else "lower"
        raise Unjudged(
            f"{only}; what is played fits {steps} {where}: "
            "was it another harp? (name it with --harp)"
        )
    if found < FOUND_SHARE * count:
        raise Unjudged(f"{only}; is it a take of this tune?")
    foreign = sum(one.again is None for one in verdict.extra)
    if foreign > count:
        raise Unjudged(
            f"{foreign} notes are heard that the tab has not; is it a take of this tune?"
        )


def _moved(heard: PitchTrack, expected: Sequence[Expected]) -> int:
    """Semitones by which all that is played fits the tab much better, 0 if none does."""
    pitch = heard.pitch[:, 0][presence(heard) > 0.5]
    if not len(pitch):
        return 0
    targets = np.unique([note.pitch for note in expected])
    fits = {
        shift: float((np.abs(pitch[:, None] - targets - shift).min(axis=1) < 0.4).mean())
        for shift in range(-11, 12)
    }
    best = max(fits, key=lambda shift: (fits[shift], -abs(shift)))
    return best if fits[best] > 0.8 and fits[best] > fits[0] + 0.3 else 0


def drills(take: Take) -> list[ToneSummary]:
    """The bends to practise next, the worst first: those that landed seldom or lie far off."""
    weak = [
        one
        for one in take.tones(bends=True)
        if one.tone.depth % 1 == 0 and (one.landed < one.judged or abs(one.mean or 0.0) > GOOD)
    ]
    return sorted(weak, key=lambda one: (one.landed / one.judged, -abs(one.mean or 0.0)))


def advice(take: Take) -> tuple[Advice, ...]:
    """Which kinds of drill those bends need, in the same order, from how they were out of tune."""
    order = {one.tone: place for place, one in enumerate(drills(take))}
    if not order:
        return ()
    from tabtool.drills import Result, suggest  # slow to load, and a good take needs none

    results = []
    before: Tone | None = None
    for note in take.notes:
        judged = note.judged
        told = judged.cents is not None or judged.status != "ok"
        if note.tone in order and is_melodic_bend(note.event) and told and note.landed != "good":
            cents = judged.cents if judged.status == "ok" else None
            results.append(Result(note.tone, cents, judged.spread or 0.0, before))
        before = note.tone
    return tuple(sorted(suggest(results), key=lambda one: order[one.tone]))


def better_temperament(take: Take, known: Sequence[Temperament]) -> Temperament | None:
    """Another temperament that fits the natural notes clearly better than the tab's; None if the
    tab's own fits, or there are too few different reeds to tell."""
    naturals = [
        note
        for note in take.notes
        if note.judged.status == "ok"
        and note.judged.cents is not None
        and len(note.event.figure.all_tones) == 1
        and note.tone.technique is Technique.NATURAL
    ]
    if len({note.tone for note in naturals}) < 6:
        return None
    setting = naturals[0].event.setting
    played = np.array([n.judged.cents for n in naturals], np.float64)
    pitches = [n.event.pitches[0] for n in naturals]

    def misfit(temperament: Temperament) -> float:
        off = [
            setting.cents(p) - temperament.cents(p, setting.tonic) for p in pitches if p is not None
        ]
        left = played + np.array(off)
        return float(np.mean(np.abs(left - np.median(left))))

    own = misfit(setting.temperament)
    best = min(known, key=misfit)
    if best.name != setting.temperament.name and misfit(best) < own - FITS_BETTER:
        return best
    return None


def a4_of(take: Take) -> float:
    """The A4 in Hz at which harp and recording stand, taken with the tab's own reference."""
    reference = take.notes[0].event.setting.a4 if take.notes else 440.0
    return hz(69 + take.verdict.tuning_cents / 100, reference)


def harp_of(take: Take) -> Harp | None:
    """The harp of the first note."""
    return take.notes[0].event.setting.harp if take.notes else None
