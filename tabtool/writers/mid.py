"""Standard MIDI files, format 1: a tempo track and the harp.

Ticks are 10,080 to a quarter note, so that halves, thirds, fifths and sevenths of a
beat all fall on a tick. Bends, quarter tones and expressive marks are pitch bends, the
range set by RPN 0. A pitch bend moves a whole channel, so tones of one chord that move
differently go to channels of their own.
"""

from __future__ import annotations

import io
from fractions import Fraction

import mido

from tabtool.expression import Sound, perform
from tabtool.resolve import Score, Stretch

TICKS = 10080
HARMONICA = 22  # counted from 0: 23 in the GM2 table
BEND_RANGE = 12  # semitones; every GM2 device reaches it
CHANNELS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15)  # 9 is percussion
BEND_STEP_S = 0.005
VELOCITY, ACCENT = 88, 116


def bend_value(semitones: float) -> int:
    """A pitch wheel value, -8192 to 8191, for a bend at `BEND_RANGE` (MIDI 1.0, page 18)."""
    return max(-8192, min(8191, round(semitones / BEND_RANGE * 8192)))


def write(score: Score) -> bytes:
    """The score as a format 1 file."""
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS)
    file.tracks.append(_track(_tempo_events(score)))
    file.tracks.append(_track(_harp_events(score)))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


_Events = list[tuple[int, int, "mido.Message | mido.MetaMessage"]]  # tick, order, message


def _track(events: _Events) -> mido.MidiTrack:
    track = mido.MidiTrack()
    now = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track"))
    return track


def _tempo_events(score: Score) -> _Events:
    events: _Events = []
    if score.tune.title:
        events.append((0, 0, mido.MetaMessage("track_name", name=_latin(score.tune.title))))
    for stretch in score.stretches:
        tick = _tick_of_quarters(stretch.quarters)
        setting = stretch.setting
        quarter_us = round(60_000_000 / (setting.tempo * setting.meter.beat_quarters))
        events.append((tick, 1, mido.MetaMessage("set_tempo", tempo=quarter_us)))
        if setting.meter.beats is not None:
            over, under = map(int, setting.meter.text.split("/"))
            clocks = int(24 * setting.meter.beat_quarters)
            events.append(
                (
                    tick,
                    2,
                    mido.MetaMessage(
                        "time_signature",
                        numerator=over,
                        denominator=under,
                        clocks_per_click=clocks,
                    ),
                )
            )
        if stretch.name:
            events.append((tick, 3, mido.MetaMessage("marker", text=_latin(stretch.name))))
    return events


def _harp_events(score: Score) -> _Events:
    events: _Events = []
    used: set[int] = set()
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
    for together in groups.values():
        for channel, group in zip(CHANNELS, together, strict=False):
            used.add(channel)
            events += _group_events(group, channel)
    setup: _Events = [(0, 0, mido.MetaMessage("track_name", name="harmonica"))]
    for channel in sorted(used or {0}):
        setup.append((0, 1, mido.Message("program_change", channel=channel, program=HARMONICA)))
        for control, value in (
            (101, 0),
            (100, 0),
            (6, BEND_RANGE),
            (38, 0),
            (101, 127),
            (100, 127),
        ):
            setup.append(
                (
                    0,
                    1,
                    mido.Message("control_change", channel=channel, control=control, value=value),
                )
            )
    lyrics: _Events = [
        (_tick(e.stretch, e.start_s), 4, mido.MetaMessage("lyrics", text=_latin(e.lyric)))
        for e in score.events
        if e.lyric
    ]
    return setup + lyrics + events


def _moves_alike(one: Sound, two: Sound) -> bool:
    return (
        one.pitch % 1 == two.pitch % 1 and one.glides == two.glides and one.vibrato == two.vibrato
    )


def _group_events(group: list[Sound], channel: int) -> _Events:
    first = group[0]
    stretch = first.event.stretch
    start, end = _tick(stretch, first.start_s), _tick(stretch, first.end_s)
    end = max(end, start + 1)
    fraction = first.pitch % 1
    events: _Events = []

    def bend(tick: int, semitones: float, order: int) -> None:
        value = bend_value(semitones)
        events.append((tick, order, mido.Message("pitchwheel", channel=channel, pitch=value)))

    bend(start, fraction + first.offset(0.0), 5)
    if not first.steady:
        length = first.end_s - first.start_s
        last = None
        for step in range(1, int(length / BEND_STEP_S)):
            at = step * BEND_STEP_S
            value = round(fraction + first.offset(at), 3)
            if value != last:
                bend(_tick(stretch, first.start_s + at), value, 7)
                last = value
    velocity = ACCENT if first.accent else VELOCITY
    for sound in group:
        note = int(sound.pitch - fraction)
        events.append(
            (start, 6, mido.Message("note_on", channel=channel, note=note, velocity=velocity))
        )
        events.append((end, 3, mido.Message("note_off", channel=channel, note=note, velocity=0)))
    return events


def _tick(stretch: Stretch, seconds: float) -> int:
    """The tick of a time in seconds, by the tempo of a stretch it lies in or runs on from."""
    beats = (seconds - stretch.start_s) / stretch.beat_s
    quarters = float(stretch.quarters) + beats * float(stretch.setting.meter.beat_quarters)
    return max(0, round(quarters * TICKS))


def _tick_of_quarters(quarters: Fraction) -> int:
    return round(quarters * TICKS)


def _latin(text: str) -> str:
    """Text that fits a MIDI file, which knows only Latin-1."""
    return text.encode("latin-1", "replace").decode("latin-1")
