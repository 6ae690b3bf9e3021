"""The pitches to aim at, against published frequencies, cents and beat rates."""

from __future__ import annotations

import doctest
import json
import math
from pathlib import Path

import pytest

from tabtool import targets as module
from tabtool.cli import main
from tabtool.harp import Technique
from tabtool.targets import CENTS_APART, interval, targets
from tabtool.temperament import named
from tabtool.tunings import REGISTERS, STANDARD_KEYS, TUNINGS, find_tuning, make_harp

# OEIS A291810: semitones above the root, blow and draw alternating, holes 1 to 10.
RICHTER = [0, 2, 4, 7, 7, 11, 12, 14, 16, 17, 19, 21, 24, 23, 28, 26, 31, 29, 36, 33]
# The bends of a C harp, by the published rule (Harp-L 1994-09: the higher reed bends to a
# semitone above the lower), and the same list's 3 draw: Bb, A, Ab.
BENDS = {
    "1v1": "Db4", "2v1": "F#4", "2v2": "F4", "3v1": "Bb4", "3v2": "A4", "3v3": "Ab4",
    "4v1": "Db5", "6v1": "Ab5", "8^1": "Eb6", "9^1": "F#6", "10^1": "B6", "10^2": "Bb6",
}  # fmt: skip
# OEIS A214832: floor of 440·2^((n−49)/12) for piano keys n = 40 (C4) to 88.
FLOORS = [
    261, 277, 293, 311, 329, 349, 369, 391, 415, 440, 466, 493, 523, 554, 587, 622, 659, 698,
    739, 783, 830, 880, 932, 987, 1046, 1108, 1174, 1244, 1318, 1396, 1479, 1567, 1661, 1760,
    1864, 1975, 2093,
]  # fmt: skip


