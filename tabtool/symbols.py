"""Accompaniment chord symbols: ``G7``, ``F#m7b5``, ``C/E``; what they sound, and how to comp them.

A symbol is a root, a quality, and after a slash perhaps another bass note. Qualities and their
notes are common practice of the trade (lead-sheet symbols, as in MusicXML's `kind`); pitches are
MIDI numbers, pitch classes count from C = 0.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from tabtool.music import pitch_class

# Semitones above the root. One line a quality, all its usual spellings.
_QUALITIES: tuple[tuple[tuple[str, ...], tuple[int, ...]], ...] = (
    (("", "maj", "M"), (0, 4, 7)),
    (("m", "min", "-"), (0, 3, 7)),
    (("dim", "°", "o"), (0, 3, 6)),
    (("aug", "+"), (0, 4, 8)),
    (("5",), (0, 7)),
    (("sus4", "sus"), (0, 5, 7)),
    (("sus2",), (0, 2, 7)),
    (("6", "maj6"), (0, 4, 7, 9)),
    (("m6", "min6", "-6"), (0, 3, 7, 9)),
    (("7",), (0, 4, 7, 10)),
    (("maj7", "M7", "Δ", "Δ7"), (0, 4, 7, 11)),
    (("m7", "min7", "-7"), (0, 3, 7, 10)),
    (("mmaj7", "mM7", "m(maj7)"), (0, 3, 7, 11)),
    (("m7b5", "ø", "ø7", "min7b5"), (0, 3, 6, 10)),
    (("dim7", "°7", "o7"), (0, 3, 6, 9)),
    (("7sus4", "7sus"), (0, 5, 7, 10)),
    (("aug7", "+7", "7#5"), (0, 4, 8, 10)),
    (("7b5",), (0, 4, 6, 10)),
    (("add9", "add2"), (0, 2, 4, 7)),
    (("9",), (0, 2, 4, 10)),
    (("m9", "min9"), (0, 2, 3, 10)),
    (("maj9", "M9"), (0, 2, 4, 11)),
    (("6/9", "69"), (0, 2, 4, 9)),
    (("7b9",), (0, 1, 4, 10)),
    (("7#9",), (0, 3, 4, 10)),
    (("11",), (0, 2, 5, 10)),
    (("13",), (0, 4, 9, 10)),
)
QUALITIES = {name: notes for names, notes in _QUALITIES for name in names}
SILENT = ("N.C.", "NC", "n.c.")

_SYMBOL = re.compile(r"([A-G])([#b♯♭]?)(.*?)(?:/([A-G])([#b♯♭]?))?$")
LOWEST_BASS = 40  # E2; the bass lies in the octave from here
MIDDLE = 57  # A3; chords are voiced around it, under the tune


class Chord(NamedTuple):
    """A chord: pitch classes from the root up, and the pitch class of the bass."""

    notes: tuple[int, ...]
    bass: int


def parse_symbol(text: str) -> Chord | None:
    """The chord of a symbol; None if it is no symbol known here; no notes for ``N.C.``.

    >>> parse_symbol("F#m7b5")
    Chord(notes=(6, 9, 0, 4), bass=6)
    """
    text = text.strip()
    if text in SILENT:
        return Chord((), 0)
    found = _SYMBOL.match(text)
    if found is None or found[3] not in QUALITIES:
        return None
    root = _class(found[1], found[2])
    bass = root if found[4] is None else _class(found[4], found[5])
    return Chord(tuple((root + step) % 12 for step in QUALITIES[found[3]]), bass)


def _class(letter: str, accidental: str) -> int:
    return pitch_class(letter + accidental.replace("♯", "#").replace("♭", "b"))


def bass_note(chord: Chord) -> int:
    """The bass as a MIDI number, E2 to D#3."""
    return LOWEST_BASS + (chord.bass - LOWEST_BASS) % 12


def voiced(chord: Chord, before: tuple[int, ...] = ()) -> tuple[int, ...]:
    """The chord in close position as MIDI numbers, moving least from the chord `before`.

    Every inversion around MIDDLE is tried; without a chord before, the one nearest to it wins.
    """
    if not chord.notes:
        return ()
    inversions = []
    ordered = sorted(set(chord.notes))
    for turn in range(len(ordered)):
        lowest = ordered[turn]
        base = MIDDLE - 6 + (lowest - (MIDDLE - 6)) % 12
        notes = [base + (note - lowest) % 12 for note in ordered[turn:] + ordered[:turn]]
        inversions += [tuple(notes), tuple(note - 12 for note in notes)]
    centre = sum(before) / len(before) if before else MIDDLE

    def moved(notes: tuple[int, ...]) -> tuple[float, float]:
        mean = sum(notes) / len(notes)
        return abs(mean - centre) + 0.5 * abs(mean - MIDDLE), mean

    return min(inversions, key=moved)
