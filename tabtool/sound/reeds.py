"""Figures of real reeds, by register: partial levels, attack, breath, release.

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


NOISE_BANDS = (250, 500, 1000, 2000, 4000, 8000, 16000)
# Time constant of the fall after a note's end, in seconds.
RELEASE = 0.017

# fmt: off
REEDS: tuple[Reed, ...] = (
    Reed(48, 1.7, (
        0.0, -5.9, -6.5, -21.6, -14.3, -6.7, -14.9, -12.2, -14.7, -16.0, -15.2, -29.5,
        -19.5, -34.9, -14.9, -30.4, -16.7, -24.9, -23.1, -28.9, -27.4, -26.4, -20.9, -28.3,
        -23.8, -44.2, -23.7, -38.6, -26.5, -42.1, -29.5, -38.8, -37.4, -62.1, -37.1, -52.7,
        -40.6, -47.4, -40.4, -40.8, -43.5, -44.7, -50.6, -44.4, -47.0, -48.7, -53.8, -54.3,
        -50.4, -55.5
    ), ((0.025, 0.086), (0.029, 0.131), (0.046, 0.142)),
       (-56.2, -52.4, -52.0, -48.8, -54.5, -71.6)),
    Reed(64, -1.9, (
        0.0, -5.9, -6.4, -21.4, -13.9, -6.3, -14.7, -12.4, -15.2, -17.0, -17.1, -33.3,
        -23.3, -39.7, -20.5, -38.0, -24.9, -34.4, -33.6, -40.6, -40.8, -40.4, -36.0, -44.1,
        -40.7, -62.9, -42.4, -57.3, -46.3, -63.4, -51.2
    ), ((0.006, 0.031), (0.008, 0.051), (0.018, 0.054)),
       (-58.2, -57.9, -53.1, -52.7, -52.5, -58.4)),
    Reed(67, -1.2, (
        0.0, -5.7, -5.7, -9.8, -13.4, -9.8, -26.0, -26.7, -25.4, -14.4, -14.8, -11.0, -23.8,
        -20.2, -31.5, -30.2, -33.8, -34.5, -45.6, -41.5, -47.7, -40.2, -44.3, -45.1, -52.4,
        -46.5, -54.0, -47.4, -49.5, -53.9, -52.4, -57.3
    ), ((0.011, 0.041), (0.022, 0.072), (0.025, 0.071)),
       (-53.1, -57.5, -56.2, -50.2, -48.3, -53.2)),
    Reed(72, 1.3, (
        -9.7, -22.2, 0.0, -13.1, -11.3, -21.9, -10.5, -21.0, -22.4, -27.6, -27.9, -25.6,
        -25.2, -41.2, -27.5, -40.0, -29.8, -38.2, -39.5, -50.5, -53.8, -51.1, -49.6
    ), ((0.010, 0.027), (0.017, 0.043), (0.021, 0.054)),
       (-60.5, -58.0, -51.1, -47.4, -46.6, -50.9)),
    Reed(76, -0.2, (
        -9.5, -16.7, 0.0, -15.7, -10.1, -23.1, -10.2, -22.4, -21.3, -27.6, -27.4, -25.3,
        -43.7, -35.9, -34.2, -48.5, -41.2, -54.7, -50.3, -63.6, -55.7, -55.3, -58.2
    ), ((0.002, 0.011), (0.006, 0.018), (0.008, 0.031)),
       (-54.3, -48.8, -47.2, -45.5, -36.3, -49.0)),
    Reed(79, 1.4, (
        -7.0, 0.0, -4.2, -25.5, -13.9, -15.9, -13.5, -24.8, -24.1, -39.4, -33.0, -45.3,
        -33.3, -48.0, -61.1, -53.6, -49.8
    ), ((0.002, 0.010), (0.006, 0.023), (0.007, 0.023)),
       (-69.8, -57.4, -51.8, -48.3, -46.5, -64.9)),
    Reed(84, -0.7, (
        0.0, -11.8, -7.9, -6.1, -3.7, -20.7, -19.0, -37.7, -30.1, -43.2, -38.3, -52.6, -53.6
    ), ((0.002, 0.024), (0.004, 0.041), (0.006, 0.020)),
       (-49.8, -57.9, -42.3, -45.5, -46.5, -45.1)),
    Reed(88, -0.3, (
        0.0, -11.6, -8.8, -7.8, -7.3, -26.7, -32.3, -56.5, -51.2
    ), ((0.004, 0.041), (0.007, 0.054), (0.013, 0.056)),
       (-77.1, -67.6, -43.8, -38.9, -46.9, -44.4)),
)
# fmt: on
