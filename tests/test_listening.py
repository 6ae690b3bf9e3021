"""Every song, practised at an odd tempo: what the MIDI file sounds is the notation.

Witness: mido reads the file back; the MIDI 1.0 text says what a wheel value means. Within a cent
and a millisecond, at every moment of every note.
"""

from __future__ import annotations

import io
from bisect import bisect_right
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tabtool.events import Score
from tabtool.expression import Sound, perform
from tabtool.load import load, load_file
from tabtool.practice import Practice, arranged, clicks
from tabtool.temperament import named
from tabtool.writers import mid

SONGS = sorted((Path(__file__).resolve().parent.parent / "songs").glob("*.harptab"))


class Heard(NamedTuple):
    """A note of the file: when it sounds, and its pitch from time to time (MIDI numbers)."""

    start: float
    end: float
    key: int
    wheel: list[tuple[float, float]]  # of its channel, over the whole file

    def pitch(self, at: float) -> float:
        return self.key + self.wheel[bisect_right(self.wheel, (at, 1e9)) - 1][1]


def heard(data: bytes) -> list[Heard]:
    wheels: dict[int, list[tuple[float, float]]] = {}
    spans: dict[int, int] = {}
    selected: dict[int, list[int]] = {}
    begun: dict[tuple[int, int], float] = {}
    notes = []
    now = 0.0
    for message in mido.MidiFile(file=io.BytesIO(data)):
        now += message.time
        if message.is_meta or message.channel == 9:
            continue
        channel = message.channel
        wheel = wheels.setdefault(channel, [(-1.0, 0.0)])
        if message.type == "control_change":
            chosen = selected.setdefault(channel, [127, 127])
            if message.control in (100, 101):
                chosen[101 - message.control] = message.value
            elif message.control == 6 and chosen == [0, 0]:
                spans[channel] = message.value
        elif message.type == "pitchwheel":
            wheel.append((now, message.pitch / 8192 * spans[channel]))
        elif message.type == "note_on" and message.velocity:
            assert (channel, message.note) not in begun, "a key struck while it is down"
            begun[channel, message.note] = now
        elif message.type in ("note_on", "note_off"):
            notes.append(Heard(begun.pop((channel, message.note)), now, message.note, wheel))
    assert not begun
    return sorted(notes, key=lambda note: (note.start, note.key))


def compare(score: Score, sounds: tuple[Sound, ...], data: bytes) -> None:
    left = heard(data)
    assert len(left) == len(sounds)
    for sound in sounds:
        near = [
            note
            for note in left
            if abs(note.start - sound.start_s) < 1e-3 and note.key == int(sound.pitch // 1)
        ]
        assert near, (sound.tone.token, sound.start_s)
        note = near[0]
        left.remove(note)
        assert abs(note.end - sound.end_s) < 1e-3
        length = sound.end_s - sound.start_s
        for part in range(20):
            at = length * (part + 0.5) / 20
            moments = [max(0.0, at - 1e-3), at, min(length, at + 1e-3)]
            expected = [sound.tuned + sound.offset(moment) for moment in moments]
            # A millisecond either way is allowed to a moving pitch, then a cent.
            found = note.pitch(note.start + at)
            assert min(expected) - 0.01 < found < max(expected) + 0.01, (sound.tone.token, at)
    assert not left


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_every_song_sounds_as_written(path: Path) -> None:
    score = load_file(str(path)).score
    compare(score, perform(score), mid.write(score))


@pytest.mark.parametrize("path", SONGS[::4], ids=lambda path: path.stem)
def test_practised_songs_sound_as_asked(path: Path) -> None:
    """Looped with a ladder, counted in, on a just harp at A4 = 443, at no round tempo."""
    tuned = load_file(str(path), temperament=named("7-limit"), a4=443.0).score
    practice = Practice(tempo=Fraction(97), loop=3, ladder=Fraction(7, 11), count_in=1)
    score = arranged(tuned, practice)
    compare(score, perform(score), mid.write(score, clicks(score, throughout=True)))


def test_plain_notes_are_the_reeds() -> None:
    """OEIS A291810, the Richter layout, straight to the sound of the file, without our types."""
    layout = [0, 2, 4, 7, 7, 11, 12, 14, 16, 17, 19, 21, 24, 23, 28, 26, 31, 29, 36, 33]
    beats = " ".join(f"{hole}^ {hole}v" for hole in range(1, 11))
    score = load(f"harp: Bb\nmeter: free\ntempo: 100\n{beats}\n").score
    notes = heard(mid.write(score))
    assert [round(note.pitch(note.start), 3) - 58 for note in notes] == layout
    for number, note in enumerate(notes):
        assert note.start == pytest.approx(0.6 * number, abs=1e-3)
        assert note.end == pytest.approx(0.6 * number + 0.6, abs=1e-3)


@settings(max_examples=20, deadline=None)
@given(st.integers(20, 400), st.integers(0, 999), st.sampled_from(["4/4", "6/8", "2/2", "7/16"]))
def test_any_tempo_stays_within_a_millisecond(beats: int, thousandths: int, meter: str) -> None:
    bar = {"4/4": 4, "6/8": 2, "2/2": 2, "7/16": 7}[meter]
    line = "| " + " ".join(["4^,4v,5^"] * bar) + " |\n"
    tempo = f"{beats}.{thousandths:03}" if beats < 400 else "400"
    score = load(f"harp: C\nmeter: {meter}\ntempo: {tempo}\n" + line * 8).score
    for note, event in zip(heard(mid.write(score)), score.events, strict=True):
        assert abs(note.start - event.start_s) < 1e-3
        assert abs(note.end - event.end_s) < 1e-3


def test_rounded_tempi_do_not_add_up() -> None:
    """97.3 a minute is 616,649.5 us a quarter: half a microsecond 6,000 times would be 3 ms."""
    text = "harp: C\ntempo: 97.3\n" + "| 4^ - - - |\n" * 1500
    score = load(text).score
    notes = heard(mid.write(score))
    late = [note.start - event.start_s for note, event in zip(notes, score.events, strict=True)]
    assert max(map(abs, late)) < 5e-4


def test_there_are_songs_to_listen_to() -> None:
    assert len(SONGS) >= 12
