"""MusicXML 4.0: the tune on a staff, its tab as a line of words or as technical text.

Tab is written in our notation, so that it can be read back. The instrument is the
standard's ``wind.reed.harmonica`` (sounds.xml), General MIDI program 23 counted from 1.
"""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree
from enum import StrEnum
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from tabtool.music import ACCIDENTALS, FREE, spell
from tabtool.scores.measures import Change, Measure, Sounded
from tabtool.scores.staff import Staff
from tabtool.scores.values import TYPES, Value, values
from tabtool.symbols import SILENT

DOCTYPE = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC '
    '"-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
SOUND, PROGRAM = "wind.reed.harmonica", 23
TAB = "tab"  # the name of the lyric line that carries the tab

# Chord symbol endings and the standard's words for them (kind-value).
KINDS = {
    "": "major", "maj": "major", "M": "major", "m": "minor", "min": "minor", "-": "minor",
    "7": "dominant", "maj7": "major-seventh", "M7": "major-seventh", "m7": "minor-seventh",
    "min7": "minor-seventh", "-7": "minor-seventh", "6": "major-sixth", "m6": "minor-sixth",
    "dim": "diminished", "o": "diminished", "°": "diminished", "dim7": "diminished-seventh",
    "o7": "diminished-seventh", "aug": "augmented", "+": "augmented", "aug7": "augmented-seventh",
    "+7": "augmented-seventh", "m7b5": "half-diminished", "ø": "half-diminished",
    "ø7": "half-diminished", "mmaj7": "major-minor", "mM7": "major-minor", "9": "dominant-ninth",
    "maj9": "major-ninth", "m9": "minor-ninth", "11": "dominant-11th", "13": "dominant-13th",
    "sus": "suspended-fourth", "sus4": "suspended-fourth", "sus2": "suspended-second",
    "5": "power",
}  # fmt: skip


class TabAs(StrEnum):
    """Where the tab stands in a score."""

    LYRIC = "lyric"  # a line of words under the staff, which every program shows
    TECHNICAL = "technical"  # technical text at the note
    NONE = "none"


def write(staff: Staff, tab: TabAs = TabAs.LYRIC) -> bytes:
    """The tune as an uncompressed MusicXML file."""
    return DOCTYPE.encode() + _Writing(staff, tab).score() + b"\n"


