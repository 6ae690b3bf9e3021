"""Standard MIDI files, through mido: one track and channel is one part.

Where every note begins on an ordinary division of a quarter note the rhythm is taken as
it stands; otherwise the file is a performance, and its notes are moved to the nearest
quarter, third or eighth, which is told. Pitch bends count with the range the file sets
(RPN 0; two semitones where it sets none), by the bend that lasts longest in a note.
"""

from __future__ import annotations

import io
from collections import defaultdict
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Any, NamedTuple

import mido

from tabtool.diagnostics import TabError
from tabtool.music import Key, Meter, parse_key, parse_meter
from tabtool.readers import Choice, choose_part, few_enough
from tabtool.report import many
from tabtool.scores.measures import NO_CHANGE, Change, Measure, Melody, Sounded

MOST_MESSAGES = 300_000
MOST_BARS = 5_000
PERCUSSION = 9  # channel 10, counted from 0
BEND_RANGE = 2.0  # semitones, where no RPN 0 sets it (General MIDI 2)
DIVISIONS = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 5, 10, 7, 14, 9)
COARSE, FINE = (4, 3), (8, 6)  # what performances are moved to
CHORDAL = 0.1  # the share of notes sounding with others from which on a part is polyphonic


class _Note(NamedTuple):
    start: int  # ticks
    end: int
    pitch: float


class _Timed(NamedTuple):
    start: Fraction  # quarter notes
    end: Fraction
    pitches: tuple[float, ...]
    lyric: str


class _Part(NamedTuple):
    name: str
    notes: list[_Note]


class _Song(NamedTuple):
    """A file with its deltas added up: what each tick brings."""

    ticks: int  # a quarter note
    parts: list[_Part]
    meters: list[tuple[int, Meter]]
    tempos: list[tuple[int, Fraction]]
    keys: list[tuple[int, Key]]
    sections: list[tuple[int, str]]
    lyrics: dict[int, str]
    title: str
    drums: int = 0  # notes of percussion, which have no pitch


def read(data: bytes, name: str, choice: Choice) -> Melody:
    """The melody of the chosen part; of chords the highest or lowest note if so chosen."""
    song = _song(data, name)
    part = song.parts[choose_part([one.name for one in song.parts], name, choice.part)]
    few_enough(len(part.notes), name)
    lost: list[str] = []
    if song.drums:
        lost.append(f"percussion (channel 10) has no pitch: {many(song.drums, 'note')} left out")
    notes = _one_at_a_time(part, name, choice.voice, lost)
    timed = _timed(notes, song, lost)
    measures = _measures(timed, song, name, lost)
    return Melody(tuple(measures), song.title, "", part.name, tuple(dict.fromkeys(lost)))


def _song(data: bytes, name: str) -> _Song:
    try:
        file = mido.MidiFile(file=io.BytesIO(data), clip=True)
    except Exception as error:  # a parser of others, fed with anything at all
        reason = " ".join(str(error).split()) or "it breaks off"
        raise TabError(f"{name}: a damaged MIDI file: {reason[:120]}") from None
    if file.ticks_per_beat <= 0 or file.ticks_per_beat > 32767:
        raise TabError(f"{name}: its time is counted in film frames, not in beats")
    if sum(map(len, file.tracks)) > MOST_MESSAGES:
        raise TabError(f"{name}: more than {MOST_MESSAGES} messages, so surely no melody")
    song = _Song(file.ticks_per_beat, [], [], [], [], [], {}, "")
    title = ""
    drums = 0
    for number, track in enumerate(file.tracks, start=1):
        label = next((m.name for m in track if m.type == "track_name"), "").strip("\0 ")
        if number == 1 and file.type == 1:
            title = label
        by_channel = _track(track, song)
        drums += len(by_channel.pop(PERCUSSION, ()))
        own = label or f"track {number}"
        if file.type == 1 and len({_program(track, channel) for channel in by_channel}) == 1:
            # Channels of one instrument in one track: its notes bent differently at once.
            together = sorted(note for notes in by_channel.values() for note in notes)
            song.parts.append(_Part(own, together))
            continue
        for channel, notes in sorted(by_channel.items()):
            several = len(by_channel) > 1
            song.parts.append(_Part(own + f", channel {channel + 1}" * several, notes))
    if not song.parts:
        raise TabError(f"{name}: no notes in it" + ", only percussion (channel 10)" * bool(drums))
    return song._replace(title=title, drums=drums)


def _program(track: Any, channel: int) -> int:
    """The first program a channel is set to; -1 where none is."""
    return next(
        (m.program for m in track if m.type == "program_change" and m.channel == channel), -1
    )


