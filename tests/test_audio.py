"""Sound from tabs: what is heard in the file is the notation, by voice and by sound font."""

from __future__ import annotations

import io
import itertools
import json
import math
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from measure_reeds import FONTS, Samples, fundamental
from test_soundfont import built

from tabtool.cli import main
from tabtool.events import Score
from tabtool.expression import perform
from tabtool.load import load
from tabtool.practice import Practice, arranged, clicks, comping
from tabtool.sound import audio, voice
from tabtool.sound.soundfont import FontError
from tabtool.temperament import named
from tabtool.writers import mid

SLOW = """title: one of each
harp: {harp}
tempo: 60

| 1^ - 1v - | 2v2 - 3v1 - | 3v0.5 - 4v - | 6^^ - 8^1 - | 10^ - 10^2 - |
"""
# MIDI numbers on a C harp; the layout is OEIS A291810, the bends the published rule of the gap.
SLOW_PITCHES = (60, 62, 65, 70, 70.5, 74, 82, 87, 96, 94)

MARKED = """harp: C
key: G
tempo: 120
| /4v - 4v~ - | 3v\\ - 6v@ - | 2v!,2v; 4~5v {3v}4v 2v1+3+4v |
"""


def score_of(text: str) -> Score:
    loaded = load(text)
    assert loaded.readable, loaded.diagnostics
    return loaded.score


def heard(take: Samples, rate: int, start: float, end: float, near: float) -> float:
    """The frequency in Hz between two times, by phase advance (measure_reeds)."""
    steady = take[round((start + 0.3 * (end - start)) * rate) : round(end * rate)]
    return fundamental(steady, rate, near)


def cents(found: float, expected: float) -> float:
    return 1200 * math.log2(found / expected)


@pytest.mark.parametrize(("key", "root"), [("low F", 53), ("C", 60), ("high G", 67)])
@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg"])
def test_a_file_sounds_the_notation(key: str, root: int, suffix: str, tmp_path: Path) -> None:
    """Witness: the file read back by soundfile, each note measured; OEIS A291810 for the notes."""
    source, out = tmp_path / "a.harptab", tmp_path / f"a{suffix}"
    source.write_text(SLOW.format(harp=key))
    assert main(["audio", str(source), "-o", str(out)]) == 0
    take, rate = soundfile.read(out)
    allowed = 0.1 if suffix != ".ogg" else 0.3  # Vorbis loses a little
    for number, on_c in enumerate(SLOW_PITCHES):
        expected = 440 * 2 ** ((on_c - 60 + root - 69) / 12)
        found = heard(take, rate, 2.0 * number, 2.0 * number + 1.95, expected)
        assert abs(cents(found, expected)) < allowed, (on_c, cents(found, expected))
    assert abs(take[0]) < 1e-4
    assert np.abs(take[-int(0.03 * rate) :]).max() < 1e-3
    assert np.abs(take).max() < 1


@pytest.mark.parametrize(("name", "off"), [("7-limit", -29.22), ("19-limit", 1.42)])
def test_temperament_and_reference_pitch_are_heard(name: str, off: float) -> None:
    """Source: the published cents of 5 draw; at A4 = 443 the tonic C4 is 263.41 Hz."""
    text = f"harp: C\ntempo: 60\npitch: 443\ntemperament: {name}\n| 4^ - 5v - |\n"
    take = audio.by_voice(score_of(text)).astype(np.float64)
    tonic = heard(take, audio.RATE, 0, 1.95, 527)
    assert tonic / 2 == pytest.approx(263.41, abs=0.005)
    fourth = heard(take, audio.RATE, 2, 3.95, tonic * 2 ** ((500 + off) / 1200))
    assert cents(fourth, tonic * 2 ** (5 / 12)) == pytest.approx(off, abs=0.02)


def test_a_just_chord_does_not_beat() -> None:
    """Draw 2-3-4 in 7-limit is 4:5:6: the sound repeats exactly with their common period."""
    text = "harp: C\ntempo: 60\n{}| 2+3+4v - - - |\n"
    repeats = []
    for header in ("temperament: 7-limit\n", ""):
        take = audio.by_voice(score_of(text.format(header))).astype(np.float64)
        period = 4 / named("7-limit").hz(67, 60) * audio.RATE
        steady = take[audio.RATE : 3 * audio.RATE]
        lag = round(60 * period)
        one, two = steady[:20000], steady[lag : lag + 20000]
        repeats.append(float(np.corrcoef(one, two)[0, 1]))
    assert repeats[0] > 0.98
    assert repeats[1] < 0.8


