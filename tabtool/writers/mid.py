"""Standard MIDI files, format 1: tempo, the harp, and where asked chords and a click.

Ticks are 10,080 to a quarter note, so that halves, thirds, fifths and sevenths of a
beat all fall on a tick. Bends, quarter tones, temperament, reference pitch and
expressive marks are pitch bends, the range set by RPN 0; within a cent and a
millisecond they are what `expression` says. A pitch bend moves a whole channel, so
tones that move differently go to channels of their own, and a note does not pull at
the dying sound of the one before.
"""

from __future__ import annotations

import io
import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from fractions import Fraction

import mido

from tabtool.diagnostics import TabError
from tabtool.events import Score
from tabtool.expression import SHUT, Sound, perform
from tabtool.music import Key
from tabtool.practice import Click, Strum
from tabtool.temperament import A4_STANDARD

TICKS = 10080
HARMONICA = 22  # counted from 0: 23 in the GM2 table
GUITAR = 24  # the accompaniment: acoustic guitar (nylon), 25 in the table
BEND_RANGE = 12  # semitones; every GM2 device reaches it
CHANNELS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14)
CHORDS, PERCUSSION = 15, 9
STRONG_TAP, TAP = 76, 77  # high and low wood block (General MIDI percussion map)
VELOCITY, ACCENT, BACKING = 88, 116, 56
DYING_S = 0.25  # how long a note may still be heard after its end
BEND_STEP_S = 0.001
WAH_STEP_S = 0.01
# A tempo is rounded to microseconds; what that adds up to is made good before it can be heard.
TEMPO_EVERY, LATE_US = 256, 200  # looked at every so many quarter notes; microseconds allowed

# Tick, order within it, message.
_Events = list[tuple[int, int, "mido.Message | mido.MetaMessage"]]


def bend_value(semitones: float) -> int:
    """A pitch wheel value, -8192 to 8191, for a bend at `BEND_RANGE` (MIDI 1.0, page 18)."""
    return max(-8192, min(8191, round(semitones / BEND_RANGE * 8192)))


def write(
    score: Score,
    clicks: Iterable[Click] = (),
    strums: Iterable[Strum] = (),
    ring_s: float = 0.0,
) -> bytes:
    """The score as a format 1 file, with taps and chords of the accompaniment where given.

    `ring_s` is silence kept after the last event, in which a renderer lets the sound die.
    """
    clock = _Clock(score)
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS)
    file.tracks.append(_track(_tempo_events(score)))
    harp = _harp_events(score, clock)
    end = clock.tick(score.seconds + ring_s)
    file.tracks.append(_track(harp, end if ring_s else 0))
    chords = _chord_events(score, list(strums), clock)
    taps = _click_events(list(clicks), clock)
    file.tracks += [_track(events) for events in (chords, taps) if events]
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


class _Clock:
    """Seconds to ticks by the tempo that holds then, however long a note is held."""

    def __init__(self, score: Score) -> None:
        self.stretches = score.stretches
        self.starts = [stretch.start_s for stretch in score.stretches]

    def tick(self, seconds: float) -> int:
        # A time on the border, up to rounding, belongs to what begins there.
        stretch = self.stretches[max(0, bisect_right(self.starts, seconds + 1e-9) - 1)]
        beats = (seconds - stretch.start_s) / stretch.beat_s
        quarters = float(stretch.quarters) + beats * float(stretch.setting.meter.beat_quarters)
        return max(0, round(quarters * TICKS))


def _track(events: _Events, end: int = 0) -> mido.MidiTrack:
    track = mido.MidiTrack()
    now = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, end - now)))
    return track