class _Writing:
    def __init__(self, staff: Staff, tab: TabAs) -> None:
        self.melody = staff.melody
        self.tab = tab
        self.key = staff.spelling
        self.within_word: dict[int, bool] = {}  # by verse: the syllable before goes on
        lengths = [
            part
            for measure in staff.melody.measures
            for value in values(measure)
            for part in (value.duration, value.onset)
        ]
        symbols = [at for measure in staff.melody.measures for at, _ in measure.symbols]
        self.divisions = math.lcm(*(part.denominator for part in (*lengths, *symbols)), 1)
        self.verses = max(
            (len(note.lyrics) for m in staff.melody.measures for note in m.notes), default=0
        )

    def score(self) -> bytes:
        root = Element("score-partwise", version="4.0")
        if self.melody.title:
            SubElement(SubElement(root, "work"), "work-title").text = self.melody.title
        about = SubElement(root, "identification")
        if self.melody.composer:
            SubElement(about, "creator", type="composer").text = self.melody.composer
        SubElement(SubElement(about, "encoding"), "software").text = "tabtool"
        listing = SubElement(SubElement(root, "part-list"), "score-part", id="P1")
        SubElement(listing, "part-name").text = "Harmonica"
        instrument = SubElement(listing, "score-instrument", id="P1-I1")
        SubElement(instrument, "instrument-name").text = "Harmonica"
        SubElement(instrument, "instrument-sound").text = SOUND
        midi = SubElement(listing, "midi-instrument", id="P1-I1")
        SubElement(midi, "midi-channel").text = "1"
        SubElement(midi, "midi-program").text = str(PROGRAM)
        part = SubElement(root, "part", id="P1")
        measures = self.melody.measures
        first = 0 if measures and _short(measures[0]) and len(measures) > 1 else 1
        for index in range(len(measures)):
            self.measure(part, index, index + first)
        ElementTree.indent(root, " ")
        text = ElementTree.tostring(root, encoding="unicode")
        return text.encode()

    def measure(self, part: Element, index: int, number: int) -> None:
        measures = self.melody.measures
        measure = measures[index]
        element = SubElement(part, "measure", number=str(number))
        if _short(measure):
            element.set("implicit", "yes")
        before = measures[index - 1] if index else None
        begins = bool(measure.endings) and (
            before is None or before.endings != measure.endings or before.closes
        )
        if measure.opens or begins:
            line = SubElement(element, "barline", location="left")
            if measure.opens:
                SubElement(line, "bar-style").text = "heavy-light"
            if begins:
                SubElement(line, "ending", number=str(measure.endings[0]), type="start")
            if measure.opens:
                SubElement(line, "repeat", direction="forward")
        self.attributes(element, measure, index == 0)
        self.directions(element, measure.change, measure)
        pending = list(measure.symbols)
        printed = values(measure)
        beams = _beams(printed, measure.meter.beat_quarters)
        for place, value in enumerate(printed):
            end = value.onset + value.duration
            while pending and pending[0][0] < end:
                at, text = pending.pop(0)
                self.harmony(element, text, at - value.onset)
            if value.first:
                for pitch in value.note.grace:
                    self.grace(element, pitch)
            following = printed[place + 1] if place + 1 < len(printed) else None
            goes_on = following.note.tied if following else self.next_tied(index)
            sounding: tuple[float | None, ...] = value.note.pitches or (None,)
            for number_in, sound in enumerate(sounding):
                self.note(element, value, sound, number_in > 0, beams[place], goes_on)
        after = measures[index + 1] if index + 1 < len(measures) else None
        ends = bool(measure.endings) and (
            after is None or after.endings != measure.endings or measure.closes
        )
        self.right(element, measure, ends)

    def next_tied(self, index: int) -> bool:
        """Whether the next bar begins with the note that ends this one."""
        if index + 1 == len(self.melody.measures):
            return False
        notes = self.melody.measures[index + 1].notes
        return bool(notes) and notes[0].tied

    def right(self, element: Element, measure: Measure, ends: bool) -> None:
        style = "light-heavy" if measure.closes or measure.final else "light-light"
        if not (measure.closes or measure.final or measure.double or ends):
            return
        line = SubElement(element, "barline", location="right")
        if measure.closes or measure.final or measure.double:
            SubElement(line, "bar-style").text = style
        if ends:
            kind = "stop" if measure.closes else "discontinue"
            SubElement(line, "ending", number=str(measure.endings[0]), type=kind)
        if measure.closes:
            SubElement(line, "repeat", direction="backward")

    def attributes(self, element: Element, measure: Measure, first: bool) -> None:
        change = measure.change
        self.key = change.key or self.key
        if not first and change.key is None and change.meter is None:
            return
        attributes = SubElement(element, "attributes")
        if first:
            SubElement(attributes, "divisions").text = str(self.divisions)
        if change.key is not None:
            key = SubElement(attributes, "key")
            SubElement(key, "fifths").text = str(change.key.fifths)
            SubElement(key, "mode").text = change.key.mode
        if change.meter is not None:
            time = SubElement(attributes, "time")
            if change.meter == FREE:
                SubElement(time, "senza-misura")
            else:
                over, _, under = change.meter.text.partition("/")
                SubElement(time, "beats").text = over
                SubElement(time, "beat-type").text = under
        if first:
            clef = SubElement(attributes, "clef")
            SubElement(clef, "sign").text = "G"
            SubElement(clef, "line").text = "2"

    def directions(self, element: Element, change: Change, measure: Measure) -> None:
        if change.section:
            kind = self.direction(element)
            SubElement(kind, "rehearsal").text = change.section
        if change.harp:
            SubElement(self.direction(element), "words").text = change.harp
        if change.tempo is None and not change.feel:
            return
        direction = SubElement(element, "direction", placement="above")
        kind = SubElement(direction, "direction-type")
        beat = measure.meter.beat_quarters
        sound: dict[str, str] = {}
        if change.tempo is not None:
            metronome = SubElement(kind, "metronome")
            plain = beat if beat in TYPES else beat * 2 / 3
            SubElement(metronome, "beat-unit").text = TYPES.get(plain, "quarter")
            if plain != beat and plain in TYPES:
                SubElement(metronome, "beat-unit-dot")
            unit = beat if plain in TYPES else Fraction(1)
            SubElement(metronome, "per-minute").text = _number(change.tempo / unit)
            sound["tempo"] = _number(change.tempo)
        else:
            SubElement(kind, "words").text = change.feel
        heard = SubElement(direction, "sound", sound)
        if change.feel:
            swing = SubElement(heard, "swing")
            ratio = re.search(r"(\d+):(\d+)", "2:1" if change.feel == "shuffle" else change.feel)
            if ratio is None:
                SubElement(swing, "straight")
            else:
                SubElement(swing, "first").text = ratio[1]
                SubElement(swing, "second").text = ratio[2]
                SubElement(swing, "swing-type").text = "eighth"

    @staticmethod
    def direction(element: Element) -> Element:
        direction = SubElement(element, "direction", placement="above")
        return SubElement(direction, "direction-type")

    def harmony(self, element: Element, text: str, offset: Fraction) -> None:
        """A chord symbol; as words over the staff where it does not begin with a root.

        One the standard has no word for is of the kind `other`, its own text beside it.
        """
        found = re.fullmatch(r"([A-G])([#b♯♭]?)(.*?)(?:/([A-G])([#b♯♭]?))?", text)
        silent = text in SILENT
        if found is None and not silent:
            SubElement(self.direction(element), "words").text = text
            return
        harmony = SubElement(element, "harmony")
        if found is None:  # the root, which must be there, means nothing then
            _stepped(SubElement(harmony, "root"), "root", "C", "")
            SubElement(harmony, "kind", text=text).text = "none"
            return
        _stepped(SubElement(harmony, "root"), "root", found[1], found[2])
        kind = SubElement(harmony, "kind", text=found[3])
        kind.text = KINDS.get(found[3], "other")
        if found[4]:
            _stepped(SubElement(harmony, "bass"), "bass", found[4], found[5] or "")
        if offset:
            SubElement(harmony, "offset").text = str(int(offset * self.divisions))

    def grace(self, element: Element, pitch: float) -> None:
        note = SubElement(element, "note")
        SubElement(note, "grace", slash="yes")
        self.pitch(note, pitch)
        SubElement(note, "voice").text = "1"
        SubElement(note, "type").text = "eighth"

    def pitch(self, note: Element, pitch: float) -> None:
        name = spell(math.floor(pitch), self.key)
        found = re.fullmatch(r"([A-G])([#b]*)(-?\d+)", name)
        assert found is not None
        element = SubElement(note, "pitch")
        SubElement(element, "step").text = found[1]
        alter = ACCIDENTALS[found[2]] + pitch % 1
        if alter:
            SubElement(element, "alter").text = f"{alter:g}"
        SubElement(element, "octave").text = found[3]

    def note(
        self,
        element: Element,
        value: Value,
        pitch: float | None,
        chord: bool,
        beams: tuple[str, ...],
        goes_on: bool,
    ) -> None:
        note = SubElement(element, "note")
        sounded = value.note
        starts = pitch is not None and (not value.last or goes_on)
        stops = pitch is not None and (not value.first or sounded.tied)
        if chord:
            SubElement(note, "chord")
        if pitch is None:
            SubElement(note, "rest")
        else:
            self.pitch(note, pitch)
        SubElement(note, "duration").text = str(int(value.duration * self.divisions))
        ties = [kind for kind, is_so in (("stop", stops), ("start", starts)) if is_so]
        for kind in ties:
            SubElement(note, "tie", type=kind)
        SubElement(note, "voice").text = "1"
        SubElement(note, "type").text = value.type
        for _ in range(value.dots):
            SubElement(note, "dot")
        if value.actual > 1:
            ratio = SubElement(note, "time-modification")
            SubElement(ratio, "actual-notes").text = str(value.actual)
            SubElement(ratio, "normal-notes").text = str(value.normal)
        if not chord:
            for number, kind in enumerate(beams, start=1):
                SubElement(note, "beam", number=str(number)).text = kind
        self.notations(note, value, chord, ties)
        if value.first and not chord and pitch is not None:
            self.lyrics(note, sounded)

    def notations(self, note: Element, value: Value, chord: bool, ties: list[str]) -> None:
        marks = value.note.marks
        struck = value.first and not value.note.tied and bool(value.note.pitches) and not chord
        notations = Element("notations")
        for kind in ties:
            SubElement(notations, "tied", type=kind)
        if not chord and value.opens:
            SubElement(notations, "tuplet", type="start", bracket="yes")
        if not chord and value.closes:
            SubElement(notations, "tuplet", type="stop")
        if struck and self.tab is TabAs.TECHNICAL and value.note.tab:
            technical = SubElement(notations, "technical")
            SubElement(technical, "other-technical").text = value.note.tab
        if struck and (marks.accent or marks.staccato):
            signs = SubElement(notations, "articulations")
            for name in ("accent", "staccato"):
                if getattr(marks, name):
                    SubElement(signs, name)
        if len(notations):
            note.append(notations)

    def lyrics(self, note: Element, sounded: Sounded) -> None:
        if sounded.tied:
            return
        for verse, text in enumerate(sounded.lyrics, start=1):
            if text and text not in ("_", "*"):
                lyric = SubElement(note, "lyric", number=str(verse))
                goes_on = text.endswith("-") and len(text) > 1
                within = self.within_word.get(verse, False)
                self.within_word[verse] = goes_on
                SubElement(lyric, "syllabic").text = (
                    ("middle" if goes_on else "end") if within else "begin" if goes_on else "single"
                )
                SubElement(lyric, "text").text = text.removesuffix("-") or text
        if self.tab is TabAs.LYRIC and sounded.tab:
            lyric = SubElement(note, "lyric", number=str(self.verses + 1), name=TAB)
            SubElement(lyric, "text").text = sounded.tab


