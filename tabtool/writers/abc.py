"""ABC (standard 2.1): the tune in letters, its tab as annotations, which are not played.

Unit length is an eighth. Accidentals are written out again wherever an earlier one in
the bar could be thought to hold on, whichever of the standard's ways a program follows.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from itertools import pairwise

from tabtool.music import ACCIDENTALS, FREE, Key, Meter, altered, spell
from tabtool.scores.measures import Change, Measure, Sounded
from tabtool.scores.staff import Staff
from tabtool.scores.values import Value, values
from tabtool.symbols import parse_symbol

UNIT = Fraction(1, 2)  # quarter notes
BARS_A_LINE = 4
_MODES = {
    "major": "", "minor": "m", "dorian": "dor", "phrygian": "phr", "lydian": "lyd",
    "mixolydian": "mix", "locrian": "loc",
}  # fmt: skip
_SIGNS = {-2: "__", -1: "_", 0: "=", 1: "^", 2: "^^"}


def write(staff: Staff, tab: bool = True) -> bytes:
    """The tune as ABC text."""
    return _Writing(staff, tab).text().encode()


def lost(staff: Staff) -> list[str]:
    """What ABC does not say of a tune."""
    pitches = [p for m in staff.melody.measures for n in m.notes for p in n.pitches]
    quarter = sum(1 for pitch in pitches if pitch % 1)
    said = [f"{quarter} quarter tones are written a quarter tone lower"] if quarter else []
    if any(m.change.feel for m in staff.melody.measures):
        said.append("the feel is not written: ABC plays the rhythm straight")
    symbols = [text for m in staff.melody.measures for _, text in m.symbols]
    other = sorted({text for text in symbols if _symbol(text) != text})
    if other:
        said.append(f"written as ABC spells them: {', '.join(map(_both, other))}")
    return said


def _both(symbol: str) -> str:
    return f"{symbol} as {_symbol(symbol)}"


class _Writing:
    def __init__(self, staff: Staff, tab: bool) -> None:
        self.melody = staff.melody
        self.tab = tab
        self.key = staff.spelling  # names the notes
        self.signature = Key("C")  # in force: none until a key is said
        self.touched: set[str] = set()  # letters with an accidental in this bar

    def text(self) -> str:
        melody = self.melody
        measures = [_cut(measure) for measure in melody.measures]
        first = measures[0].change if measures else Change()
        lines = ["X:1", f"T:{melody.title or 'Untitled'}"]
        if melody.composer:
            lines.append(f"C:{melody.composer}")
        if first.harp:
            lines.append(f"N:{first.harp}")
        meter = measures[0].meter if measures else FREE
        lines += [f"M:{_meter(meter)}", "L:1/8"]
        if first.tempo is not None:
            lines.append(f"Q:{_tempo(first.tempo, meter)}")
        lines.append(f"K:{_key(first.key) if first.key else 'none'}")
        if first.section:
            lines.append(f"P:{_plain(first.section)}")
        line: list[str] = []
        bars: list[int] = []
        for index, measure in enumerate(measures):
            changes = self.changes(measure) if index else []
            if changes or len(bars) == BARS_A_LINE:
                lines += [" ".join(line), *self.words(measures, bars), *changes]
                line, bars = [], []
            before = measures[index - 1] if index else None
            if not bars:
                line.append(_opening(measure, before))
            after = measures[index + 1] if index + 1 < len(measures) else None
            line.append(self.bar(measure, after))
            bars.append(index)
            ends = after is None or len(bars) == BARS_A_LINE or bool(self.changes(after))
            line.append(_closing(measure, None if ends else after))
        lines += [" ".join(line), *self.words(measures, bars)]
        return "\n".join(lines) + "\n"

    def changes(self, measure: Measure) -> list[str]:
        change = measure.change
        lines = []
        if change.section:
            lines.append(f"P:{_plain(change.section)}")
        if change.harp:
            lines.append(f"N:{change.harp}")
        if change.meter is not None:
            lines.append(f"M:{_meter(change.meter)}")
        if change.tempo is not None:
            lines.append(f"Q:{_tempo(change.tempo, measure.meter)}")
        if change.key is not None:
            lines.append(f"K:{_key(change.key)}")
        return lines

    def bar(self, measure: Measure, after: Measure | None) -> str:
        if measure.change.key is not None:
            self.key = self.signature = measure.change.key
        self.touched = set()
        symbols = dict(measure.symbols)
        printed = values(measure)
        beat = measure.meter.beat_quarters
        texts: list[str] = []
        for place, value in enumerate(printed):
            text = ""
            if value.opens:
                group = 1
                while not printed[place + group - 1].closes:
                    group += 1
                text += f"({value.actual}:{value.normal}:{group}"
            if value.onset in symbols:
                text += f'"{_symbol(symbols[value.onset])}"'
            following = printed[place + 1].note if place + 1 < len(printed) else None
            if following is None and after is not None and after.notes:
                following = after.notes[0]
            goes_on = not value.last or (following is not None and following.tied)
            text += self.value(value, goes_on and bool(value.note.pitches))
            apart = value.onset and value.onset % beat == 0
            texts.append(" " + text if apart else text)
        return "".join(texts)

    def value(self, value: Value, goes_on: bool) -> str:
        note = value.note
        struck = value.first and not note.tied and bool(note.pitches)
        text = ""
        if struck:
            if note.grace:
                text += "{" + "".join(self.letter(pitch) for pitch in note.grace) + "}"
            if self.tab and note.tab:
                # Grace notes stand apart by spaces: music21 takes words with a comma for chords.
                text += f'"^{note.tab.replace(",", " ")}"'
            text += "!accent!" * note.marks.accent + "." * note.marks.staccato
        letters = [self.letter(pitch) for pitch in note.pitches]
        text += f"[{''.join(letters)}]" if len(letters) > 1 else letters[0] if letters else "z"
        shown = value.duration * value.actual / value.normal / UNIT
        if shown != 1:
            over = "" if shown.numerator == 1 else str(shown.numerator)
            text += over + (f"/{shown.denominator}" if shown.denominator > 1 else "")
        return text + "-" * goes_on

    def letter(self, pitch: float) -> str:
        name = spell(math.floor(pitch), self.key)
        found = re.fullmatch(r"([A-G])([#b]*)(-?\d+)", name)
        assert found is not None
        step, alter, octave = found[1], ACCIDENTALS[found[2]], int(found[3])
        sign = ""
        if alter != altered(self.signature, step) or step in self.touched:
            sign = _SIGNS[alter]
            self.touched.add(step)
        letter = step.lower() if octave >= 5 else step
        return sign + letter + "'" * (octave - 5) + "," * (4 - octave)

    def words(self, measures: list[Measure], bars: list[int]) -> list[str]:
        notes = [v for i in bars for v in values(measures[i]) if v.note.pitches]
        verses = max((len(v.note.lyrics) for v in notes), default=0)
        lines = []
        for verse in range(verses):
            text = ""
            for value in notes:
                struck = value.first and not value.note.tied
                said = value.note.lyrics[verse] if verse < len(value.note.lyrics) else ""
                text += _syllable(said) if struck else "_ "
            lines.append(f"w:{text}".rstrip())
        return lines


def _syllable(text: str) -> str:
    if text in ("", "*"):
        return "* "
    if text == "_":
        return "_ "
    within = text.removesuffix("-").replace("-", "\\-").replace("‿", "~").replace(" ", "~")
    return within + ("-" if text.endswith("-") and len(text) > 1 else " ")


def _symbol(text: str) -> str:
    """A chord symbol in ABC's own signs (4.18): a minus read behind a root could be a flat."""
    if parse_symbol(text) is None:
        return text
    return re.sub(r"^([A-G][#b]?)-", r"\1m", text.replace("♯", "#").replace("♭", "b"))