def _tempo_events(score: Score) -> _Events:
    events: _Events = []
    if score.tune.title:
        events.append((0, 0, mido.MetaMessage("track_name", name=_latin(score.tune.title))))
    meter, key = "", None
    late = Fraction(0)  # microseconds the file is behind the score
    ends = [after.quarters for after in score.stretches[1:]]
    for stretch, end in zip(score.stretches, [*ends, None], strict=True):
        setting = stretch.setting
        exact = 60_000_000 / (setting.tempo * setting.meter.beat_quarters)
        if exact > 0xFFFFFF:
            raise TabError("too slow for a MIDI file: a quarter note may last 16 seconds at most")
        at, last = stretch.quarters, 0
        if end is None:
            since = score.beats - stretch.onset
            end = stretch.quarters + since * setting.meter.beat_quarters
        while at < end:
            length = min(Fraction(TEMPO_EVERY), end - at)
            quarter_us = round(exact)
            if abs(late) > LATE_US:
                quarter_us = round(exact - late / length)
            late += (quarter_us - exact) * length
            if quarter_us != last:
                tempo = mido.MetaMessage("set_tempo", tempo=quarter_us)
                events.append((round(at * TICKS), 1, tempo))
            at, last = at + length, quarter_us
        tick = round(stretch.quarters * TICKS)
        if setting.meter.beats is not None and setting.meter.text != meter:
            meter = setting.meter.text
            over, under = map(int, meter.split("/"))
            clocks = int(24 * setting.meter.beat_quarters)
            if clocks > 255:  # more than the byte holds: click the written unit
                clocks = 96 // under
            signature = mido.MetaMessage(
                "time_signature", numerator=over, denominator=under, clocks_per_click=clocks
            )
            events.append((tick, 2, signature))
        if setting.key is not None and setting.key != key:
            key = setting.key
            events.append((tick, 2, mido.MetaMessage("key_signature", key=_signature(key))))
        if stretch.name:
            events.append((tick, 3, mido.MetaMessage("marker", text=_latin(stretch.name))))
    return events


_LINE = ("F", "C", "G", "D", "A", "E", "B")  # of fifths
_MAJOR = (*(f"{name}b" for name in _LINE[1:]), *_LINE, "F#", "C#")  # Cb has 7 flats, C# 7 sharps
_MINOR = (*(f"{name}bm" for name in _LINE[4:]), *(f"{name}m" for name in _LINE),
          *(f"{name}#m" for name in _LINE[:5]))  # fmt: skip


