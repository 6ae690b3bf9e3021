"""Keys and chord symbols when the sound moves, in semitones, and how they are spelled then."""

from __future__ import annotations

import re

from tabtool.music import Key, spell_class
from tabtool.symbols import SILENT, parse_symbol

_ROOT = re.compile(r"(^|/)([A-G])([#b♯♭]?)")


def interval_to(key: Key, tonic: int) -> int:
    """The smallest move, in semitones (-5 to 6), from a key to one on that pitch class.

    >>> interval_to(Key("G"), 4), interval_to(Key("C"), 9), interval_to(Key("C"), 6)
    (-3, -3, 6)
    """
    return (tonic - key.pitch_class + 5) % 12 - 5


def moved_key(key: Key, semitones: int) -> Key:
    """A key moved by semitones, spelled with the fewest sharps or flats.

    Six of either are told apart by what the old key has, sharps where it has none.

    >>> [str(moved_key(key, 1)) for key in (Key("C"), Key("A", "minor"), Key("F"), Key("E"))]
    ['Db', 'Bb minor', 'Gb', 'F']
    """
    if semitones % 12 == 0:
        return key
    pc = (key.pitch_class + semitones) % 12
    names = [Key(letter + sign, key.mode) for letter in "CDEFGAB" for sign in ("", "#", "b")]
    flats = key.fifths < 0
    return min(
        (name for name in names if name.pitch_class == pc),
        key=lambda name: (abs(name.fifths), (name.fifths < 0) != flats),
    )


def moved_symbol(text: str, semitones: int, key: Key) -> str | None:
    """A chord symbol moved, as the new `key` spells it; None if it is not understood.

    >>> moved_symbol("Am7/G", 2, Key("D")), moved_symbol("N.C.", 2, Key("D"))
    ('Bm7/A', 'N.C.')
    """
    text = text.strip()
    if text in SILENT:
        return text
    if parse_symbol(text) is None:
        return None

    def root(found: re.Match[str]) -> str:
        letter, sign = found[2], found[3].replace("♯", "#").replace("♭", "b")
        return found[1] + spell_class((Key(letter + sign).pitch_class + semitones) % 12, key)

    return _ROOT.sub(root, text)