def _short(measure: Measure) -> bool:
    return measure.full is not None and measure.length < measure.full


def _stepped(element: Element, name: str, step: str, accidental: str) -> None:
    SubElement(element, f"{name}-step").text = step
    if accidental:
        SubElement(element, f"{name}-alter").text = "1" if accidental in "#♯" else "-1"


def _number(value: Fraction) -> str:
    return f"{float(value):.6f}".rstrip("0").rstrip(".")


def _beams(printed: list[Value], beat: Fraction) -> list[tuple[str, ...]]:
    """The beams of each printed note: notes shorter than a quarter, within one beat."""
    groups: list[list[int]] = []
    for index, value in enumerate(printed):
        if not value.beams or not value.note.pitches:
            continue
        last = groups[-1][-1] if groups else -2
        if last == index - 1 and int(printed[last].onset / beat) == int(value.onset / beat):
            groups[-1].append(index)
        else:
            groups.append([index])
    beams: list[tuple[str, ...]] = [()] * len(printed)
    for group in groups:
        if len(group) < 2:
            continue
        counts = [printed[index].beams for index in group]
        for place, index in enumerate(group):
            beams[index] = tuple(
                _beam(level, place, counts) for level in range(1, counts[place] + 1)
            )
    return beams


def _beam(level: int, place: int, counts: list[int]) -> str:
    before = place > 0 and counts[place - 1] >= level
    after = place + 1 < len(counts) and counts[place + 1] >= level
    if before and after:
        return "continue"
    if before or after:
        return "end" if before else "begin"
    return "backward hook" if place else "forward hook"
