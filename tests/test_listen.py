"""Recordings written down without a tab."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

np = pytest.importorskip("numpy")
pytest.importorskip("midirenderer")

import takes  # noqa: E402
from takes import Manner, Played, Take  # noqa: E402
from test_take import write_wav  # noqa: E402

from tabtool.cli import main  # noqa: E402
from tabtool.load import load  # noqa: E402
from tabtool.takes import gate, pitchtrack, recording  # noqa: E402
from tabtool.takes.listen import listen  # noqa: E402

pytestmark = pytest.mark.skipif(
    bool(takes.missing_fonts()),
    reason=f"needs the Debian packages {', '.join(takes.missing_fonts())}",
)

PITCHES = (72, 74, 70, 67, 65, 67, 67, 72)  # one each a beat, at 120


@pytest.fixture
def wav(tmp_path: Path) -> Path:
    played = [Played(0.5 + 0.5 * i, 0.95 + 0.5 * i, p) for i, p in enumerate(PITCHES)]
    rng = np.random.default_rng(1)
    manner = Manner(tuning=11.8)  # A = 443: 1200·log2(443/440)
    take = takes.render(Take([], played, np.zeros(0), takes.RATE, manner), rng)
    path = tmp_path / "take.wav"
    write_wav(path, take.samples, take.rate)
    return path


def test_notes_come_back(wav: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["listen", str(wav), "--harp", "C", "--tempo", "120", "--json"]) == 0
    heard = json.loads(capsys.readouterr().out)
    assert tuple(note["pitch"] for note in heard["notes"]) == PITCHES
    assert [note["name"] for note in heard["notes"]][:5] == ["C5", "D5", "Bb4", "G4", "F4"]
    assert heard["tuning_cents"] == pytest.approx(11.8, abs=1.5)
    loaded = load(heard["text"])
    assert loaded.playable
    assert [event.onset for event in loaded.score.events] == list(range(8))
    assert tuple(event.pitches[0] for event in loaded.score.events) == PITCHES


def test_free_meter_keeps_the_order(wav: Path, tmp_path: Path) -> None:
    out = tmp_path / "draft.harptab"
    assert main(["listen", str(wav), "--harp", "C", "-o", str(out)]) == 0
    loaded = load(out.read_text())
    assert loaded.playable
    assert tuple(event.pitches[0] for event in loaded.score.events) == PITCHES
    assert loaded.tune.header("meter") == "free"


def test_a_doubtful_note_is_told_by_its_place(tmp_path: Path) -> None:
    """The fifth note lies 45 cents off the semitone it was taken for."""
    played = [
        Played(0.5 + 0.5 * i, 0.95 + 0.5 * i, p, 45.0 if i == 4 else 0.0)
        for i, p in enumerate(PITCHES)
    ]
    take = takes.render(
        Take([], played, np.zeros(0), takes.RATE, Manner()), np.random.default_rng(1)
    )
    wav, out = tmp_path / "take.wav", tmp_path / "draft.harptab"
    write_wav(wav, take.samples, take.rate)
    assert main(["listen", str(wav), "--harp", "C", "-o", str(out)]) == 0
    text = out.read_text()
    doubts = re.findall(r"^# unsure: (\S+) at (\d+):(\d+), \+4\d cents", text, re.MULTILINE)
    assert len(doubts) == 1
    token, line, column = doubts[0]
    assert text.splitlines()[int(line) - 1][int(column) - 1 :].startswith(token)
    span = load(text).score.events[4].note.span
    assert (span.line, span.column) == (int(line), int(column))


def test_listening_is_right_on_a_random_take() -> None:
    """Every note of 40, some of them bent and up to 25 cents off, by its semitone and onset."""
    rng = np.random.default_rng(11)
    manner = Manner(spread=5.0, bent_spread=8.0, tuning=-7.9)
    tune = takes.make_tune(rng, 57, 40)
    take = takes.render(takes.perform(rng, tune, manner), rng)
    heard = recording.thin(take.samples, take.rate)
    track = pitchtrack.track(heard.samples, heard.rate)
    gate.admit(track)
    notes = listen(track).notes
    assert [note.pitch for note in notes] == [round(p.pitch) for p in take.played]
    assert max(abs(n.start_s - p.onset) for n, p in zip(notes, take.played, strict=True)) < 0.05


def test_chords_are_written_down(tmp_path: Path) -> None:
    """Chords and single notes by turns, each by its holes, in a room with noise."""
    notes = "4^ 4+5^ 4+5v 5v 1+2+3v 1+2+3^ 2v 2+3v 3v1 3+4v 3+4v 6^"
    score = load(f"harp: C\ntempo: 100\nmeter: free\n| {notes} |\n").score
    played = [
        Played(0.5 + event.start_s, 0.44 + event.end_s, pitch)
        for event in score.events
        for pitch in event.pitches
    ]
    manner = Manner(room=0.3, noise_db=20.0, tuning=-14.0)
    take = takes.render(Take([], played, np.zeros(0), takes.RATE, manner), np.random.default_rng(2))
    wav, out = tmp_path / "take.wav", tmp_path / "draft.harptab"
    write_wav(wav, take.samples, take.rate)
    assert main(["listen", str(wav), "--harp", "C", "-o", str(out)]) == 0
    written = load(out.read_text()).score.events
    assert [event.pitches for event in written] == [event.pitches for event in score.events]


def test_a_wrong_option_is_told_in_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["listen", "nowhere.wav", "--harp", "C"]) == 2
    assert "nowhere.wav: no such file" in capsys.readouterr().err
    assert main(["listen", "nowhere.wav", "--harp", "H"]) == 2
    assert capsys.readouterr().err.count("\n") == 1