def run_json(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, object]:
    assert main(["targets", *arguments, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def test_examples() -> None:
    assert doctest.testmod(module).failed == 0


@pytest.mark.parametrize("key", STANDARD_KEYS)
def test_naturals_are_the_published_layout(key: str) -> None:
    """Source: OEIS A291810 for the layout, A214832 for the frequencies."""
    harp = make_harp(key)
    assert harp is not None
    found = targets(harp)
    naturals = [one for one in found if one.tone.technique is Technique.NATURAL]
    by_reed = {(one.tone.hole, str(one.tone.breath)): one for one in naturals}
    for index, step in enumerate(RICHTER):
        one = by_reed[index // 2 + 1, "draw" if index % 2 else "blow"]
        assert one.pitch == harp.root + step
        assert one.cents == 0
        if 60 <= one.pitch <= 96:
            assert math.floor(one.hz + 1e-9) == FLOORS[int(one.pitch) - 60]
    assert len(naturals) == 20
    assert len(found) - 20 == 12  # "twelve notes" by bending, "Harp Notes"


def test_bends_of_a_c_harp() -> None:
    harp = make_harp("C")
    assert harp is not None
    bent = {
        one.tone.token: harp.named(one.pitch)
        for one in targets(harp)
        if one.tone.technique is Technique.BEND
    }
    assert bent == BENDS


def test_cents_follow_the_temperament() -> None:
    """Source: the hole tables of "Theory of harmonica tuning": 7-limit, whole cents."""
    harp = make_harp("A")
    assert harp is not None
    found = targets(harp, named("7-limit"), 442)
    cents = {one.tone.token: round(one.cents) for one in found}
    assert [cents[f"{hole}v"] for hole in range(1, 11)] == [4, 2, -12, 4, -29, 6, -12, 4, -29, 6]
    assert [cents[f"{hole}^"] for hole in range(1, 11)] == [0, -14, 2, 0, -14, 2, 0, -14, 2, 0]
    assert cents["2v2"] == cents["5v"]  # the bend is aimed at the note its octave sounds
    # FACTS: the tonic is the reference of a just harp; A3 of an A harp is half of A4 = 442.
    assert found[0].hz == pytest.approx(221)


@pytest.mark.parametrize(
    ("tone", "reference"),
    [
        ("1^", "4 blow, an octave above"),
        ("2v", "3 blow, in unison"),
        ("2v2", "5 draw, an octave above"),
        ("3v2", "6 draw, an octave above"),
        ("10^1", "7 draw, an octave below"),
        ("4v1", "4 blow, a semitone below"),
        ("3v1", "3 draw, a semitone above"),
    ],
)
def test_references_on_a_c_harp(tone: str, reference: str) -> None:
    """Read off the published layout (OEIS A291810): F4 is heard as F5, 5 draw; Db nowhere."""
    harp = make_harp("C")
    assert harp is not None
    (one,) = [one for one in targets(harp) if one.tone.token == tone]
    assert str(one.reference) == reference


@pytest.mark.parametrize("tuning", [*TUNINGS, "half-valved Richter"])
def test_every_reference_is_a_natural_note(tuning: str) -> None:
    """An obvious reference: search all reeds by hand for the same pitch class."""
    layout = find_tuning(tuning)
    assert layout is not None
    for key in STANDARD_KEYS[::3]:
        for register in REGISTERS:
            harp = make_harp(f"{register} {key}", layout)
            assert harp is not None
            reeds = [way for way in harp.ways if way.tone.technique is Technique.NATURAL]
            for one in targets(harp, overbends=True):
                others = [way.pitch for way in reeds if way.tone != one.tone]
                classes = {pitch % 12 for pitch in others}
                assert one.reference is not None
                assert one.reference.tone != one.tone
                assert one.reference.same_note == (one.pitch % 12 in classes)
                assert one.reference.pitch - one.pitch == one.reference.semitones
                same = [abs(p - one.pitch) for p in others if (p - one.pitch) % 12 == 0]
                nearest = min(same or [abs(p - one.pitch) for p in others])
                assert abs(one.reference.semitones) == nearest
                assert (one.beats is None) == (not same)


@pytest.mark.parametrize(("note", "cents_a_hertz"), [("A3", 7.85), ("A4", 3.93), ("A5", 1.97)])
def test_beats_against_the_published_cents_of_one_hertz(note: str, cents_a_hertz: float) -> None:
    """Source: a published tuning procedure: 1 Hz is about 8 cents at A3, 4 at A4, 2 at A5."""
    harp = make_harp("A")
    assert harp is not None
    (low, *_) = [one for one in targets(harp) if harp.named(one.pitch) == note]
    assert low.reference is not None
    assert low.beats is not None
    octaves = max(0, low.reference.semitones) / 12  # the beat is at the upper note
    expected = CENTS_APART / (cents_a_hertz / 2**octaves)
    assert low.beats == pytest.approx(expected, rel=0.01)


def test_beats_are_heard_in_the_sound_itself() -> None:
    """Witness: two tones of decaying partials added up; the envelope of the partial they share
    is Fourier-analysed, and its peak is the beat rate."""
    np = pytest.importorskip("numpy")
    harp = make_harp("C")
    assert harp is not None
    rate, seconds = 8000, 40
    time = np.arange(rate * seconds) / rate
    for token in ("1^", "2v2", "3v2", "2v"):
        (one,) = [one for one in targets(harp) if one.tone.token == token]
        assert one.reference is not None
        assert one.beats is not None
        low = min(one.pitch, one.reference.pitch)
        high = max(one.pitch, one.reference.pitch)
        low_hz = 440 * 2 ** ((low - 69) / 12)
        high_hz = 440 * 2 ** ((high - 69) / 12 + CENTS_APART / 1200)
        sound = sum(
            np.cos(2 * np.pi * n * f * time) / n for f in (low_hz, high_hz) for n in range(1, 4)
        )
        shared = sound * np.exp(-2j * np.pi * high_hz * time)  # that partial brought down to 0 Hz
        width = rate // 20
        envelope = np.abs(np.convolve(shared, np.hanning(width) / width, "same"))[rate:-rate]
        envelope -= envelope.mean()
        spectrum = np.abs(np.fft.rfft(envelope * np.hanning(len(envelope))))
        peak = spectrum.argmax() * rate / len(envelope)
        assert peak == pytest.approx(one.beats, abs=0.05), token


def test_words_for_intervals() -> None:
    assert [interval(n) for n in (0, 12, -12, 24, 1, -7, 15)] == [
        "in unison", "an octave above", "an octave below", "2 octaves above", "a semitone above",
        "a fifth below", "an octave and a minor third above",
    ]  # fmt: skip


def test_page_and_json(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["targets", "--harp", "Bb", "--overbends"]) == 0
    page = capsys.readouterr().out
    assert page.startswith("Bb harp, Richter tuning, equal temperament, A4 = 440 Hz\n")
    assert max(len(line) for line in page.splitlines()) <= 80  # fits a printed page
    for token in ("2v2", "3v3", "6^^", "7vv"):
        assert f"\n{token} " in page
    out = tmp_path / "targets.txt"
    assert main(["targets", "--harp", "Bb", "--overbends", "-o", str(out)]) == 0
    assert out.read_text() == page
    found = run_json(capsys, "--harp", "low F", "--tuning", "country", "--pitch", "A442")
    assert (found["harp"], found["tuning"], found["a4"]) == ("low F", "country", 442.0)
    rows = found["targets"]
    assert isinstance(rows, list)
    assert rows[0]["hz"] == pytest.approx(440 * 2 ** ((53 - 69) / 12) * 442 / 440, abs=1e-3)
    assert rows[0]["reference"]["token"] == "4^"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--harp", "H"], "no Richter harp in 'H'"),
        (["--harp", "C", "--pitch", "500"], "430 to 450"),
        (["--harp", "C", "--temperament", "meantone"], "use one of equal"),
        (["--harp", "C", "--temperament", "none.scl"], "none.scl: cannot be read"),
    ],
)
def test_bad_options(capsys: pytest.CaptureFixture[str], arguments: list[str], words: str) -> None:
    assert main(["targets", *arguments]) == 2
    error = capsys.readouterr().err
    assert words in error
    assert error.count("\n") == 1