def test_marks_move_the_voice_as_expression_says() -> None:
    """Each curve handed to the voice is the tone's own, to a hundredth of a cent."""
    for tone in perform(score_of(MARKED)):
        given = audio.sounding(tone)
        times = np.linspace(0, tone.end_s - tone.start_s, 57)
        curve = np.broadcast_to(voice.along(given.pitch, times), times.shape)
        expected = [tone.tuned + tone.offset(float(at)) for at in times]
        assert np.abs(curve - expected).max() < 5e-4
        assert (given.start, given.end) == (tone.start_s, tone.end_s)


def test_marked_notes_do_not_click() -> None:
    """In the whole take the samples bend no more sharply than within its steady notes."""
    take = audio.by_voice(score_of(MARKED)).astype(np.float64)
    plain = audio.by_voice(score_of("harp: C\n| 4v 6v 2v1+3+4v 3v |\n")).astype(np.float64)
    limit = np.abs(np.diff(plain, 2)).max()
    assert np.abs(np.diff(take, 2)).max() < 2 * limit  # an accent is half as loud again


def test_clicks_and_chords_are_heard_where_they_are() -> None:
    score = arranged(score_of('harp: C\ntempo: 60\n| "C"4^ - - - |\n'), Practice(count_in=1))
    plain = audio.by_voice(score)
    clicked = audio.by_voice(score, clicks(score, throughout=False))
    added = np.abs(clicked - plain)
    for beat in range(4):
        at = beat * audio.RATE
        assert added[at : at + 2000].max() > 0.1
        assert added[at + 3000 : at + 40000].max() < 1e-6
    chords = audio.by_voice(score, (), comping(score)) - plain
    assert not chords[: 4 * audio.RATE].any()
    low = heard(chords.astype(np.float64), audio.RATE, 4.0, 4.8, 440 * 2 ** ((48 - 69) / 12))
    assert abs(cents(low, 440 * 2 ** ((48 - 69) / 12))) < 5  # the bass, C3


def test_a_count_in_after_the_tune_is_not_cut() -> None:
    silent_end = arranged(score_of("harp: C\ntempo: 60\n| 4^ . . . |\n"), Practice())
    take = audio.by_voice(silent_end, clicks(silent_end, throughout=True))
    assert len(take) >= 4 * audio.RATE
    assert np.abs(take[3 * audio.RATE : 3 * audio.RATE + 2000]).max() > 0.1


def test_files_hold_what_was_rendered() -> None:
    """Witness: soundfile reading back; 16 bits keep a sample within 1/65536."""
    take = audio.by_voice(score_of(MARKED))
    for suffix in audio.FORMATS:
        back, rate = soundfile.read(io.BytesIO(audio.encoded(take, audio.RATE, suffix)))
        assert rate == audio.RATE
        assert len(back) == len(take)
        if suffix != ".ogg":
            assert np.abs(back - take).max() < 1 / 32000


def test_a_long_ogg_is_written() -> None:
    """Minutes at once have brought the Vorbis encoder down; by blocks they do not."""
    noise = np.random.default_rng(1).normal(0, 0.1, 2 * 60 * 44100).astype(np.float32)
    assert len(audio.encoded(noise, 44100, ".ogg")) > 400_000


@pytest.mark.parametrize("path", FONTS, ids=lambda path: path.stem)
def test_a_sound_font_renders_our_midi_in_tune(path: Path) -> None:
    """Witness: Debian's fonts through midirenderer: every note, bends and all, as measured there.

    The font's own deviation (measured first) is allowed for; the bend adds none.
    """
    if not path.exists():
        pytest.skip(f"{path} is not installed")
    score = score_of(SLOW.format(harp="C"))
    font = audio.open_font(str(path), score)
    take, rate = audio.by_font(score, font)
    mono = take.mean(axis=1).astype(np.float64)
    for number, pitch in enumerate(SLOW_PITCHES):
        expected = 440 * 2 ** ((pitch - 69) / 12)
        found = heard(mono, rate, 2.0 * number, 2.0 * number + 1.9, expected)
        own = font.cents[math.floor(pitch)]
        assert own is not None
        assert cents(found, expected) == pytest.approx(own, abs=0.5)
    assert np.abs(take[-20:]).max() < 1e-3
    assert np.abs(take).max() < 1


def test_a_glide_through_a_font_is_smooth() -> None:
    """The bend values of a scoop step by no more than a cent or two every millisecond."""
    import mido

    file = mido.MidiFile(file=io.BytesIO(mid.write(score_of("harp: C\ntempo: 60\n| /4v |\n"))))
    now, steps = 0.0, []
    for message in file:
        now += message.time
        if message.type == "pitchwheel":
            steps.append((now, message.pitch / 8192 * mid.BEND_RANGE * 100))
    assert steps[0][1] == pytest.approx(-100, abs=0.2)
    assert steps[-1][1] == pytest.approx(0, abs=0.2)
    assert max(abs(b[1] - a[1]) for a, b in itertools.pairwise(steps)) < 2.5