def _track(track: Any, song: _Song) -> dict[int, list[_Note]]:
    """The notes of one track by channel; what it says of time and words goes into the song."""
    now = 0
    sounding: dict[tuple[int, int], int] = {}
    notes: dict[int, list[_Note]] = defaultdict(list)
    bends: dict[int, list[tuple[int, float]]] = defaultdict(lambda: [(0, 0.0)])
    ranges: dict[int, float] = defaultdict(lambda: BEND_RANGE)
    parameter: dict[int, list[int]] = defaultdict(lambda: [127, 127])
    for message in track:
        now += int(message.time)
        kind = message.type
        if kind in ("note_on", "note_off"):
            key = message.channel, message.note
            if key in sounding:
                start = sounding.pop(key)
                if now > start:
                    pitch = message.note + _bend(bends[message.channel], start, now)
                    notes[message.channel].append(_Note(start, now, pitch))
            if kind == "note_on" and message.velocity:
                sounding[key] = now
        elif kind == "pitchwheel":
            value = message.pitch / 8192 * ranges[message.channel]
            bends[message.channel].append((now, value))
        elif kind == "control_change":
            if message.control in (101, 100):
                parameter[message.channel][message.control == 100] = message.value
            elif message.control == 6 and parameter[message.channel] == [0, 0]:
                ranges[message.channel] = float(message.value)
        elif kind == "time_signature":
            meter = parse_meter(f"{message.numerator}/{message.denominator}")
            if meter is not None:
                song.meters.append((now, meter))
        elif kind == "set_tempo":
            if message.tempo:
                song.tempos.append((now, Fraction(60_000_000, message.tempo)))
        elif kind == "key_signature":
            key_now = parse_key(message.key)
            if key_now is not None:
                song.keys.append((now, key_now))
        elif kind == "lyrics":
            song.lyrics[now] = song.lyrics.get(now, "") + message.text.strip("\0\r\n/\\ ")
        elif kind == "marker":
            song.sections.append((now, message.text.strip("\0 ")))
    for (channel, pitch), start in sounding.items():  # never ended: up to the next, or the last
        later = [note.start for note in notes[channel] if note.start > start]
        end = min(later, default=max(now, start + song.ticks))
        notes[channel].append(_Note(start, end, pitch + _bend(bends[channel], start, end)))
    for own in notes.values():
        own.sort()
    return notes


def _bend(bends: list[tuple[int, float]], start: int, end: int) -> float:
    """The bend that lasts longest between two ticks, in semitones, to the quarter tone."""
    lasts: dict[float, int] = defaultdict(int)
    for (at, value), following in zip(bends, [*[t for t, _ in bends[1:]], end], strict=True):
        overlap = min(following, end) - max(at, start)
        if overlap > 0:
            lasts[round(value * 2) / 2] += overlap
    return max(lasts, key=lambda value: lasts[value], default=0.0)


def _one_at_a_time(part: _Part, name: str, voice: str, lost: list[str]) -> list[list[_Note]]:
    """The notes in order, those that begin together in one list; the outer voice if chosen."""
    groups: list[list[_Note]] = []
    for note in part.notes:
        if groups and note.start == groups[-1][0].start:
            groups[-1].append(note)
        else:
            groups.append([note])
    if voice in ("highest", "lowest"):
        pick = max if voice == "highest" else min
        left = sum(len(group) - 1 for group in groups)
        if left:
            lost.append(f"of chords only the {voice} note is kept ({left} notes left out)")
        return [[pick(group, key=lambda note: note.pitch)] for group in groups]
    if voice:
        raise TabError(f"{name}: there is no voice '{voice}' in MIDI; voices: highest, lowest")
    over = sum(
        1
        for one, two in pairwise(groups)
        if max(n.end for n in one) - two[0].start > (two[0].start - one[0].start) / 4
    )
    if over > CHORDAL * len(groups):
        raise TabError(
            f"{name}: several notes sound at once in '{part.name}'; take one line of it with "
            "--voice highest or --voice lowest"
        )
    return groups


