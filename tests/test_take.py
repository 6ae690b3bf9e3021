"""Takes judged: a quick sample of what tests/takebench.py measures in full.

The takes are rendered from sampled reeds of two Debian sound fonts (see takes.py), so the truth
is known; the tests skip, saying so, where the fonts are missing.
"""

from __future__ import annotations

import contextlib
import json
import re
import subprocess
import wave
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

np = pytest.importorskip("numpy")
pytest.importorskip("midirenderer")

import takes  # noqa: E402
from takes import Manner, Played, Take  # noqa: E402

from tabtool.cli import main  # noqa: E402
from tabtool.takes import gate, pitchtrack, recording  # noqa: E402
from tabtool.takes.judge import Expected, Verdict, judge  # noqa: E402

fonts = pytest.mark.skipif(
    bool(takes.missing_fonts()),
    reason=f"needs the Debian packages {', '.join(takes.missing_fonts())}",
)


def made(manner: Manner, key: int = 60, length: int = 40, seed: int = 7) -> Take:
    """A rendered take of a random tune for a Richter harp whose hole 1 blow is `key`."""
    rng = np.random.default_rng(seed)
    return takes.render(takes.perform(rng, takes.make_tune(rng, key, length), manner), rng)


def judged(take: Take) -> Verdict:
    heard = recording.thin(take.samples, take.rate)
    track = pitchtrack.track(heard.samples, heard.rate)
    expected = [Expected(n.pitch, n.onset, n.end, natural=not n.bent) for n in take.written]
    return judge(track, expected)


def pairs(take: Take, verdict: Verdict) -> Iterator[tuple[Played, object]]:
    """Each note that was played as written, with its judgement."""
    truth = {p.index: p for p in take.played if p.kind == "ok"}
    for note in verdict.notes:
        if note.index in truth:
            yield truth[note.index], note


@fonts
@pytest.mark.parametrize(
    ("manner", "most"),
    [
        (Manner(tuning=12.0), 1.5),
        (Manner(tempo=0.5, vibratos=0.5), 1.5),
        (Manner(tempo=1.6, rubato=0.2, tuning=-8.0), 1.5),
        (Manner(coding="aac", tuning=20.0), 1.5),
        (Manner(noise_db=10.0, room=0.4, scoops=0.4), 3.0),
    ],
    ids=["clean", "slow with vibrato", "quick with rubato", "phone coding", "noise and room"],
)
def test_cents_come_back_as_planted(manner: Manner, most: float) -> None:
    """The truth is calibrated by a least-squares fit that shares no code with the tracker."""
    take = made(manner)
    verdict = judged(take)
    errors = np.array(
        [
            note.cents + verdict.tuning_cents - manner.tuning - takes.true_cents(p, manner.font)
            for p, note in pairs(take, verdict)
            if note.cents is not None
        ]
    )
    # short notes of slow reeds never settle, and get no cents
    assert len(errors) >= 0.8 * len(take.written)
    assert np.median(np.abs(errors)) <= 0.1
    assert np.percentile(np.abs(errors), 95) <= most


@fonts
def test_the_tuning_is_set_apart_from_the_player() -> None:
    """A = 438 is 7.9 cents below 440 (by 1200·log2)."""
    take = made(Manner(tuning=-7.9, spread=3.0))
    verdict = judged(take)
    assert verdict.tuning_cents == pytest.approx(-7.9, abs=2.0)


@fonts
@pytest.mark.parametrize("seed", [3, 5, 6])
def test_slips_are_named(seed: int) -> None:
    manner = Manner(skips=1, wrongs=1, extras=1, false_start=3, tempo=1.2)
    take = made(manner, key=55, seed=seed)
    verdict = judged(take)
    pitch = [note.pitch for note in take.written]
    missing = [note.index for note in verdict.notes if note.status == "missing"]
    # of two equal notes in a row either may be said to be the missing one
    assert [pitch[i] for i in missing] == [pitch[i] for i in take.skipped]
    wrong = {p.index for p in take.played if p.kind == "wrong"}
    assert {note.index for note in verdict.notes if note.status == "wrong"} == wrong
    extra = [p for p in take.played if p.kind == "extra"]
    new = [one for one in verdict.extra if one.again is None]
    assert [round(one.pitch) for one in new] == [round(p.pitch) for p in extra]
    assert all(abs(one.start_s - p.onset) < 0.06 for one, p in zip(new, extra, strict=True))
    again = [one.again for one in verdict.extra if one.again is not None]
    assert again == [0, 1, 2]


