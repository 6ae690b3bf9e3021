"""What an ABC tune says of the pitch of its notes: key, clef, accidentals and how long they hold.

Clauses named are those of the ABC standard 2.1.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from tabtool.music import FIFTHS, Key, altered
from tabtool.readers.abc_fields import read_key

PIPES = Key("D")  # HP and Hp: the pipes sound F# and C# whether or not the tune prints them
# Of a clef: transpose=-2. Not the accidentals of a key: Dmix=c.
_PROPERTY = re.compile(r"""(?<!\S)([a-z]+)=("[^"]*"|[^\s=]+)""")
_CLEF = re.compile(
    r"(?:treble|alto|tenor|bass|perc|[GCF])?[1-5]?([+-])8|treble|alto|tenor|bass|perc"
)
_ALTERED = re.compile(r"(\^\^|__|\^|_|=)([A-Ga-g])")
_NOTE = re.compile(r"([_^=]*)([A-Ga-g])([,']*)")


class Signature(NamedTuple):
    """What a K: line says of the pitch of notes (3.1.14, 4.6).

    `signs` are the accidentals that hold, by letter; None where the line tells a clef alone.
    `shift` is how many semitones the notes sound above what is written.
    """

    key: Key | None
    signs: dict[str, str] | None
    shift: int = 0
    remark: str = ""


def read_signature(value: str) -> Signature:
    """The value of a K: line, clef and all."""
    shift = read_shift(value)
    text = _PROPERTY.sub("", value.split("%")[0])
    own = {letter.upper(): sign for sign, letter in _ALTERED.findall(text)}
    text = _ALTERED.sub("", text).strip()
    head, _, tail = text.partition(" ")
    clef = _CLEF.fullmatch(head) and head not in ("C", "G", "F")
    tail = " ".join(word for word in tail.split() if not _CLEF.fullmatch(word))
    text = ("" if clef else f"{head} {tail}").strip()
    if re.match(r"H[Pp]", text):
        remark = f"K:{text[:2]} is taken with F# and C#, as pipes sound"
        return Signature(None, _signs(PIPES) | own, shift, remark)
    if re.search(r"\bexp\b", text) or text.lower() == "none" or (own and not text):
        return Signature(None, own, shift)
    if not text:
        return Signature(None, None, shift)
    key = read_key(text[0].upper() + text[1:])
    if key is None:
        remark = f"the key '{text[:20]}' is not understood: no sharps or flats are taken from it"
        return Signature(None, own, shift, remark)
    return Signature(key, _signs(key) | own, shift)


def _signs(key: Key) -> dict[str, str]:
    """The signature of a key, double accidentals where it has more than seven."""
    moved = {letter: altered(key, letter) for letter in FIFTHS}
    return {letter: ("^" if by > 0 else "_") * abs(by) for letter, by in moved.items() if by}


def read_shift(value: str) -> int:
    """Semitones by which a clef, ``octave=`` and ``transpose=`` move what sounds (4.6)."""
    shift = 0
    for name, text in _PROPERTY.findall(value):
        whole = re.fullmatch(r"[+-]?\d{1,2}", text)
        if name in ("octave", "transpose") and whole:
            shift += int(text) * (12 if name == "octave" else 1)
        value = value.replace(text, f" {text} ") if name == "clef" else value
    for word in value.replace('"', " ").split():
        found = _CLEF.fullmatch(word)
        if found and found[1]:
            shift += 12 if found[1] == "+" else -12
            break
    return shift


class Accidentals:
    """The accidentals that hold in a bar, of its notes and of the key.

    One before a note holds to the end of the bar, in all octaves unless the file says
    otherwise (11.3 propagate-accidentals); over the bar line only for a note tied on. Those
    of grace notes hold among them alone: so the old tunes mean them (no source).
    """

    def __init__(self, signs: dict[str, str] | None, reach: str) -> None:
        self.signs = signs or {}
        self.reach = reach
        self.in_bar: dict[tuple[str, int], str] = {}
        self.last: dict[tuple[str, int], str] = {}

    def bar_line(self) -> None:
        self.in_bar = {}

    def of_grace(self, text: str) -> str:
        """Grace notes, each with the accidental that holds for it."""
        in_bar, last = dict(self.in_bar), self.last
        text = self.written_out(text)
        self.in_bar, self.last = in_bar, last
        return text

    def written_out(self, text: str, tied: bool = False) -> str:
        """A note or chord, each note with the accidental that holds for it."""
        before, self.last = self.last, {}

        def one(note: re.Match[str]) -> str:
            sign, letter, marks = note.groups()
            octave = letter.islower() + marks.count("'") - marks.count(",")
            exact = (letter.upper(), octave)
            pitch = exact if self.reach == "octave" else (letter.upper(), 0)
            if sign and self.reach != "not":
                self.in_bar[pitch] = sign
            held = before.get(exact) if tied else None
            sign = sign or held or self.in_bar.get(pitch) or self.signs.get(letter.upper(), "")
            self.last[exact] = sign
            return sign + letter + marks

        return _NOTE.sub(one, text)
