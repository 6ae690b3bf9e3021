"""Measure the sampled harmonica reeds of General MIDI sound fonts; print tabtool/reeds.py.

    python tests/measure_reeds.py FONT.sf2 [FONT.sf3 …] > reeds.py

Each font plays its harmonica (program 22 from 0) at the keys its reeds were recorded at, without
reverberation or chorus; figures of several fonts are averaged, in decibels or in time. Only the
figures are kept, never a sample. `test_voice.py` measures again where the fonts are installed.
"""

from __future__ import annotations

import io
import itertools
import sys
import textwrap
from pathlib import Path

import mido
import numpy as np
from numpy.typing import NDArray

from tabtool.sound import soundfont

KEYS = (48, 64, 67, 72, 76, 79, 84, 88)  # the reeds recorded: C3 E4 G4 C5 E5 G5 C6 E6
FONTS = (
    Path("/usr/share/sounds/sf2/FluidR3_GM.sf2"),
    Path("/usr/share/sounds/sf3/MuseScore_General_Full.sf3"),
)  # Debian's fluid-soundfont-gm and musescore-general-soundfont
FLOOR = -60.0  # dB below the strongest partial: the recordings' own floor begins here
BANDS = (250, 500, 1000, 2000, 4000, 8000, 16000)  # edges of the octaves breath noise is given in
GROUPS = ((1, 1), (2, 4), (5, 12))

Samples = NDArray[np.float64]