@fonts
def test_onsets_are_where_the_notes_were_struck() -> None:
    take = made(Manner())
    late = [1000 * (note.start_s - p.onset) for p, note in pairs(take, judged(take))]
    assert np.percentile(np.abs(late), 95) <= 15
    assert abs(np.median(late)) <= 5


def write_wav(path: Path, samples: np.ndarray, rate: int) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes((np.clip(samples, -1, 1) * 32000).astype("<i2").tobytes())


TAB = "harp: C\ntempo: 120\n| 4^ 4v 3v1 2v |\n| 2v2 2v 4^ - |\n"


@pytest.fixture
def tab(tmp_path: Path) -> Path:
    path = tmp_path / "tune.harptab"
    path.write_text(TAB)
    return path


def as_written(cents: float = 0.0) -> list[Played]:
    pitches = (72, 74, 70, 67, 65, 67, 72)  # OEIS A291810 and the published bending rule
    return [
        Played(0.5 + 0.5 * i, 0.95 + 0.5 * i, p, cents if p in (70, 65) else 0.0, i)
        for i, p in enumerate(pitches)
    ]


@fonts
def test_take_tells_each_bend(tab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rng = np.random.default_rng(1)
    take = takes.render(Take([], as_written(18.0), np.zeros(0), takes.RATE, Manner()), rng)
    wav = tab.parent / "take.wav"
    write_wav(wav, take.samples, take.rate)
    assert main(["take", str(tab), str(wav), "--json"]) == 0
    heard = json.loads(capsys.readouterr().out)
    assert set(heard) == {"tuning_cents", "notes", "extra"}
    assert all(
        set(note) == {
            "index", "line", "column", "status", "cents", "spread", "start_s", "end_s"
        }
        for note in heard["notes"]
    )  # fmt: skip
    assert [note["status"] for note in heard["notes"]] == ["ok"] * 7
    assert heard["extra"] == []
    by_index = {note["index"]: note for note in heard["notes"]}
    assert by_index[2]["cents"] == pytest.approx(18, abs=2)
    assert by_index[4]["cents"] == pytest.approx(18, abs=2)
    assert (by_index[2]["line"], by_index[2]["column"]) == (3, 9)
    picture, kept, drawn = (tab.parent / n for n in ("p.svg", "takes.jsonl", "bends.html"))
    options = ["--picture", str(picture), "--history", str(kept), "--progress", str(drawn)]
    for _ in range(2):
        assert main(["take", str(tab), str(wav), *options]) == 0
    said = capsys.readouterr().out
    assert re.search(r"3 draw bent 1: 1[789] cents sharp on average, 1 of 1 landed, 0 good", said)
    assert "tabtool drill --harp C --bends" in said
    assert len(kept.read_text().splitlines()) == 2
    assert picture.read_text().startswith("<svg")
    assert "3v1" in drawn.read_text()
    dots = tab.parent / "p.png"
    assert main(["take", str(tab), str(wav), "--picture", str(dots)]) == 0
    image = pytest.importorskip("PIL.Image").open(dots)
    width = float(re.search(r'width="(\d+)"', picture.read_text())[1])
    assert image.size[0] == 2 * width
    # the bands of the notes, the line of the pitch, and paper
    assert {(0xDD, 0xE7, 0xF3), (0xA9, 0xC4, 0xE4), (0x11, 0x11, 0x11), (255, 255, 255)} <= {
        colour for _, colour in image.getcolors(1 << 24)
    }


@fonts
def test_the_picture_shows_what_was_played_instead(tab: Path) -> None:
    """A wrong note an octave up and an extra one two octaves up lie inside the row's frame, 16
    units a semitone above the tab's; the first note has its token though the take began late."""
    played = [replace(p, onset=p.onset - 0.52, end=p.end - 0.52) for p in as_written()]
    played[0] = replace(played[0], onset=0.0)
    played[3] = replace(played[3], pitch=79.0)
    played.append(Played(3.6, 4.0, 91.0))
    rng = np.random.default_rng(1)
    take = takes.render(Take([], played, np.zeros(0), takes.RATE, Manner()), rng)
    wav, picture = tab.parent / "take.wav", tab.parent / "take.svg"
    write_wav(wav, take.samples, take.rate)
    assert main(["take", str(tab), str(wav), "--picture", str(picture)]) == 0
    drawn = picture.read_text()
    top = float(re.search(r'<rect x="50.0" y="([\d.]+)"', drawn)[1])
    heights = {
        said: float(re.search(rf'y="([\d.]+)"[^>]*>{re.escape(said)}<', drawn)[1])
        for said in ("extra", "4^", "wrong")
    }
    assert heights["extra"] > top
    # the extra note is 24 semitones above the wrong one's place in the tab
    assert heights["wrong"] - heights["extra"] == pytest.approx(24 * 16 + 24, abs=2)
    lines = [
        min(float(point.split(",")[1]) for point in points.split())
        for points in re.findall(r'points="([^"]+)"', drawn)
    ]
    # the line of the wrong note, 12 semitones above its band
    assert any(abs(heights["wrong"] - 19 - 12 * 16 - y) < 4 for y in lines)
    assert len(re.findall(r">4\^<", drawn)) == 2


def spoken(path: Path, text: str, *options: str) -> bool:
    """Speech by a synthesiser, where there is one."""
    said = ["espeak-ng", *options, "-w", str(path), text]
    try:
        subprocess.run(said, check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        return False
    return True


@fonts
def test_a_bend_that_never_was_has_no_mean(tab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """For 2v2 and for 4v3, which a C harp has not (4 draw and 4 blow are two semitones apart, OEIS
    A291810), other notes are played: no cents are told of either, and only 2v2 is to practise."""
    tab.write_text(TAB.replace("4^ - |", "4v3 4^ |"))
    played = as_written()
    played[4] = replace(played[4], pitch=69.0)
    played[6:] = [Played(3.5, 3.95, 69.0), Played(4.0, 4.45, 72.0)]
    rng = np.random.default_rng(1)
    take = takes.render(Take([], played, np.zeros(0), takes.RATE, Manner()), rng)
    wav, kept, drawn = (tab.parent / n for n in ("take.wav", "takes.jsonl", "bends.svg"))
    write_wav(wav, take.samples, take.rate)
    options = ["--history", str(kept), "--progress", str(drawn)]
    assert main(["take", str(tab), str(wav), *options]) == 0
    said = capsys.readouterr().out
    assert "2 draw bent 2: another note each time, 0 of 1 landed, 0 good" in said
    assert "4 draw bent 3" not in said
    assert re.search(r"4v3 .* not on this harp, wrong note, A4 heard", said)
    bends = {bend["token"]: bend["mean"] for bend in json.loads(kept.read_text())["bends"]}
    assert bends == {"2v2": None, "3v1": pytest.approx(0, abs=3)}
    assert drawn.read_text().count("<circle") == 1


SPOKEN = {
    "speech": ("Hello, this is my take for today. One, two, three, four, here we go now.",),
    # hardly a consonant, high and drawn out: nearly sung
    "slow speech": ("Oh no, we are going home now, my love.", "-p", "85", "-s", "90"),
}


@pytest.mark.parametrize("what", ["silence", "noise", *SPOKEN, "chords", "drowned"])
def test_nothing_is_claimed_of_what_is_no_take(
    what: str, tab: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wav = tab.parent / "no.wav"
    rng = np.random.default_rng(0)
    if what in SPOKEN:
        if not spoken(wav, *SPOKEN[what]):
            pytest.skip("needs the Debian package espeak-ng")
    elif what in ("chords", "drowned") and takes.missing_fonts():
        pytest.skip("needs the sound fonts")
    elif what == "drowned":
        take = Take([], as_written(), np.zeros(0), takes.RATE, Manner(noise_db=-3.0))
        take = takes.render(take, rng)
        write_wav(wav, take.samples, take.rate)
    elif what == "chords":
        both = [
            Played(0.3 + 0.6 * i, 0.85 + 0.6 * i, key)
            for i in range(8)
            for key in ((60, 64, 67), (62, 67, 71))[i % 2]
        ]
        take = takes.render(Take([], both, np.zeros(0), takes.RATE, Manner()), rng)
        write_wav(wav, take.samples, take.rate)
    else:
        level = 0.0 if what == "silence" else 0.1
        write_wav(wav, level * takes.pink_white(rng, 4 * takes.RATE), takes.RATE)
    reasons = {"silence": "silent", "noise": "no clear", "chords": "more than"}
    reason = reasons.get(what, "no clear" if what == "drowned" else "speech")
    commands = [["take", str(tab), str(wav)], ["listen", str(wav), "--harp", "C"]]
    for command in commands[: 1 if what == "chords" else 2]:  # chords can be written down
        assert main([*command, "--json"]) == 2
        out, err = capsys.readouterr()
        said = json.loads(out)
        assert (said["notes"], said.get("extra", []), said["tuning_cents"]) == ([], [], None)
        assert reason in err
        assert err.count("\n") == 1


@fonts
def test_a_take_of_another_tune_is_refused(tab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = made(Manner(), key=67, length=25)
    wav = tab.parent / "other.wav"
    write_wav(wav, take.samples, take.rate)
    assert main(["take", str(tab), str(wav)]) == 2
    assert "take of this tune?" in capsys.readouterr().err


@fonts
def test_another_harp_is_told(tab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The tab of a C harp played on a D harp: two semitones higher."""
    rng = np.random.default_rng(1)
    higher = [replace(p, pitch=p.pitch + 2) for p in as_written()]
    take = takes.render(Take([], higher, np.zeros(0), takes.RATE, Manner()), rng)
    wav = tab.parent / "other.wav"
    write_wav(wav, take.samples, take.rate)
    assert main(["take", str(tab), str(wav)]) == 2
    assert "2 semitones higher" in capsys.readouterr().err


def test_steadiness_parts_notes_from_glides() -> None:
    """A held tone is steady; one that glides by an octave a second never is (by arithmetic:
    80 ms of it cross 0.96 semitones)."""
    t = np.arange(32000) / 16000
    held = np.sin(2 * np.pi * 440 * t).astype(np.float32)
    glide = np.sin(2 * np.pi * 220 * (2**t - 1) / np.log(2)).astype(np.float32)
    assert gate.steadiness(pitchtrack.track(held, 16000)) > 0.95
    assert gate.steadiness(pitchtrack.track(glide, 16000)) < 0.05


def test_a_damaged_mp3_is_told_in_a_line_or_read(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Whole, it stands where it was (an encoder's delay taken off: within 2 ms); damaged, no
    library writes to the terminal past us."""
    import soundfile

    rate = 44100
    t = np.arange(2 * rate) / rate
    tone = np.where(t >= 0.5, 0.3 * np.sin(2 * np.pi * 440 * t), 0.0)
    whole = tmp_path / "whole.mp3"
    soundfile.write(whole, tone, rate)
    heard = recording.read(whole)
    begins = np.flatnonzero(np.abs(heard.samples) > 0.1)[0] / heard.rate
    assert begins == pytest.approx(0.5, abs=0.002)
    data = bytearray(whole.read_bytes())
    for place in range(400, len(data), 97):
        data[place] = 0xA5
    hurt, none = tmp_path / "hurt.mp3", tmp_path / "none.mp3"
    hurt.write_bytes(data)
    with contextlib.suppress(recording.RecordingError):  # told, or the rest of it read
        recording.read(hurt)
    none.write_bytes(bytes(range(256)) * 20)
    with pytest.raises(recording.RecordingError, match=r"none\.mp3: not a recording"):
        recording.read(none)
    assert capfd.readouterr().err == ""