def _timed(groups: list[list[_Note]], song: _Song, lost: list[str]) -> list[_Timed]:
    """The notes in quarter notes, none lasting into the next."""
    starts = [Fraction(group[0].start, song.ticks) for group in groups]
    slack = Fraction(1, song.ticks) if song.ticks >= 5000 else Fraction(0)
    grid: tuple[int, ...]
    exact = [_near(start, DIVISIONS) for start in starts]
    if all(abs(a - b) <= slack for a, b in zip(exact, starts, strict=True)):
        placed, grid = exact, DIVISIONS
    else:
        placed, grid = [_near(start, COARSE) for start in starts], COARSE
        if len(set(placed)) < len(placed):
            placed, grid = [_near(start, FINE) for start in starts], FINE
        moved = max(abs(a - b) for a, b in zip(placed, starts, strict=True))
        lost.append(
            "a performance, not in strict time: notes are moved to the nearest "
            f"{' or '.join(f'1/{part}' for part in grid)} of a quarter note, by "
            f"{float(moved):.2f} at most"
        )
    timed: list[_Timed] = []
    for index, group in enumerate(groups):
        start = placed[index]
        following = placed[index + 1] if index + 1 < len(placed) else None
        end = _near(Fraction(max(note.end for note in group), song.ticks), grid)
        if grid is DIVISIONS and abs(end - Fraction(group[0].end, song.ticks)) > slack:
            end = _near(end, FINE)
        if end <= start:
            end = start + Fraction(1, 4)
        if following is not None:
            gap = following - Fraction(max(note.end for note in group), song.ticks)
            if end > following or _detached(gap, following - start, end, grid):
                end = following
        if end > start:
            pitches = tuple(sorted({note.pitch for note in group}))
            timed.append(_Timed(start, end, pitches, song.lyrics.get(group[0].start, "")))
        else:
            lost.append("notes that fall together are left out")
    return timed


def _detached(gap: Fraction, apart: Fraction, end: Fraction, grid: Sequence[int]) -> bool:
    """Whether a gap before the next note, so far `apart`, is a way of playing and no rest.

    In strict time a rest is a good part of the note or ends it at a plain sixteenth.
    """
    if grid is DIVISIONS:
        return gap < Fraction(1, 8) or (gap < apart / 4 and bool(4 * end % 1))
    return gap < max(apart / 3, Fraction(1, 8))


def _near(time: Fraction, divisions: Sequence[int]) -> Fraction:
    """The nearest multiple of any of the divisions of a quarter note; of equals the coarsest."""
    return min(
        (Fraction(round(time * part), part) for part in divisions), key=lambda t: abs(t - time)
    )


def _measures(notes: list[_Timed], song: _Song, name: str, lost: list[str]) -> Iterator[Measure]:
    """The notes cut into bars."""
    last = notes[-1].end
    common = parse_meter("4/4")
    assert common is not None
    meters = sorted((Fraction(t, song.ticks), m) for t, m in song.meters)
    tempos = sorted((Fraction(t, song.ticks), x) for t, x in song.tempos)
    keys = sorted((Fraction(t, song.ticks), k) for t, k in song.keys)
    names = sorted((Fraction(t, song.ticks), n) for t, n in song.sections)
    meter, start, place, bars = common, Fraction(0), 0, 0
    while start < last:
        bars += 1
        if bars > MOST_BARS:
            raise TabError(f"{name}: lasts more than {MOST_BARS} bars, so surely no melody")
        change = NO_CHANGE
        while meters and meters[0][0] <= start:
            meter = meters.pop(0)[1]
        assert meter.beats is not None
        end = start + meter.beats * meter.beat_quarters
        if meters and meters[0][0] < end:
            end = meters[0][0]
        change = _changes(start, end, tempos, keys, names, lost)
        inside: list[Sounded] = []
        while place < len(notes) and notes[place].start < end:
            note = notes[place]
            begins = max(note.start, start)
            until = min(note.end, end)
            tied = note.start < start
            words = (note.lyric,) if note.lyric and not tied else ()
            inside.append(Sounded(begins - start, until - begins, note.pitches, tied, words))
            if note.end > end:
                break
            place += 1
        yield Measure(end - start, meter, tuple(inside), change=change)
        start = end


def _changes(
    start: Fraction,
    end: Fraction,
    tempos: list[tuple[Fraction, Fraction]],
    keys: list[tuple[Fraction, Key]],
    names: list[tuple[Fraction, str]],
    lost: list[str],
) -> Change:
    """What changes within a bar, which is written at its beginning."""
    change = NO_CHANGE
    while tempos and tempos[0][0] < end:
        at, tempo = tempos.pop(0)
        if at > start:
            lost.append("a change of tempo within a bar is written at its beginning")
        change = change._replace(tempo=tempo.limit_denominator(1000))
    while keys and keys[0][0] < end:
        change = change._replace(key=keys.pop(0)[1])
    while names and names[0][0] < end:
        if names[0][0] > start:
            lost.append(f"the section {names[0][1]} begins within a bar: written at its beginning")
        change = change._replace(section=names.pop(0)[1])
    return change