def _cut(measure: Measure) -> Measure:
    """The bar with its notes cut, and tied, where a chord symbol begins."""
    places = sorted(at for at, _ in measure.symbols)
    notes: list[Sounded] = []
    for note in measure.notes:
        end = note.onset + note.duration
        cuts = [note.onset, *(at for at in places if note.onset < at < end), end]
        for start, stop in pairwise(cuts):
            piece = note._replace(onset=start, duration=stop - start)
            if start > note.onset:
                piece = Sounded(start, stop - start, note.pitches, bool(note.pitches))
            notes.append(piece)
    return measure._replace(notes=tuple(notes))


def _opening(measure: Measure, before: Measure | None) -> str:
    """The bar line at the beginning of a line, where one is needed."""
    return ("|:" if measure.opens else "") + _ending(measure, before)


def _ending(measure: Measure, before: Measure | None) -> str:
    begins = measure.endings and (
        before is None or before.endings != measure.endings or before.closes
    )
    return f"[{measure.endings[0]}" if begins else ""


def _closing(measure: Measure, after: Measure | None) -> str:
    """The bar line behind a bar; it says what begins after it too, within a line."""
    opens = after is not None and after.opens
    ending = _ending(after, measure).replace("[", "") if after is not None else ""
    if measure.closes:
        line = "::" if opens else ":|"
    elif opens:
        line = "|:"
    else:
        line = "|]" if measure.final else "||" if measure.double else "|"
    if ending:
        return line + (ending if line in ("|", ":|") else f" [{ending}")
    return line


def _meter(meter: Meter) -> str:
    return "none" if meter == FREE else meter.text


def _key(key: Key) -> str:
    return key.tonic + _MODES[key.mode]


def _tempo(quarters: Fraction, meter: Meter) -> str:
    beat = meter.beat_quarters / 4
    shown = f"{float(quarters / meter.beat_quarters):.3f}".rstrip("0").rstrip(".")
    return f"{beat.numerator}/{beat.denominator}={shown}"


def _plain(text: str) -> str:
    return " ".join(text.split())