def one_note(key: int, seconds: float) -> bytes:
    """A MIDI file of one dry harmonica note, half a second of silence after it."""
    file = mido.MidiFile(ticks_per_beat=480)  # 120 beats a minute: 960 ticks a second
    track = mido.MidiTrack([mido.Message("program_change", program=soundfont.HARMONICA)])
    for control, value in ((91, 0), (93, 0), (7, 127), (11, 127)):
        track.append(mido.Message("control_change", control=control, value=value))
    track.append(mido.Message("note_on", note=key, velocity=100))
    track.append(mido.Message("note_off", note=key, time=round(960 * seconds)))
    track.append(mido.Message("control_change", control=3, time=480))
    file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def fundamental(sound: Samples, rate: float, near: float) -> float:
    """Frequency in Hz from the phase advance of the strongest low partial, window by window."""
    hertz = near
    for length in (0.02, 0.07, 0.25, 0.7):
        window = np.hanning(min(int(length * rate), len(sound) // 2))
        size = len(window)
        time = np.arange(2 * size) / rate
        turns = [
            np.exp(-2j * np.pi * hertz * order * time) * sound[: 2 * size] for order in (1, 2, 3)
        ]
        first = [np.sum(window * turn[:size]) for turn in turns]
        best = int(np.argmax(np.abs(first)))
        second = np.sum(window * turns[best][size:])
        advance = float(np.angle(second / first[best]))
        hertz += advance / (2 * np.pi * size / rate) / (best + 1)
    return hertz


def partials(sound: Samples, rate: float, hertz: float, count: int) -> Samples:
    """Amplitudes of the first `count` partials of a steady sound."""
    window = np.hanning(len(sound))
    turn = -2j * np.pi * hertz * np.arange(len(sound)) / rate
    return np.array(
        [
            2 * abs(np.sum(window * sound * np.exp(order * turn))) / window.sum()
            for order in range(1, count + 1)
        ]
    )


def decibels(ratio: float | Samples) -> Samples:
    return np.asarray(20 * np.log10(np.maximum(ratio, 1e-9)))


def rise(sound: Samples, rate: float, hertz: float, group: tuple[int, int]) -> tuple[float, float]:
    """Seconds from the start at which a group of partials reaches 10 % and 90 % of its height."""
    width = round(rate * (2 if hertz < 400 else 3) / hertz)
    time = np.arange(len(sound)) / rate
    power = np.zeros(len(sound) - width + 1)
    for order in range(group[0], group[1] + 1):
        if order * hertz < rate / 2.2:
            turned = sound * np.exp(-2j * np.pi * hertz * order * time)
            sums = np.concatenate([[0], np.cumsum(turned)])
            power += np.abs(sums[width:] - sums[:-width]) ** 2
    level = np.sqrt(power)
    top = level[int(0.05 * rate) : int(0.3 * rate)].max()
    times = [(int(np.argmax(level > part * top)) + width / 2) / rate for part in (0.1, 0.9)]
    return times[0], times[1]


def breath(sound: Samples, rate: float, hertz: float) -> list[float]:
    """Power between the partials, octave by octave, in dB of the whole sound's power."""
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    frequency = np.fft.rfftfreq(len(sound), 1 / rate)
    between = np.abs(frequency / hertz - np.round(frequency / hertz)) * hertz > 25
    levels = []
    for low, high in itertools.pairwise(BANDS):
        band = (frequency >= low) & (frequency < high)
        mean = power[band & between].mean() if (band & between).any() else 0.0
        levels.append(float(decibels(np.sqrt(mean * band.sum() / power.sum()))))
    return levels


def measure(font: bytes, key: int) -> dict[str, list[float]]:
    """All figures of one reed: level, partials, attack (six times), noise (by octave), release."""
    stereo, rate = soundfont.render(font, one_note(key, 3.0))
    sound = stereo.mean(axis=1).astype(np.float64)
    steady = sound[int(0.8 * rate) : int(2.8 * rate)]
    hertz = fundamental(steady, rate, 440 * 2 ** ((key - 69) / 12))
    levels = partials(steady, rate, hertz, int(0.4 * rate / hertz))
    # The recordings last about 0.37 s before their loop; later there is no breath to measure.
    attack = [time for group in GROUPS for time in rise(sound[: rate // 2], rate, hertz, group)]
    after = [
        np.sqrt(np.mean(sound[int((3 + at) * rate) :][: int(0.02 * rate)] ** 2))
        for at in (0.02, 0.08)
    ]
    return {
        "level": [float(decibels(np.sqrt(np.mean(steady**2))))],
        "partials": list(decibels(levels / levels.max())),
        "attack": attack,
        "noise": breath(sound[int(0.15 * rate) : int(0.35 * rate)], rate, hertz),
        "release": [0.06 / float(np.log(after[0] / after[1]))],
    }


HEADER = '''"""Figures of real reeds, by register: partial levels, attack, breath, release.

Measured by tests/measure_reeds.py on the sampled harmonica (program 22 from 0) of two General
MIDI sound fonts, both under the MIT licence: Fluid R3 by F. Wen (Debian fluid-soundfont-gm 3.1)
and MuseScore General by S. C. Collins (Debian musescore-general-soundfont 0.2.1). Both hold the
same eight reeds; their figures are averaged. Of breath, the quieter font counts (the other is
lossily compressed). No sample is part of this program.

Levels are in dB, times in seconds, keys in MIDI numbers.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reed:
    """One measured reed.

    `level`: of the whole sound, relative to the mean of the reeds. `partials`: from the
    fundamental up, relative to the strongest; the list ends where nothing above -60 dB follows.
    `attack`: for partials 1, 2-4 and from 5 on, when each reaches 10 % and 90 % of its height.
    `noise`: of the breath between the partials, relative to the whole sound, in the octaves
    of NOISE_BANDS (edges in Hz).
    """

    key: int
    level: float
    partials: tuple[float, ...]
    attack: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    noise: tuple[float, ...]

'''


def main(paths: list[Path]) -> None:
    fonts = [soundfont.read(path) for path in paths]
    found = {key: [measure(font, key) for font in fonts] for key in KEYS}
    mean = np.mean([figures["level"][0] for row in found.values() for figures in row])
    release = np.mean([figures["release"][0] for row in found.values() for figures in row])
    out = [HEADER, f"NOISE_BANDS = {BANDS}",
           "# Time constant of the fall after a note's end, in seconds.",
           f"RELEASE = {release:.3f}", "", "# fmt: off",
           "REEDS: tuple[Reed, ...] = ("]  # fmt: skip
    for key, row in found.items():
        count = min(len(figures["partials"]) for figures in row)
        levels = np.mean([figures["partials"][:count] for figures in row], axis=0)
        last = int(np.nonzero(levels > FLOOR)[0][-1]) + 1
        shown = ", ".join(f"{max(level, FLOOR - 20):.1f}" for level in levels[:last])
        times = np.mean([figures["attack"] for figures in row], axis=0)
        pairs = ", ".join(f"({times[i]:.3f}, {times[i + 1]:.3f})" for i in (0, 2, 4))
        noise = ", ".join(
            f"{level:.1f}" for level in np.min([figures["noise"] for figures in row], axis=0)
        )
        level = np.mean([figures["level"][0] for figures in row]) - mean
        out.append(f"    Reed({key}, {level:.1f}, (")
        out += textwrap.wrap(shown, 92, initial_indent=" " * 8, subsequent_indent=" " * 8)
        out.append(f"    ), ({pairs}),")
        out.append(f"       ({noise})),")
    print("\n".join([*out, ")", "# fmt: on"]))


if __name__ == "__main__":
    main([Path(argument) for argument in sys.argv[1:]] or list(FONTS))
