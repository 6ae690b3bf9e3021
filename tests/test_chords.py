"""Chords told apart: on sums of sines, and a quick sample of what tests/chordbench.py measures."""

from __future__ import annotations

import pytest

np = pytest.importorskip("numpy")
pytest.importorskip("midirenderer")

import chordbench  # noqa: E402
import takes  # noqa: E402

from tabtool.load import load  # noqa: E402
from tabtool.takes import chords, pitchtrack  # noqa: E402

fonts = pytest.mark.skipif(
    bool(takes.missing_fonts()),
    reason=f"needs the Debian packages {', '.join(takes.missing_fonts())}",
)

RATE = 16000
SETTING = load("harp: C\n| 4^ - - - |\n", "tune").score.events[0].setting


def sines(rng: np.random.Generator, pitches: tuple[float, ...]) -> np.ndarray:
    """A second of some notes, the levels and phases of their twelve partials left to chance: each
    up to 12 dB softer than falling by 5 dB an octave, as no reed is."""
    t = np.arange(RATE) / RATE
    sound = np.zeros(RATE)
    for pitch in pitches:
        for number in range(1, 13):
            hertz = 440 * 2 ** ((pitch - 69) / 12) * number
            if hertz < RATE / 2:
                level = number**-0.8 * 10 ** (-rng.uniform(0, 12) / 20)
                sound += level * np.sin(2 * np.pi * (hertz * t + rng.random()))
    return (0.05 * sound).astype(np.float32)


@pytest.mark.parametrize("tuning", [0.0, 0.25, -0.4])
def test_every_chord_of_a_harp_is_told_whatever_its_partials(tuning: float) -> None:
    """All sets of two and three neighbouring holes of a C harp (OEIS A291810), by partials."""
    rng = np.random.default_rng(3)
    sets = chords.distinct(chords.of_harp(SETTING))
    wrong = []
    for pitches in (s for s in sets if len(s) < 4):
        raised = tuple(pitch + tuning for pitch in pitches)
        track = chords.with_chords(pitchtrack.track(sines(rng, raised), RATE), sets, tuning)
        heard = float(np.median(track.pitch[10:-10, 0])) - tuning
        if chords.decoded(heard, sets) != pitches:
            wrong.append((pitches, chords.decoded(heard, sets)))
    assert len(sets) >= 30
    assert not wrong


def test_single_notes_are_no_chords() -> None:
    rng = np.random.default_rng(4)
    sets = chords.distinct(chords.of_harp(SETTING))
    for pitch in range(59, 97):
        track = pitchtrack.track(sines(rng, (pitch,)), RATE)
        heard = chords.with_chords(track, sets, 0.0)
        assert abs(float(np.median(heard.pitch[10:-10, 0])) - pitch) < 0.1, pitch


def test_what_lies_on_partials_of_a_lower_note_is_not_told() -> None:
    """An octave, a twelfth and two octaves are the second, third and fourth partial."""
    assert chords.core((60, 64, 67, 72)) == (60, 64, 67)
    assert chords.core((60, 79)) == chords.core((60, 84)) == (60,)
    assert chords.distinct([(60, 72), (60, 64), (60, 64, 72)]) == ((60, 64),)


@fonts
def test_chords_of_a_dense_tune() -> None:
    """The Night Mail by sampled reeds: nothing falsely told, every planted slip named."""
    figures = chordbench.Figures()
    manner = takes.Manner()
    chordbench.measured("night mail", manner, {}, 10, figures)
    chordbench.measured("night mail", manner, chordbench.PLANTED, 100, figures)
    assert not figures.faults
    assert all(figures.counts[f"{kind} named"] == 1 for kind in chordbench.PLANTED)


@fonts
@pytest.mark.long
def test_the_whole_benchmark_of_chords() -> None:
    """All conditions of chordbench.py: as written nothing is told falsely but in noise and a room;
    of the slips 98 in 100 are named."""
    print("\n" + chordbench.HEAD)
    whole = chordbench.Figures()
    for name in chordbench.CONDITIONS:
        figures = chordbench.figures_of(name)
        print(chordbench.line_of(name, figures))
        for fault in figures.faults:
            print(f"    {fault}")
        whole.counts.update(figures.counts)
    named = sum(whole.counts[f"{kind} named"] for kind in chordbench.PLANTED)
    assert named >= 0.98 * sum(whole.counts[kind] for kind in chordbench.PLANTED) > 0
    false = sum(whole.counts[f"false {kind}"] for kind in ("missing", "wrong", "extra"))
    assert false <= 0.002 * whole.counts["notes"]
    assert not whole.counts["refused"]
