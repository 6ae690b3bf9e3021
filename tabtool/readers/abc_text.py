"""The text of an ABC tune taken apart: bars, and what is said at each of their notes.

How long notes are and what pitch they have is left to music21, which is handed the text
again without anything else (`Voice.notes_only`): its notes stand in the order of ours.
Tuplets and broken rhythms are kept from it: it knows no tuplet of more than nine notes, and
loses a broken rhythm at a grace note, a tie or a dot. Accidentals are written out for it: in
a text that does not name its version it takes none beyond its note.
Clauses named are those of the ABC standard 2.1.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from tabtool.music import FREE, Meter
from tabtool.notation import NoteError, parse_figure
from tabtool.readers import HARP, counted
from tabtool.readers.abc_fields import field, order_of, read_meter, read_tempo
from tabtool.readers.abc_pitch import read_shift, read_signature
from tabtool.readers.abc_voice import Place, Start, Voice, Writing, shared
from tabtool.scores.jumps import sign_of
from tabtool.scores.measures import NO_CHANGE, Change

MOST_RESTS = 500  # bars that one Z rests
_PIECE = re.compile(
    r"""(?P<string>"[^"]*")
      | (?P<inline>\[[A-Za-z]:[^\]]*\])
      | (?P<bar>\.?(?:\[(?=\|)|[|:]|(?<=\|)\])+)(?P<passes>\[?\d\d?(?:[,\-]\d{0,2})*)?
      | \[(?P<ending>\d\d?(?:[,\-]\d{0,2})*)
      | (?P<grace>\{[^}]*\})
      | (?P<old_chord>\+(?!f+\+)(?:[_^=]*[A-Ga-g][,']*[\d/]*-?){2,}\+)
      | (?P<decoration>![^!\s]+!|\+[^+\s]+\+)
      | (?P<note>\[(?:"[^"]*")*[^\]|:0-9"][^\]|]*\]|[_^=]*[A-Ga-g][,']*)
      | (?P<microtone>(?:\^|_)(?:\d+/?\d*|/\d*)(?=[A-Ga-g]))
      | (?P<rest>[zx])
      | (?P<space>y\d*|[\s`$\\!*])
      | (?P<bars_rest>[ZX])(?P<count>\d{0,9})
      | (?P<tuplet>\(\d{1,3}(?::\d{0,4}){0,2})
      | (?P<slur>[()])
      | (?P<sign>[~HIJKLMNOPQRSTUVWuv])
      | (?P<overlay>&)
      | (?P<broken><+|>+)
      | (?P<length>\d*/+\d*|[\d.-])
      | .""",
    re.VERBOSE,
)
_IN_CHORD = re.compile(r"[_^=]*[A-Ga-g][,']*[\d/]*")
_ON_CHORD = re.compile(r"""![^!\s]+!|\+[^+\s]+\+|"[^"]*"|[~HIJKLMNOPQRSTUVWuv]""")
# A chord symbol (4.18), not a word that begins with the letter of a note.
_SYMBOL = re.compile(
    r"[A-G][#b♯♭]?m?"
    r"(?:(?!\s*[a-z])|\s*(?:maj|min|dim|dom|aug|alt|sus|add|no\d|omit)|o(?!\s*[a-z]))|N\.?C"
)
_CARRIED = {"!accent!", "!>!", "!emphasis!", "!staccato!"}  # those music21 passes on


class Scan(NamedTuple):
    """A tune: its voices, its meter at the beginning, and what has no place in a melody.

    `sections` are in the order the head gives, empty where it gives none.
    """

    voices: tuple[Voice, ...]
    meter: Meter
    lost: Counter[str]
    remarks: tuple[str, ...]
    sections: tuple[str, ...]


def scan(text: str) -> Scan:
    """Take one tune apart; it has a line K:."""
    key = re.search(r"^K:.*$", text, re.MULTILINE)
    assert key is not None
    head, body = text[: key.start()], text[key.end() :]
    scanning = _Scanning(head, key[0][2:].strip())
    for line in body.split("\n"):
        if not line.startswith("%"):
            scanning.line(re.sub(r"(?<!\\)%.*", "", line))
    order = field(head, "P")
    sections = order_of(order)
    remarks = scanning.remarks
    if scanning.stray:
        remarks.append(f"signs that mean nothing where they stand: {counted(scanning.stray)}")
    if order and not sections:
        remarks.append(f"the order of sections, P:{order}, is not understood")
    voices = [voice.finished() for voice in scanning.voices.values() if voice.has_notes]
    return Scan(
        tuple(shared(voices)),
        scanning.meter,
        +scanning.lost,  # without the counts of nothing
        tuple(remarks),
        sections,
    )


class _Scanning:
    """One pass over the body of a tune."""

    def __init__(self, head: str, key: str) -> None:
        self.lost: Counter[str] = Counter()
        self.stray: Counter[str] = Counter()
        self.meter = read_meter(field(head, "M")) or FREE
        bar = self.meter.beats and self.meter.beats * self.meter.beat_quarters
        unit = field(head, "L") or ("1/16" if bar and bar < 3 else "1/8")  # 3.1.7
        signature = read_signature(key)
        self.remarks = [signature.remark] if signature.remark else []
        change = Change(tempo=read_tempo(field(head, "Q")), key=signature.key)
        reach = re.search(r"(?m)^(?:%%|I:)propagate-accidentals\s+(not|octave|pitch)", head)
        self.start = Start(unit, reach[1] if reach else "pitch", signature, change)
        self.voices: dict[str, Writing] = {}
        for value in re.findall(r"(?m)^V:(.*)", head):
            self.voice_of(value.strip())
        self.voice = next(iter(self.voices.values()), None) or self.voice_of("1")
        self.defined = set(re.findall(r"(?m)^U:\s*(\S)\s*=", head))  # signs of its own (4.16)
        self.symbol = self.tab = ""
        self.change = NO_CHANGE
        self.now = self.meter

    def line(self, line: str) -> None:
        named = re.match(r"([A-Za-z]):(.*)", line)
        if named:
            self.field(named[1], named[2].strip())
        elif line.strip():
            for voice in self.voices.values():
                voice.line = [] if voice is self.voice else voice.line
            self.sung = 0
            for piece in _PIECE.finditer(line):
                self.piece(piece)
            self.voice.outward += "\n"

    def field(self, letter: str, value: str) -> None:
        if letter == "w":
            self.words(value)
        elif letter == "W":
            self.lost["lines of words under the tune"] += 1
        elif letter == "s":
            self.lost["lines of symbols"] += 1
        elif letter == "K":
            self.key(value)
        elif letter == "N" and HARP.fullmatch(value):
            self.change = self.change._replace(harp=value)
        elif letter == "L":
            self.voice.outward += f"\nL:{value}\n"
        elif letter == "M":
            self.now = read_meter(value) or FREE
            self.voice.change = self.voice.change._replace(meter=self.now)
        elif letter == "Q":
            self.change = self.change._replace(tempo=read_tempo(value) or self.change.tempo)
        elif letter == "P":
            self.change = self.change._replace(section=value)
        elif letter == "V":
            self.voice = self.voice_of(value)

    def key(self, value: str) -> None:
        signature = read_signature(value)
        if signature.remark:
            self.remarks.append(signature.remark)
        if signature.signs is not None:
            change = self.voice.change
            self.voice.change = change._replace(key=signature.key or change.key)
            self.voice.accidentals.signs = signature.signs
        if re.search(r"clef|octave|transpose|[+-]8", value):
            self.voice.shift = signature.shift

    def voice_of(self, value: str) -> Writing:
        """The voice that a V: names, with what it says of it (7.1)."""
        name = value.split()[0] if value else "1"
        voice = self.voices.setdefault(name, Writing(name, self.start))
        called = re.search(r'\b(?:name|nm)="([^"]*)"', value)
        if called:
            voice.name = called[1]
        if re.search(r"clef|octave|transpose|[+-]8", value):
            voice.shift = read_shift(value)
        return voice

    def piece(self, piece: re.Match[str]) -> None:
        kind, text = piece.lastgroup, piece[0]
        if kind in ("passes", "bar"):
            self.voice.overlaid = False
            if "|" in text or "::" in text:
                self.lost["broken rhythms without a second note"] += bool(self.voice.broken)
                self.voice.broken = ""
                self.voice.bar_line(piece["bar"].lstrip("."), piece["passes"] or "")
                self.voice.outward += " | "
        elif self.voice.overlaid:
            pass
        elif kind == "ending":
            self.voice.ending(piece["ending"])
        elif kind == "string":
            self.string(text[1:-1])
        elif kind == "inline":
            self.field(text[1], text[3:-1].strip())
        elif kind == "decoration":
            sign = sign_of(text[1:-1])
            if sign:
                self.voice.signs.append(sign)
            elif text in _CARRIED:
                self.voice.outward += text
            else:
                self.lost["decorations"] += 1
        elif kind == "sign":
            sign = sign_of({"S": "segno", "O": "coda"}.get(text, ""))  # 4.14
            if sign:
                self.voice.signs.append(sign)
            else:
                self.lost["bowing marks" if text in "uv" else "decorations"] += 1
        elif kind == "slur":
            self.lost["slurs"] += text == "("
        elif kind == "overlay":  # 7.4: what follows sounds with the bar so far
            self.lost["second voices within a bar (&), left out"] += 1
            self.voice.overlaid = True
        elif kind in ("note", "old_chord"):
            self.voice.line.append(len(self.voice.places))
            tied = bool(self.voice.places) and self.voice.places[-1].ties
            bare = self.chord(text) if text[0] in "[+" else text
            self.voice.outward += self.voice.accidentals.written_out(bare, tied)
            self.place(False)
            if "-" in text:
                self.tie()
        elif kind == "rest":
            self.voice.outward += "z"
            self.place(True)
        elif kind in ("bars_rest", "count"):
            self.bars_rest(piece["count"])
        elif text == "-":
            self.tie()
        elif kind == "tuplet":
            self.tuplet(text)
        elif kind == "broken":
            self.voice.broken = text
        elif kind == "grace":
            self.voice.outward += self.voice.accidentals.of_grace(text)
        elif kind == "length":
            self.voice.outward += _halves(text)
        elif kind == "space":
            self.voice.outward += " "
        elif kind == "microtone":
            self.lost["signs of quarter tones and the like, read without"] += 1
        elif text in self.defined:
            self.lost["decorations"] += 1
        else:
            self.stray[text] += 1

    def bars_rest(self, count: str) -> None:
        """Bars of rest (4.5); within a bar, where there is no place for them, a rest like z."""
        if len(self.voice.places) > self.voice.start:
            self.lost["rests of whole bars within a bar (Z), read as z"] += 1
            self.voice.outward += f"z{count}"
            self.place(True)
            return
        bars = int(count or 1)
        if bars > MOST_RESTS:
            self.lost[f"bars of rest past the first {MOST_RESTS} of a Z"] += bars - MOST_RESTS
        for index in range(min(bars, MOST_RESTS)):
            if index:
                self.voice.bar_line("|", "")
                self.voice.outward += " | "
            self.voice.outward += "z"
            self.place(True, whole_bar=True)

    def chord(self, text: str) -> str:
        """The notes of a chord alone (4.17); ABC before 2.0 has them between ``+``."""
        bare, signs = _ON_CHORD.subn("", text[1:-1])
        self.lost["decorations"] += signs
        return f"[{''.join(_halves(note) for note in _IN_CHORD.findall(bare))}]"

    def tuplet(self, text: str) -> None:
        """``(p:q:r``: p notes in the time of q, for the next r notes (4.13)."""
        numbers = [int(part) if part else 0 for part in text[1:].split(":")]
        actual, normal, count = (*numbers, 0, 0)[:3]
        if not actual:
            self.lost["tuplets of no notes"] += 1
            return
        by_meter = 3 if self.now.beats and self.now.beat_quarters.numerator == 3 else 2
        usual = {1: 1, 2: 3, 3: 2, 4: 3, 6: 2, 8: 3}.get(actual, by_meter)
        self.voice.ratio = Fraction(normal or usual, actual)
        self.voice.tuplet_left = count or actual

    def ratio(self) -> Fraction:
        """What part of its written length the next note lasts."""
        ratio = self.broken()
        if not self.voice.tuplet_left:
            return ratio
        self.voice.tuplet_left -= 1
        return ratio * self.voice.ratio

    def broken(self) -> Fraction:
        """``>`` gives half of the next note to the one before, ``>>`` three quarters (4.4)."""
        voice = self.voice
        sign, voice.broken = voice.broken, ""
        if not sign or len(voice.places) == voice.start:
            return Fraction(1)
        less = Fraction(1, 2 ** len(sign))
        before, after = (2 - less, less) if sign[0] == ">" else (less, 2 - less)
        voice.places[-1] = voice.places[-1]._replace(ratio=voice.places[-1].ratio * before)
        return after

    def place(self, rest: bool, whole_bar: bool = False) -> None:
        self.voice.places.append(
            Place(
                rest, self.symbol, self.tab, (), self.change.over(self.voice.change), whole_bar,
                ratio=self.ratio(), signs=self.voice.taken_signs(), shift=self.voice.shift,
            )
        )  # fmt: skip
        self.voice.change = NO_CHANGE
        self.symbol = self.tab = ""
        self.change = NO_CHANGE

    def tie(self) -> None:
        if self.voice.places:
            self.voice.places[-1] = self.voice.places[-1]._replace(ties=True)

    def string(self, text: str) -> None:
        """A chord symbol, or an annotation (4.18, 4.19), which may be tab."""
        sign = sign_of(text.lstrip("^_<>@"))
        if sign:
            self.voice.signs.append(sign)
            return
        if _SYMBOL.match(text):
            self.lost["chord symbols with no note of their own"] += bool(self.symbol)
            self.symbol = text
            return
        if not text.startswith(("^", "_", "<", ">", "@")):
            self.lost["fingerings and words in the place of chord symbols"] += 1
            return
        token = ",".join(text[1:].split())  # spaces stand between the grace notes of a tab
        try:
            parse_figure(token)
        except NoteError:
            self.lost["words over the staff"] += 1
        else:
            self.tab = token

    def words(self, value: str) -> None:
        """Put the syllables of a w: line to the notes of the line of music above (5.1)."""
        voice, at = self.voice, 0
        for syllable in _syllables(value):
            if syllable == "|":
                ends = [end for end, _ in voice.bar_ends]
                if at and at < len(voice.line):
                    here = voice.line[at - 1]
                    end = next((end for end in ends if end > here), len(voice.places))
                    while at < len(voice.line) and voice.line[at] < end:
                        at += 1
                continue
            if at >= len(voice.line):
                self.lost["syllables with no note to sing them to"] += 1
                return
            place = voice.places[voice.line[at]]
            words = (*place.words, *[""] * (self.sung - len(place.words)), syllable)
            voice.places[voice.line[at]] = place._replace(words=words)
            at += 1
        self.sung += 1


def _syllables(value: str) -> Iterator[str]:
    """The syllables of a w: line: ``-`` joins, ``_`` holds on, ``*`` leaves out."""
    for word in re.findall(r"\||[^\s|]+", value.replace("\\-", "\u2011")):
        if word == "|":
            yield word
            continue
        for piece in re.findall(r"[^-_*]+-?|[-_*]", word):
            text = piece.replace("~", " ").replace("\u2011", "-")
            yield {"*": "", "-": "_"}.get(text, text)


def _halves(text: str) -> str:
    """A length with more than one slash, of which each halves (4.3), as music21 reads it."""
    return re.sub(r"//+(\d*)", lambda m: f"/{2 ** (m[0].count('/') - 1) * int(m[1] or 2)}", text)