def _signature(key: Key) -> str:
    """The key signature a MIDI file can state: seven flats to seven sharps, major or minor."""
    fifths = key.fifths
    fifths -= 12 * ((fifths + 5) // 12) if abs(fifths) > 7 else 0
    return (_MINOR if key.mode == "minor" else _MAJOR)[fifths + 7]


def _harp_events(score: Score, clock: _Clock) -> _Events:
    events: _Events = []
    groups: dict[tuple[float, float], list[list[Sound]]] = {}
    for sound in perform(score):
        # Tones that begin together and move alike share a channel.
        together = groups.setdefault((sound.start_s, sound.end_s), [])
        for group in together:
            if _moves_alike(group[0], sound):
                group.append(sound)
                break
        else:
            together.append([sound])
    free = dict.fromkeys(CHANNELS, (-math.inf, 0))  # until when taken, and the bend left
    for together in groups.values():
        for group in together:
            events += _group_events(group, _channel(group[0], free), clock, free)
    setup: _Events = [(0, 0, mido.MetaMessage("track_name", name="harmonica"))]
    used = [channel for channel in CHANNELS if free[channel][0] > -math.inf]
    for channel in used or CHANNELS[:1]:
        setup += _channel_setup(channel, HARMONICA)
    lyrics: _Events = [
        (clock.tick(e.start_s), 4, mido.MetaMessage("lyrics", text=_latin(e.lyric)))
        for e in score.events
        if e.lyric
    ]
    return setup + lyrics + events


def _channel_setup(channel: int, program: int) -> _Events:
    setup: _Events = [(0, 1, mido.Message("program_change", channel=channel, program=program))]
    for control, value in ((101, 0), (100, 0), (6, BEND_RANGE), (38, 0), (101, 127), (100, 127)):
        message = mido.Message("control_change", channel=channel, control=control, value=value)
        setup.append((0, 1, message))
    return setup


def _key(sound: Sound) -> int:
    """The key to strike; the bend does the rest."""
    return math.floor(sound.pitch)


def _moves_alike(one: Sound, two: Sound) -> bool:
    return (
        bend_value(one.tuned - _key(one)) == bend_value(two.tuned - _key(two))
        and one.glides == two.glides
        and one.vibrato == two.vibrato
    )


def _channel(sound: Sound, free: dict[int, tuple[float, int]]) -> int:
    """A channel with nothing left to hear, or where the same bend stands already."""
    start = sound.start_s
    bend = bend_value(sound.tuned - _key(sound) + sound.offset(0.0))
    for channel in CHANNELS:
        until, left = free[channel]
        if until + DYING_S <= start or (until <= start and left == bend):
            return channel
    return min(CHANNELS, key=lambda channel: free[channel][0])


def _group_events(
    group: Sequence[Sound], channel: int, clock: _Clock, free: dict[int, tuple[float, int]]
) -> _Events:
    first = group[0]
    start = clock.tick(first.start_s)
    end = max(clock.tick(first.end_s), start + 1)
    length = first.end_s - first.start_s
    above = first.tuned - _key(first)
    events: _Events = []
    values = [(0.0, above + first.offset(0.0))]
    if not first.steady:
        for step in range(1, math.ceil(length / BEND_STEP_S)):
            at = step * BEND_STEP_S
            value = above + round(first.offset(at), 2)  # whole cents: half a cent off at most
            if value != values[-1][1]:
                values.append((at, value))
    for at, value in values:
        wheel = mido.Message("pitchwheel", channel=channel, pitch=bend_value(value))
        events.append((clock.tick(first.start_s + at), 7 if at else 5, wheel))
    if first.wah:
        for step in range(math.ceil(length / WAH_STEP_S)):
            at = step * WAH_STEP_S
            loud = SHUT + (1 - SHUT) * first.open_hands(at)
            value = round(127 * math.sqrt(loud))  # General MIDI: amplitude goes as the square
            hands = mido.Message("control_change", channel=channel, control=11, value=value)
            events.append((clock.tick(first.start_s + at), 5, hands))
        opened = mido.Message("control_change", channel=channel, control=11, value=127)
        events.append((end, 4, opened))
    velocity = ACCENT if first.accent else VELOCITY
    for sound in group:
        on = mido.Message("note_on", channel=channel, note=_key(sound), velocity=velocity)
        off = mido.Message("note_off", channel=channel, note=_key(sound), velocity=0)
        events += [(start, 6, on), (end, 3, off)]
    free[channel] = (first.end_s, bend_value(values[-1][1]))
    return events


def _chord_events(score: Score, strums: list[Strum], clock: _Clock) -> _Events:
    if not strums:
        return []
    events: _Events = [(0, 0, mido.MetaMessage("track_name", name="chords"))]
    events += _channel_setup(CHORDS, GUITAR)
    bend = 0
    for strum in strums:
        a4 = bend_value(12 * math.log2(strum.stretch.setting.a4 / A4_STANDARD))
        start, end = clock.tick(strum.start_s), clock.tick(strum.end_s)
        if a4 != bend:
            bend = a4
            events.append((start, 5, mido.Message("pitchwheel", channel=CHORDS, pitch=bend)))
        for pitch in strum.pitches:
            on = mido.Message("note_on", channel=CHORDS, note=pitch, velocity=BACKING)
            off = mido.Message("note_off", channel=CHORDS, note=pitch, velocity=0)
            events += [(start, 6, on), (max(end, start + 1), 3, off)]
    return events


def _click_events(clicks: list[Click], clock: _Clock) -> _Events:
    if not clicks:
        return []
    events: _Events = [(0, 0, mido.MetaMessage("track_name", name="click"))]
    for click in clicks:
        note, tick = STRONG_TAP if click.strong else TAP, clock.tick(click.start_s)
        loud = ACCENT if click.strong else VELOCITY
        on = mido.Message("note_on", channel=PERCUSSION, note=note, velocity=loud)
        off = mido.Message("note_off", channel=PERCUSSION, note=note, velocity=0)
        end = max(clock.tick(click.start_s + 0.05), tick + 1)
        events += [(tick, 6, on), (end, 3, off)]
    return events


def _latin(text: str) -> str:
    """Text that fits a MIDI file, which knows only Latin-1."""
    return text.encode("latin-1", "replace").decode("latin-1")
