"""How a score sounds: each tone as a stretch of time with a moving pitch.

The one place that says what an expressive mark does, in seconds and semitones; MIDI,
audio and the judging of takes all ask here. A mark moves the pitch for a while and
lets it come home: between marks a tone is exactly at its written pitch.

* A *scoop* starts below and rises to the note; a *fall* leaves it at the end; a *dip*
  goes down and back in the middle. Each goes as deep as its slashes say, a single
  slash as far as the reed gives up to a semitone.
* *Vibrato* swings evenly around the note (5.5 a second lies in the range measured for
  voices and strings, 5.5-8 Hz: Timmers & Desain 2000).
* *Grace* notes are played just before the beat, taking their time from what precedes;
  before the first note of a tune there is nothing, and they are played on the beat.
* A *wah* opens and shuts the hands around the harp: softer and duller when shut.
* A *shake* alternates between two holes, beginning on the first; scoop, dip and fall are
  those of the whole, an accent is of its beginning.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from tabtool.events import NoteEvent, Score
from tabtool.harp import Harp, Tone
from tabtool.temperament import A4_STANDARD
from tabtool.tune import Figure

SCOOP_S, FALL_S, DIP_S = 0.12, 0.18, 0.24  # how long each takes, unless the note is short
VIBRATO_HZ = 5.5
VIBRATO_SEMITONES = 0.2  # to either side
VIBRATO_ONSET_S = 0.15  # the note speaks straight first
GRACE_S = 0.07
SHAKE_HZ = 6.5  # there and back; common practice, no source
SHUT = 0.5  # loudness with the hands shut, as a share of amplitude
WAH_HZ = 3.0  # hands open and shut, once at least; common practice, no source
STACCATO = 0.5  # share of its written time that a staccato note sounds


class Glide(NamedTuple):
    """A smooth move of pitch, in seconds from the start of the tone and semitones.

    Within a shake it may have begun before the tone, and go on after it.
    Runs as half a cosine from `from_semitones` to `to_semitones`; before and after it
    the other glides, or the written pitch, hold.
    """

    start_s: float
    end_s: float
    from_semitones: float
    to_semitones: float


class Sound(NamedTuple):
    """One tone as heard. Times in seconds from the start of the tune, `pitch` in MIDI numbers."""

    event: NoteEvent
    tone: Tone
    start_s: float
    end_s: float
    pitch: float
    glides: tuple[Glide, ...] = ()
    vibrato: bool = False
    accent: bool = False
    wah: bool = False

    @property
    def tuned(self) -> float:
        """`pitch` as this harp is tuned: the MIDI number of its frequency at A4 = 440 Hz."""
        setting = self.event.setting
        above = 12 * math.log2(setting.a4 / A4_STANDARD)
        return self.pitch + setting.cents(self.pitch) / 100 + above

    @property
    def steady(self) -> bool:
        """Whether the pitch never leaves the written one."""
        return not self.glides and not self.vibrato

    def open_hands(self, since_start: float) -> float:
        """How far the hands are open, 0 to 1: 1 without a wah, which begins and ends shut."""
        length = self.end_s - self.start_s
        if not self.wah or length <= 0:
            return 1.0
        waves = max(1, round(length * WAH_HZ))
        return (1 - math.cos(2 * math.pi * waves * since_start / length)) / 2

    def offset(self, since_start: float) -> float:
        """Semitones away from `pitch`, a time after the start of the tone in seconds."""
        away = 0.0
        for glide in self.glides:
            if since_start < glide.start_s:
                continue
            if since_start >= glide.end_s:
                away = glide.to_semitones
                continue
            share = (since_start - glide.start_s) / (glide.end_s - glide.start_s)
            rise = (1 - math.cos(math.pi * share)) / 2
            away = glide.from_semitones + rise * (glide.to_semitones - glide.from_semitones)
        if self.vibrato and since_start > VIBRATO_ONSET_S:
            since = since_start - VIBRATO_ONSET_S
            swell = min(1.0, since * VIBRATO_HZ)  # one cycle to full width
            away += VIBRATO_SEMITONES * swell * math.sin(2 * math.pi * VIBRATO_HZ * since)
        return away


def perform(score: Score) -> tuple[Sound, ...]:
    """All that sounds, in order of onset; an event with no pitch makes no sound."""
    sounds: list[Sound] = []
    events = [event for event in score.events if event.setting.harp is not None]
    graces = [
        _grace_times(event, before.start_s if before else None)
        for before, event in zip([None, *events], events, strict=False)
    ]
    for index, event in enumerate(events):
        harp = event.setting.harp
        assert harp is not None
        first, each = graces[index]
        for count, grace in enumerate(event.figure.grace):
            at = first + count * each
            sounds += _tones(event, grace, harp, at, at + each)
        start = max(event.start_s, first + each * len(event.figure.grace))
        end = event.end_s
        if index + 1 < len(events):
            end = min(end, graces[index + 1][0])
        sounds += _figure(event, harp, start, end)
    return tuple(sounds)


def _grace_times(event: NoteEvent, before_s: float | None) -> tuple[float, float]:
    """When the first grace note of an event begins and how long each lasts, in seconds.

    Graces take their time from before the note, half of what is there at most; with no
    note before it, from the note itself, a third of it at most.
    """
    count = len(event.figure.grace)
    if not count:
        return event.start_s, 0.0
    if before_s is None:
        return event.start_s, min(GRACE_S, (event.end_s - event.start_s) / 3 / count)
    each = min(GRACE_S, (event.start_s - before_s) / 2 / count)
    return event.start_s - each * count, each


def _figure(event: NoteEvent, harp: Harp, start: float, end: float) -> list[Sound]:
    figure = event.figure
    if figure.marks.staccato:
        end = min(end, start + (event.end_s - start) * STACCATO)
    if figure.shake is None:
        return _tones(event, figure, harp, start, end)
    swings = max(2, round((end - start) * SHAKE_HZ * 2))
    each = (end - start) / swings
    one = figure._replace(shake=None)
    two = one._replace(tones=(figure.shake,))
    sounds = []
    for index in range(swings):
        since = index * each
        for sound in _tones(event, two if index % 2 else one, harp, start, end):
            glides = tuple(
                glide._replace(start_s=glide.start_s - since, end_s=glide.end_s - since)
                for glide in sound.glides
                if glide.start_s < since + each and glide.end_s > since
            )
            sounds.append(
                sound._replace(
                    start_s=start + since,
                    end_s=start + since + each,
                    glides=glides,
                    accent=sound.accent and index == 0,
                )
            )
    return sounds


def _tones(event: NoteEvent, figure: Figure, harp: Harp, start: float, end: float) -> list[Sound]:
    marks = figure.marks
    sounds = []
    for tone in figure.tones:
        pitch = harp.intended(tone)
        if pitch is not None:
            glides = _glides(figure, tone, harp, end - start)
            sounds.append(
                Sound(
                    event, tone, start, end, pitch, glides, marks.vibrato, marks.accent, marks.wah
                )
            )
    return sounds


def _glides(figure: Figure, tone: Tone, harp: Harp, length: float) -> tuple[Glide, ...]:
    marks = figure.marks
    if not marks.bends:
        return ()
    gives = _gives(tone, harp)
    glides = []
    if marks.scoop:
        lasts = min(SCOOP_S, 0.4 * length)
        glides.append(Glide(0.0, lasts, -_deep(marks.scoop, gives), 0.0))
    if marks.dip:
        lasts = min(DIP_S, 0.4 * length)
        deep, middle = -_deep(marks.dip, gives), length / 2
        glides.append(Glide(middle - lasts / 2, middle, 0.0, deep))
        glides.append(Glide(middle, middle + lasts / 2, deep, 0.0))
    if marks.fall:
        lasts = min(FALL_S, 0.4 * length)
        glides.append(Glide(length - lasts, length, 0.0, -_deep(marks.fall, gives)))
    return tuple(glide for glide in glides if glide.from_semitones or glide.to_semitones)


def _deep(slashes: int, gives: float) -> float:
    """Semitones a mark goes: one slash as far as the reed gives up to a semitone."""
    return min(1.0, gives) if slashes == 1 else float(slashes)


def _gives(tone: Tone, harp: Harp) -> float:
    """How far this tone can still be pulled, in semitones."""
    if not harp.can_play(tone):
        return 1.0
    if tone.overbent:
        return tone.depth
    return max(0.0, harp.expressive_limit(tone.hole, tone.breath, tone.slide) - tone.depth)