def flat_font(tmp_path: Path, cents: float) -> str:
    path = tmp_path / "font.sf2"
    path.write_bytes(built(cents))
    return str(path)


@pytest.mark.parametrize(("off", "word"), [(-30.0, "30 cents flat"), (14.0, "14 cents sharp")])
def test_a_font_out_of_tune_is_refused(off: float, word: str, tmp_path: Path) -> None:
    with pytest.raises(FontError, match=word):
        audio.open_font(flat_font(tmp_path, off), score_of(SLOW.format(harp="C")))


def test_a_font_a_little_out_of_tune_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source, out = tmp_path / "a.harptab", tmp_path / "a.wav"
    source.write_text(SLOW.format(harp="C"))
    font = flat_font(tmp_path, 6.0)
    assert main(["audio", str(source), "-o", str(out), "--font", font, "--json"]) == 0
    printed = capsys.readouterr()
    assert "6.0 cents sharp" in printed.err
    assert json.loads(printed.out)["font_cents"] == pytest.approx(6, abs=0.3)


def test_a_font_without_the_note_is_refused(tmp_path: Path) -> None:
    """FluidR3 has nothing above C7; a high G harp goes to G7."""
    path = FONTS[0]
    if not path.exists():
        pytest.skip(f"{path} is not installed")
    with pytest.raises(FontError, match=r"no such note at MIDI number .*103"):
        audio.open_font(str(path), score_of("harp: high G\n| 10^ 10v 9^ 9v |\n"))


@pytest.mark.parametrize("name", ["take.mp3", "take", "take.wav.txt"])
def test_unknown_suffixes_are_refused_before_the_work(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = tmp_path / "a.harptab"
    source.write_text(MARKED)
    assert main(["audio", str(source), "-o", str(tmp_path / name)]) == 2
    error = capsys.readouterr().err
    assert ".wav, .flac, .ogg" in error
    assert len(error.splitlines()) == 1
    assert not (tmp_path / name).exists()


def test_more_than_an_hour_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source, out = tmp_path / "a.harptab", tmp_path / "a.wav"
    source.write_text(SLOW.format(harp="C"))
    assert main(["audio", str(source), "-o", str(out), "--loop", "200"]) == 2
    assert "more than an hour" in capsys.readouterr().err
    assert not out.exists()


def test_a_failure_leaves_the_old_file_alone(tmp_path: Path) -> None:
    source, out = tmp_path / "a.harptab", tmp_path / "a.wav"
    source.write_text(MARKED)
    out.write_bytes(b"old")
    missing = str(tmp_path / "none.sf2")
    assert main(["audio", str(source), "-o", str(out), "--font", missing]) == 2
    assert out.read_bytes() == b"old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.harptab", "a.wav"]


def test_a_missing_extra_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import sys

    source = tmp_path / "a.harptab"
    source.write_text(MARKED)
    monkeypatch.delitem(sys.modules, "tabtool.sound.audio")
    monkeypatch.delattr("tabtool.sound.audio")
    monkeypatch.setitem(sys.modules, "soundfile", None)
    assert main(["audio", str(source), "-o", str(tmp_path / "a.wav")]) == 2
    assert "pip install 'tabtool[audio]'" in capsys.readouterr().err


@pytest.mark.long
def test_a_tune_to_a_file_at_a_hundred_times_real_time() -> None:
    """The whole of it, expression and encoding too: processor time, best of three."""
    bar = "| 2v2,3v1 4v,(4^,4v) /3v2,-,2v 2v~ | 4v\\ 5v 6^ 6v | "
    score = score_of("harp: C\nkey: G\ntempo: 100\n" + (bar.strip()[:-1]) * 40 + "|\n")
    spent = []
    for _ in range(3):
        begin = time.process_time()
        take = audio.by_voice(score)
        audio.encoded(take, audio.RATE, ".wav")
        spent.append(time.process_time() - begin)
    assert score.seconds > 150
    assert score.seconds / min(spent) > 100


def test_the_package_is_the_way_in() -> None:
    """The names the README's Python example uses, on a song of ours."""
    import tabtool

    score = tabtool.load_text(SLOW.format(harp="C")).score
    slow = tabtool.practise(score, tabtool.Practice(loop=2))
    data = tabtool.sound_file(tabtool.play_score(slow), audio.RATE, ".flac")
    assert soundfile.info(io.BytesIO(data)).duration == pytest.approx(40.17, abs=0.01)
    assert tabtool.midi_file(slow)[:4] == b"MThd"
    assert len(tabtool.perform_score(slow)) == 20
    assert tabtool.find_temperament("19-limit").name == "19-limit"
