"""The reed voice, judged by pitch trackers, spectra and fonts it has no part in."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from pathlib import Path

import measure_reeds
import numpy as np
import pytest
from measure_reeds import FONTS, Samples, fundamental, partials
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture
from scipy.integrate import cumulative_simpson
from scipy.signal import get_window

from tabtool.sound import soundfont, voice
from tabtool.sound.reeds import REEDS, Reed
from tabtool.sound.voice import Sound, render

RATE = 44100
# Low F harp at its lowest reed to a high G harp's hole 10, and bends three semitones below.
KEYS = (50, 53, 56, 60, 64, 67, 70, 72, 76, 79, 83, 84, 88, 91, 94, 96, 99, 103)
CENTS = 0.137  # off the equal-tempered pitch, so that no rounding to semitones can pass


def hertz(key: float, a4: float = 440.0) -> float:
    return a4 * 2 ** ((key - 69) / 12)


def cents(found: float, expected: float) -> float:
    return 1200 * math.log2(found / expected)


def played(*sounds: Sound, rate: int = RATE, a4: float = 440.0) -> Samples:
    return render(sounds, rate, a4).astype(np.float64)


@pytest.mark.parametrize("key", KEYS)
def test_pitch_within_a_tenth_of_a_cent(key: int) -> None:
    """Witness: phase advance of the strongest partial over 1.4 s, no part of the voice."""
    sound = played(Sound(0, 2, key + CENTS))[int(0.3 * RATE) : int(1.9 * RATE)]
    found = fundamental(sound, RATE, hertz(key) * 1.01)
    assert abs(cents(found, hertz(key + CENTS))) < 0.01


@pytest.mark.parametrize("key", KEYS)
def test_pitch_by_praat(key: int) -> None:
    """Witness: Praat's autocorrelation tracker, median over 1.6 s."""
    parselmouth = pytest.importorskip("parselmouth")
    target = hertz(key + CENTS)
    sound = parselmouth.Sound(played(Sound(0, 2, key + CENTS))[int(0.3 * RATE) : -RATE // 4], RATE)
    track = sound.to_pitch_ac(
        pitch_floor=0.6 * target, pitch_ceiling=1.5 * target, very_accurate=True
    ).selected_array["frequency"]
    assert np.mean(track > 0) > 0.95
    assert abs(cents(float(np.median(track[track > 0])), target)) < 0.1


@pytest.mark.parametrize(("rate", "a4"), [(48000, 443.0), (44100, 430.0), (48000, 450.0)])
def test_pitch_at_other_rates_and_reference_pitches(rate: int, a4: float) -> None:
    sound = played(Sound(0, 2, 74), rate=rate, a4=a4)[int(0.3 * rate) : int(1.9 * rate)]
    assert abs(cents(fundamental(sound, rate, hertz(74, a4)), hertz(74, a4))) < 0.01


def drift(
    sound: Samples, curve: Callable[[Samples], Samples], seconds: float
) -> NDArray[np.float64]:
    """Cents by which the fundamental leaves the curve, over the note, window by window.

    The expected phase is integrated by Simpson's rule; the sound turned back by it stands still
    unless the voice's frequency differs.
    """
    at = np.arange(int(seconds * RATE)) / RATE
    frequency = hertz(0) * 2 ** (curve(at) / 12)
    phase = 2 * np.pi * cumulative_simpson(frequency, x=at, initial=0)
    turned = sound[: len(at)] * np.exp(-1j * phase)
    size = int(0.03 * RATE)
    smooth = np.convolve(turned, get_window("blackman", size), "valid")[int(0.1 * RATE) :]
    step = int(0.02 * RATE)
    advance = np.angle(smooth[step:] / smooth[:-step]) / (2 * np.pi * step / RATE)
    middle = frequency[int(0.1 * RATE) + (size + step) // 2 :][: len(advance)]
    return 1200 * np.log2(1 + advance / middle)


CURVES = {
    "a bend pulled down two semitones": lambda t: 79 - 2 / (1 + np.exp(-(t - 0.5) * 20)),
    "a bend released": lambda t: 67 + 1.5 / (1 + np.exp(-(t - 0.4) * 30)),
    "throat vibrato": lambda t: 76 + 0.25 * np.sin(2 * np.pi * 5.5 * t),
    "a fall": lambda t: 84 - 3 * np.clip(t - 0.6, 0, 1) ** 2 * 6,
}


@pytest.mark.parametrize("name", CURVES)
def test_bends_glide_truly(name: str) -> None:
    """Witness: the phase of the curve by Simpson's rule; every moment, not only the ends."""
    curve = CURVES[name]
    off = drift(played(Sound(0, 1.0, curve)), curve, 1.0)
    # Neighbouring partials leak a little into a window this short: the mean judges the pitch,
    # the widest excursion shows that nothing jumps.
    assert abs(np.mean(off)) < 0.1
    assert np.max(np.abs(off)) < 2.0


def test_breakpoints_and_functions_sound_alike() -> None:
    times = np.linspace(0, 1, 401)
    points = [(float(t), float(70 + np.sin(3 * t))) for t in times]
    one = played(Sound(0, 1, points))
    two = played(Sound(0, 1, lambda t: np.interp(t, times, 70 + np.sin(3 * times))))
    assert np.max(np.abs(one - two)) < 1e-5


def test_vibrato_has_its_rate_and_width() -> None:
    """Witness: Praat's pitch track of a 6 Hz vibrato 30 cents either way."""
    parselmouth = pytest.importorskip("parselmouth")
    sound = played(Sound(0, 2, lambda t: 76 + 0.3 * np.sin(2 * np.pi * 6 * t)))
    pitch = parselmouth.Sound(sound, RATE).to_pitch_ac(
        time_step=0.005, pitch_floor=300, pitch_ceiling=1000
    )
    at, track = pitch.xs(), pitch.selected_array["frequency"]
    keep = (at > 0.2) & (at < 1.8) & (track > 0)
    semitones = 69 + 12 * np.log2(track[keep] / 440) - 76
    basis = np.array([f(2 * np.pi * 6 * at[keep]) for f in (np.sin, np.cos, np.ones_like)]).T
    sine, cosine, offset = np.linalg.lstsq(basis, semitones, rcond=None)[0]
    assert math.hypot(sine, cosine) == pytest.approx(0.3, abs=0.02)
    assert abs(offset) < 0.005


@pytest.mark.parametrize("reed", REEDS, ids=lambda reed: str(reed.key))
def test_spectrum_of_the_figures(reed: Reed) -> None:
    """Witness: partials measured from the sound, against the figures measured on real reeds."""
    key, expected = reed.key, np.array(reed.partials)
    sound = played(Sound(0, 2, key))[int(0.3 * RATE) : int(1.9 * RATE)]
    found = partials(sound, RATE, hertz(key), len(expected))
    assert len(expected) >= 9
    assert np.abs(measure_reeds.decibels(found / found.max()) - expected).max() < 1.0


@pytest.mark.parametrize("path", FONTS, ids=lambda path: path.stem)
@pytest.mark.parametrize("key", measure_reeds.KEYS)
def test_spectrum_of_the_reeds(path: Path, key: int) -> None:
    """Witness: both sound fonts, rendered afresh: every partial down to -50 dB within 3 dB.

    The fonts are Debian's fluid-soundfont-gm and musescore-general-soundfont (MIT).
    """
    if not path.exists():
        pytest.skip(f"{path} is not installed")
    figures = measure_reeds.measure(soundfont.read(path), key)
    reed = np.array(figures["partials"])
    sound = played(Sound(0, 2, key))[int(0.3 * RATE) : int(1.9 * RATE)]
    mine = partials(sound, RATE, hertz(key), len(reed))
    heard = reed > -50
    assert heard.sum() >= 7
    assert np.abs(measure_reeds.decibels(mine / mine.max()) - reed)[heard].max() < 3.0


@pytest.mark.parametrize("reed", REEDS, ids=lambda reed: str(reed.key))
def test_breath_is_heard_between_the_partials(reed: Reed) -> None:
    """Octave by octave as measured on that reed, within 3 dB, down to -60 dB of the whole."""
    sound = played(Sound(0, 2, reed.key))[RATE // 2 : RATE // 2 + RATE]
    found = np.array(measure_reeds.breath(sound, RATE, hertz(reed.key)))
    expected = np.array(reed.noise)
    # An octave below the second partial of a high reed has few places between partials.
    heard = (expected > -60) & (np.array(measure_reeds.BANDS[:-1]) >= hertz(reed.key))
    assert heard.any()
    assert np.abs(found - expected)[heard].max() < 3


@pytest.mark.parametrize("key", [53, 64, 79, 88])
def test_attack_follows_the_measured_one(key: int) -> None:
    """The fundamental passes 10 and 90 % within 5 ms of the times read from the figures."""
    sound = played(Sound(0, 1, key))
    ten, ninety = measure_reeds.rise(sound[: RATE // 2], RATE, hertz(key), (1, 1))
    keys = [reed.key for reed in REEDS]
    expected = [np.interp(key, keys, [reed.attack[0][i] for reed in REEDS]) for i in (0, 1)]
    assert ten == pytest.approx(expected[0], abs=0.005)
    assert ninety == pytest.approx(expected[1], abs=0.005)


def bend_of(sound: Samples) -> Samples:
    """Second difference of the samples: a click stands out in it."""
    return np.abs(np.diff(sound, 2))


TUNES = {
    "separate notes": [Sound(n / 4, n / 4 + 0.2, key) for n, key in enumerate((60, 72, 84, 96))],
    "touching notes": [Sound(n / 4, n / 4 + 0.25, key) for n, key in enumerate((67, 67, 69, 60))],
    "very short": [Sound(n / 20, n / 20 + 0.03, 79) for n in range(10)],
    "a chord": [Sound(0.1, 0.6, key) for key in (60, 64, 67, 72)],
    "cut while bending": [Sound(0, 0.3, [(0.0, 74.0), (0.3, 72.0)]), Sound(0.3, 0.6, 71)],
}


@pytest.mark.parametrize("name", TUNES)
def test_no_clicks(name: str) -> None:
    """Where a note begins or ends the samples bend no more sharply than inside the notes."""
    sounds = TUNES[name]
    take = played(*sounds)
    curve = bend_of(take)
    quiet = max(
        float(bend_of(played(Sound(0, 1, note.pitch))[RATE // 3 : RATE // 2]).max())
        for note in sounds
    )
    overlap = 4 if name == "a chord" else 2  # so many notes may sound at once
    for note in sounds:
        for edge in (note.start, note.end):
            at = round(edge * RATE)
            assert curve[max(0, at - 30) : at + 30].max() < 1.1 * overlap * quiet
    first = round(min(note.start for note in sounds) * RATE)
    assert np.abs(take[first : first + 20]).max() < 0.003


@pytest.mark.parametrize("name", TUNES)
def test_silence_at_both_ends(name: str) -> None:
    sounds = TUNES[name]
    take = played(*sounds)
    assert take[0] == 0
    assert not take[-int(0.04 * RATE) :].any()
    assert np.abs(take).max() > 0.05
    begin = round(min(note.start for note in sounds) * RATE)
    assert not take[:begin].any()


def test_nothing_clips_and_the_balance_stays() -> None:
    loud = [Sound(0, 1, key, level=4.0) for key in (60, 64, 67, 72, 76, 79)]
    take = played(*loud)
    assert 0.9 < np.abs(take).max() <= voice.CEILING + 1e-6
    alone = sum(played(note) for note in loud)
    factor = take / np.where(np.abs(alone) > 1e-3, alone, np.nan)
    assert np.nanpercentile(factor, 90) / np.nanpercentile(factor, 10) < 1.5


def test_notes_begin_and_end_when_written() -> None:
    """An onset is a sample's place; after the end the sound has fallen by 20 dB in 45 ms."""
    take = played(Sound(0.5, 1.0, 84))
    assert not take[: int(0.5 * RATE)].any()
    assert np.abs(take[int(0.5 * RATE) :][: int(0.004 * RATE)]).max() > 1e-3
    before = np.abs(take[int(0.9 * RATE) : RATE]).max()
    assert np.abs(take[int(1.045 * RATE) :]).max() < before / 10


def test_level_and_hands_are_heard() -> None:
    """A level curve sets the loudness; closed hands soften the upper partials only."""
    soft, loud = (played(Sound(0, 1, 72, level=level)) for level in (0.25, 1.0))
    assert np.max(np.abs(loud)) / np.max(np.abs(soft)) == pytest.approx(4, rel=0.01)
    hands = [
        partials(played(Sound(0, 1, 72, tone=tone))[RATE // 3 : -RATE // 3], RATE, hertz(72), 8)
        for tone in (0.0, 1.0)
    ]
    change = measure_reeds.decibels(hands[1] / hands[0])
    assert abs(change[0]) < 0.1
    assert change[5] > 11


def test_an_empty_tune_is_silence() -> None:
    assert not render([]).any()


def test_no_partial_folds_back() -> None:
    """Above the highest partial allowed there is nothing to hear: 70 dB down."""
    take = played(Sound(0, 1, 103.0, level=1.0, tone=1.0))[RATE // 3 : -RATE // 3]
    power = np.abs(np.fft.rfft(take * get_window("blackman", len(take)))) ** 2
    frequency = np.fft.rfftfreq(len(take), 1 / RATE)
    nearest = np.round(frequency / hertz(103)) * hertz(103)
    stray = power[(np.abs(frequency - nearest) > 60) & (frequency > 17000)]
    assert 10 * np.log10(stray.max() / power.max()) < -70


def tune_for_speed() -> list[Sound]:
    chance = np.random.default_rng(1)
    sounds, at = [], 0.0
    for number in range(240):
        key, length = float(chance.integers(55, 97)), float(chance.choice([0.125, 0.25, 0.5, 1.0]))
        bend = [(0.0, key - 1), (0.3 * length, key - 1), (0.5 * length, key)]
        sounds.append(Sound(at, at + 0.95 * length, key if number % 3 else bend))
        at += length
    return sounds


def test_rendering_speed(benchmark: BenchmarkFixture) -> None:
    """Reported as a multiple of real time; judged in the long test."""
    sounds = tune_for_speed()
    take = benchmark(render, sounds)
    seconds = len(take) / RATE
    if benchmark.stats:
        benchmark.extra_info["times real time"] = round(seconds / benchmark.stats.stats.median)
    assert seconds > 60


@pytest.mark.long
def test_a_hundred_times_real_time() -> None:
    """Processor time of one core, best of five, with the margin measured (about 250 times)."""
    sounds = tune_for_speed()
    spent = []
    for _ in range(5):
        begin = time.process_time()
        take = render(sounds)
        spent.append(time.process_time() - begin)
    assert len(take) / RATE / min(spent) > 100
