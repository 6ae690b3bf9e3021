"""MIDI files against the MIDI texts, and as mido and music21 read them back."""

from __future__ import annotations

import io
from pathlib import Path

import mido
import pytest

from tabtool.events import Score
from tabtool.load import load
from tabtool.writers import mid

# The worked example of the SMF text (format 0, 96 ticks): notes 48+60 at 0, 67 at 96, 76 at 192,
# all off at 384; 2 seconds long.
SMF_EXAMPLE = bytes.fromhex(
    "4D546864000000060000000100604D54726B0000003B"
    "00FF58040402180800FF510307A12000C00500C12E00C246"
    "00923060003C606091434060904C20814082304000"
    "3C40008143400080 4C4000FF2F00".replace(" ", "")
)

# Variable-length quantities, from the SMF 1.1 text.
VLQ = {
    0x00: "00", 0x40: "40", 0x7F: "7F", 0x80: "8100", 0x2000: "C000", 0x3FFF: "FF7F",
    0x4000: "818000", 0x100000: "C08000", 0x1FFFFF: "FFFF7F", 0x200000: "81808000",
    0x8000000: "C0808000", 0xFFFFFFF: "FFFFFF7F",
}  # fmt: skip

TUNE = """title: every kind of note
harp: C
key: G
tempo: 97
feel: shuffle

[straight in]
|: 2v2,3v1 4v,(4^,4v) 3v2,-,2v 2v |1 3v0.5 3v1.5 2+3+4v 1+4v :|2 6^^ 7vv 10^1 6^^1 |
| /4v 4v\\ 4v\\/ 4v~ | 4~5v - . {3v}4v! | 2v;,2v 2v@ 2v1+3+4v 2v0.5+3v |

[slower]
tempo: 60
meter: 6/8
| 2v,3v,4v 5v,-,6v | 6v . |
"""


def score_of(text: str) -> Score:
    loaded = load(text)
    assert loaded.readable, loaded.diagnostics
    return loaded.score


def heard(data: bytes) -> list[tuple[float, float, float]]:
    """What a synthesiser would sound: start and end in seconds, and pitch at the start.

    Written against the MIDI 1.0 text alone: the wheel moves a channel by its value over
    8192 times the range that RPN 0 set.
    """
    wheel: dict[int, int] = {}
    span: dict[int, float] = {}
    rpn: dict[int, list[int]] = {}
    open_notes: dict[tuple[int, int], tuple[float, float]] = {}
    sounds = []
    now = 0.0
    for message in mido.MidiFile(file=io.BytesIO(data)):
        now += message.time
        if message.is_meta:
            continue
        channel = message.channel
        if message.type == "control_change":
            selected = rpn.setdefault(channel, [127, 127])
            if message.control in (101, 100):
                selected[101 - message.control] = message.value
            elif message.control == 6 and selected == [0, 0]:
                span[channel] = message.value
        elif message.type == "pitchwheel":
            wheel[channel] = message.pitch
        elif message.type == "note_on" and message.velocity:
            bent = wheel.get(channel, 0) / 8192 * span.get(channel, 2)
            open_notes[channel, message.note] = now, message.note + bent
        elif message.type in ("note_off", "note_on"):
            start, pitch = open_notes.pop((channel, message.note))
            sounds.append((start, now, pitch))
    assert not open_notes
    return sorted(sounds)


def test_mido_writes_the_length_vectors_of_the_smf_text() -> None:
    """SMF 1.1: the printed variable-length quantities, through the library we write with."""
    from mido.midifiles.meta import encode_variable_int

    for number, code in VLQ.items():
        assert bytes(encode_variable_int(number)) == bytes.fromhex(code)


def test_our_reading_of_midi_is_that_of_the_smf_example() -> None:
    """The file printed in the SMF text, so that `heard` is known to read what it should."""
    assert heard(SMF_EXAMPLE) == [(0, 2, 48), (0, 2, 60), (0.5, 2, 67), (1, 2, 76)]


@pytest.mark.parametrize(
    ("semitones", "value"),
    [(0, 0), (-12, -8192), (12, 8191), (-1, round(-8192 / 12)), (0.5, round(8192 / 24))],
)
def test_bend_values(semitones: float, value: int) -> None:
    """MIDI 1.0 page 18-19: 8192 to the semitones of the range, from -8192 to 8191."""
    assert mid.bend_value(semitones) == value


def test_what_is_heard_is_the_notation_within_a_cent_and_a_millisecond() -> None:
    score = score_of(TUNE)
    sounds = heard(mid.write(score))
    for event in score.events:
        marks = event.figure.marks
        for pitch in event.pitches:
            assert pitch is not None
            near = [s for s in sounds if abs(s[0] - event.start_s) < 0.001]
            assert near, event.figure.token
            if marks.scoop:  # begins below, by what the reed gives
                assert any(pitch - 1.02 < s[2] < pitch - 0.2 for s in near)
            else:
                assert any(abs(s[2] - pitch) < 0.01 for s in near), (event.figure.token, near)
            if not (marks.staccato or event.figure.shake):
                ends = [s[1] for s in near]
                follows_grace = any(
                    later.figure.grace and abs(later.start_s - event.end_s) < 1e-6
                    for later in score.events
                )
                if not follows_grace:
                    assert any(abs(end - event.end_s) < 0.001 for end in ends)


def test_a_bent_note_in_a_chord_leaves_the_others_alone() -> None:
    """Pitch bend is per channel (MIDI 1.0), so the quarter tone of one note has its own."""
    sounds = heard(mid.write(score_of("harp: C\n| 2v0.5+3v 2v1+3+4v . . |\n")))
    assert [round(pitch, 2) for _, _, pitch in sounds] == [66.5, 71, 66, 71, 74]


def test_program_is_the_general_midi_harmonica() -> None:
    """GM2 Appendix A: 23 counted from 1, data byte 22; format 1, ending in End of Track."""
    file = mido.MidiFile(file=io.BytesIO(mid.write(score_of(TUNE))))
    programs = {m.program for t in file.tracks for m in t if m.type == "program_change"}
    assert programs == {22}
    assert file.type == 1
    assert all(track[-1].type == "end_of_track" for track in file.tracks)


def test_tempo_and_meter_are_written() -> None:
    """A beat of 6/8 is a dotted quarter: 60 of them a minute are 666,667 us to the quarter."""
    file = mido.MidiFile(file=io.BytesIO(mid.write(score_of(TUNE))))
    tempi = [m.tempo for m in file.tracks[0] if m.type == "set_tempo"]
    meters = [(m.numerator, m.denominator) for m in file.tracks[0] if m.type == "time_signature"]
    assert tempi == [round(60e6 / 97), round(60e6 / 90)]
    assert meters == [(4, 4), (6, 8)]


def test_music21_reads_the_same_pitches_and_lengths(tmp_path: Path) -> None:
    """music21 as a second reader, on a tune without quarter tones, marks or swing."""
    converter = pytest.importorskip("music21.converter")
    text = "harp: G\ntempo: 60\n| 2v 3v1 3v2,3v | 4v - . 4^,(4v,5^) | 6v 6v1 6^^ 7vv |\n"
    score = score_of(text)
    path = tmp_path / "tune.mid"
    path.write_bytes(mid.write(score))
    stream = converter.parse(path)
    theirs = [
        (n.pitch.midi, n.offset, n.duration.quarterLength)
        for n in stream.stripTies().flatten().notes
    ]
    ours = [(e.pitches[0], e.quarters, e.duration) for e in score.events]
    assert theirs == ours
