"""A part of a score, as music21 read it, to a `Melody`.

What a melody cannot say (dynamics, slurs, ornaments and the like) is counted and told.
Pitches are taken as they sound, transposing instruments included.
"""

from __future__ import annotations

import io
import re
import warnings
from collections import Counter
from collections.abc import Iterator
from contextlib import redirect_stderr
from fractions import Fraction
from typing import Any

from music21 import (
    articulations,
    bar,
    clef,
    converter,
    dynamics,
    expressions,
    harmony,
    instrument,
    key,
    layout,
    meter,
    note,
    repeat,
    spanner,
    stream,
    tempo,
)

from tabtool.diagnostics import TabError
from tabtool.music import FREE, MODES, Key, Meter, parse_meter
from tabtool.readers import HARP, NAMES, Choice, choose_part, counted, few_enough
from tabtool.scores.jumps import sign_of
from tabtool.scores.measures import NO_CHANGE, Change, Measure, Melody, Sign, Sounded
from tabtool.tune import PLAIN

TAB = "tab"  # the name of the lyric line in which tab is carried

_SILENT = (clef.Clef, instrument.Instrument, layout.LayoutBase, stream.Voice, note.GeneralNote)
_CARRIED = (
    articulations.Staccato,
    articulations.Accent,
    articulations.StrongAccent,
    articulations.TechnicalIndication,
)
_WORDS = {  # what is lost, in the words of musicians; the first class that fits counts
    dynamics.Dynamic: "dynamic marks",
    dynamics.DynamicWedge: "swells",
    expressions.TextExpression: "words over the staff",
    spanner.Slur: "slurs",
    spanner.Glissando: "glides",
    spanner.Ottava: "octave lines",
    expressions.Fermata: "pauses (fermatas)",
    expressions.ArpeggioMark: "arpeggio signs",
    expressions.TremoloSpanner: "tremolos",
    tempo.MetricModulation: "tempos told by the length of another note",
    expressions.Ornament: "ornaments (trills, turns, mordents)",
    articulations.Articulation: "signs over notes",
}


def parse_score(data: str | bytes, format: str, name: str) -> Any:
    """What music21 makes of a file; `TabError` in one line where it cannot."""
    told = io.StringIO()  # music21 writes on standard error what it could not read
    with warnings.catch_warnings(), redirect_stderr(told):
        warnings.simplefilter("ignore")
        try:
            score = converter.parseData(data, format=format)
        except Exception as error:  # a parser of others, fed with anything at all
            reason = " ".join(str(error).split()) or type(error).__name__
            kind = NAMES.get({"humdrum": "krn"}.get(format, format), format)
            raise TabError(f"{name}: not readable as {kind}: {reason[:160]}") from None
    skipped = re.search(r"parsing event \((.*?)\) at line (\d+)", told.getvalue())
    if skipped:
        raise TabError(f"{name}:{skipped[2]}: {skipped[1][:40]} is not understood as a note")
    return score


def melody_of(score: Any, name: str, choice: Choice, title: str = "") -> Melody:
    """The chosen part and voice of a score."""
    parts = list(score.parts) if isinstance(score, stream.Score) else [score]
    part = parts[choose_part([_part_name(one) for one in parts], name, choice.part)]
    try:
        return _Reading(part, name, choice.voice).melody(score, title)
    except TabError:
        raise
    except Exception as error:  # music21 values that contradict themselves
        raise TabError(f"{name}: not understood: {' '.join(str(error).split())[:160]}") from None


def _part_name(part: Any) -> str:
    return str(getattr(part, "partName", "") or getattr(part, "id", "") or "")


class _Reading:
    """One pass over one part."""

    def __init__(self, part: Any, name: str, voice: str) -> None:
        self.name = name
        self.voice = voice
        self.lost: Counter[str] = Counter()
        self.remarks: list[str] = []
        if any(one.transposition for one in part.recurse().getElementsByClass("Instrument")):
            part = part.toSoundingPitch()
        self.part = part
        self.meter: Meter | None = None
        self.last: tuple[float, ...] = ()
        self.grace: list[float] = []

    def melody(self, score: Any, title: str) -> Melody:
        measures = list(self.part.getElementsByClass(stream.Measure))
        if not measures:
            measures = list(self.part.makeMeasures().getElementsByClass(stream.Measure))
        notes = sum(len(one.recurse().notes) for one in measures)
        few_enough(notes, self.name)
        self.check_voices(measures)
        endings = self.endings(measures)
        read = tuple(self.measure(one, endings.get(id(one), ())) for one in measures)
        self.count_lost()
        about = score.metadata
        composer = str(getattr(about, "composer", "") or "") if about else ""
        if not title and about:
            title = str(about.title or about.movementName or "")
        if +self.lost:
            self.remarks.append("the notation has no place for " + counted(+self.lost))
        if self.grace:
            self.remarks.append("grace notes at the end with no note to lean on are left out")
        if any(m.meter.beats is None for m in read):
            self.remarks.append("no meter is given: written in free meter, a quarter note a beat")
        return Melody(
            read, title, composer, _part_name(self.part), tuple(dict.fromkeys(self.remarks))
        )

    def check_voices(self, measures: list[Any]) -> None:
        ids = dict.fromkeys(str(v.id) for one in measures for v in one.voices if v.notes)
        many = any(len([v for v in one.voices if v.notes]) > 1 for one in measures)
        if self.voice and self.voice not in ids and (ids or self.voice != "1"):
            listed = ", ".join(ids) or "1"
            raise TabError(f"{self.name}: there is no voice '{self.voice}'; voices: {listed}")
        if many and not self.voice:
            raise TabError(
                f"{self.name}: {len(ids)} voices sound at once in this part; choose one with "
                f"--voice: {', '.join(ids)}"
            )

    def endings(self, measures: list[Any]) -> dict[int, tuple[int, ...]]:
        """The passes of each bar under a bracket, by the bar's identity."""
        found: dict[int, tuple[int, ...]] = {}
        for bracket in self.part.recurse().getElementsByClass(spanner.RepeatBracket):
            numbers = tuple(bracket.numberRange)
            spanned = {id(one) for one in bracket.getSpannedElements()}
            inside = [index for index, one in enumerate(measures) if id(one) in spanned]
            for index in range(min(inside, default=0), max(inside, default=-1) + 1):
                found[id(measures[index])] = numbers
        return found

    def measure(self, one: Any, endings: tuple[int, ...]) -> Measure:
        change = self.change(one)
        meter_now = self.meter or FREE
        notes = self.notes(one)
        length = max((n.onset + n.duration for n in notes), default=Fraction(0))
        if not length:
            full = meter_now.beats and meter_now.beats * meter_now.beat_quarters
            length = full or Fraction(1)
        left, right = one.leftBarline, one.rightBarline
        closes = isinstance(right, bar.Repeat) and right.direction == "end"
        return Measure(
            length,
            meter_now,
            tuple(notes),
            tuple(self.symbols(one)),
            change,
            opens=isinstance(left, bar.Repeat) and left.direction == "start",
            closes=closes,
            times=(right.times or 2) if closes else 2,
            endings=endings,
            double=not closes and getattr(right, "type", "") in ("double", "light-light"),
            final=not closes and getattr(right, "type", "") in ("final", "light-heavy"),
            signs=tuple(self.signs(one)),
        )

    def change(self, one: Any) -> Change:
        change = NO_CHANGE
        named = list(one.recurse().getElementsByClass(key.Key))  # Humdrum: beside its signature
        for element in one.recurse():
            if isinstance(element, meter.TimeSignature):
                self.meter = _meter(element)
                if self.meter is FREE:
                    self.remarks.append(f"no bars of {element.ratioString} are counted here")
            elif isinstance(element, key.KeySignature):
                if named and not isinstance(element, key.Key):
                    continue
                if element.getOffsetInHierarchy(one) > 0:
                    self.remarks.append("a change of key within a bar is written at its beginning")
                change = change._replace(key=self.key(element))
            elif isinstance(element, tempo.MetronomeMark):
                change = self.tempo(element, one, change)
            elif isinstance(element, expressions.RehearsalMark):
                change = change._replace(section=str(element.content))
            elif isinstance(element, expressions.TextExpression):
                if HARP.fullmatch(element.content or ""):
                    change = change._replace(harp=element.content)
                elif not sign_of(element.content or ""):
                    self.lose(element)
        return change

    def signs(self, one: Any) -> Iterator[Sign]:
        """The signs of jumps in a bar, drawn or as words."""
        for element in one.recurse():
            words = ""
            if isinstance(element, repeat.RepeatExpression):
                words = str(element.getText())  # type: ignore[no-untyped-call]
            elif isinstance(element, expressions.TextExpression):
                words = element.content or ""
            sign = sign_of(words, Fraction(element.getOffsetInHierarchy(one)))
            if sign:
                yield sign
            elif isinstance(element, repeat.RepeatExpression):
                self.lost[f"signs such as {words}"] += 1

    def key(self, signature: Any) -> Key | None:
        mode = {"ionian": "major", "aeolian": "minor"}.get(
            getattr(signature, "mode", None) or "", getattr(signature, "mode", None) or ""
        )
        if mode not in MODES:
            taken = signature.asKey("major")
            self.remarks.append(
                f"the key signature is taken as {_name(taken.tonic.name)} major; "
                "the score gives no mode"
            )
            return Key(_name(taken.tonic.name))
        tonic = _name(signature.asKey(mode).tonic.name)
        return Key(tonic, mode)

    def tempo(self, mark: Any, one: Any, change: Change) -> Change:
        written = mark.number if not mark.numberImplicit else None
        if not (written or mark.numberSounding):
            word = f"word '{mark.text}'" if mark.text else "mark"
            self.remarks.append(f"a tempo {word} gives no number: no tempo is set")
            return change
        if mark.getOffsetInHierarchy(one) > 0:
            self.remarks.append("a change of tempo within a bar is written at its beginning")
        return change._replace(tempo=Fraction(mark.getQuarterBPM()).limit_denominator(1000))

    def notes(self, one: Any) -> list[Sounded]:
        """The notes of a bar in order, overlapping ones cut where the next begins."""
        voices = [v for v in one.voices if v.notes or v.getElementsByClass(note.Rest)]
        source: Any = one
        if voices:
            wanted = [v for v in voices if not self.voice or str(v.id) == self.voice]
            source = wanted[0] if wanted else None
        elif self.voice and self.voice != "1":
            source = None
        if source is None:
            length = Fraction(one.highestTime)
            return [Sounded(Fraction(0), length)] if length else []
        found: list[Sounded] = []
        elements = list(source.notesAndRests)
        if source is not one and self.voice in ("", "1"):  # Humdrum: before and after a split
            elements += one.notesAndRests
        for element in elements:
            if isinstance(element, harmony.Harmony):
                continue
            sounding = struck(element, self.last)
            if sounding is None:
                self.lost["lower notes of chords of grace notes"] += len(element.pitches) - 1
                self.grace.append(max(p.ps for p in element.pitches))
                continue
            self.last = sounding.pitches
            if not sounding.pitches:
                if not isinstance(element, note.Rest):
                    self.lost["notes without pitch"] += 1
                if not sounding.duration:
                    continue
            else:
                sounding = self.dressed(element, sounding)
            found.append(sounding._replace(onset=Fraction(element.getOffsetInHierarchy(one))))
        return list(self.one_at_a_time(found))

    def dressed(self, element: Any, sounding: Sounded) -> Sounded:
        """A note with its words, its tab and the grace notes before it."""
        grace, self.grace = tuple(self.grace), []
        tab = next((x.text for x in element.lyrics if x.identifier == TAB), "") or ""
        for sign in element.articulations:
            if type(sign) is articulations.TechnicalIndication:  # other-technical, which is text
                tab = tab or getattr(sign, "displayText", "") or getattr(sign, "content", "")
        for sign in (*element.articulations, *element.expressions):
            if not isinstance(sign, _CARRIED):
                self.lose(sign)
        return sounding._replace(lyrics=tuple(self.lyrics(element)), grace=grace, tab=str(tab))

    def one_at_a_time(self, found: list[Sounded]) -> Iterator[Sounded]:
        """Notes that begin together as one chord; a note cut short where the next begins."""
        found.sort(key=lambda n: n.onset)
        for index, one in enumerate(found):
            following = found[index + 1] if index + 1 < len(found) else None
            if following is None or one.onset + one.duration <= following.onset:
                yield one
            elif following.onset > one.onset:
                self.lost["notes that last into the next, cut there"] += 1
                yield one._replace(duration=following.onset - one.onset)
            elif one.pitches or following.pitches:
                self.lost["notes that begin together outside a chord, one of them kept"] += 1

    def lyrics(self, element: Any) -> Iterator[str]:
        sung = [one for one in element.lyrics if one.identifier != TAB]
        by_verse = {one.number: one for one in sung}
        for verse in range(1, max(by_verse, default=0) + 1):
            one = by_verse.get(verse)
            text = str(one.text or "") if one is not None else ""
            if text and one is not None and one.syllabic in ("begin", "middle"):
                text = text.rstrip("-") + "-"
            yield text

    def symbols(self, one: Any) -> Iterator[tuple[Fraction, str]]:
        for symbol in one.recurse().getElementsByClass(harmony.Harmony):
            if isinstance(symbol, (harmony.ChordSymbol, harmony.NoChord)):
                figure = _figure(symbol)
                if figure:
                    yield Fraction(symbol.getOffsetInHierarchy(one)), figure

    def lose(self, thing: Any) -> None:
        for kind, words in _WORDS.items():
            if isinstance(thing, kind):
                self.lost[words] += 1
                return
        self.lost[type(thing).__name__] += 1

    def count_lost(self) -> None:
        for element in self.part.recurse():
            if isinstance(element, (*_SILENT, expressions.TextExpression)):
                continue
            if isinstance(element, tuple(_WORDS)):
                self.lose(element)


def struck(element: Any, before: tuple[float, ...]) -> Sounded | None:
    """A note, chord or rest of music21 at onset 0; None for a grace note.

    Pitches are taken to the quarter tone. A tie counts only where it leads to the same
    pitches as sounded `before`.
    """
    if not hasattr(element, "pitches") or not element.pitches:
        return Sounded(Fraction(0), Fraction(element.quarterLength))
    if element.duration.isGrace or not element.quarterLength:
        return None
    pitches = tuple(sorted({round(p.ps * 2) / 2 for p in element.pitches}))
    tie = element.tie
    tied = tie is not None and tie.type in ("stop", "continue") and pitches == before
    marks = PLAIN
    for sign in element.articulations:
        if isinstance(sign, articulations.Staccato):
            marks = marks._replace(staccato=True)
        elif isinstance(sign, (articulations.Accent, articulations.StrongAccent)):
            marks = marks._replace(accent=True)
    duration = Fraction(element.quarterLength)
    return Sounded(Fraction(0), duration, pitches, tied, marks=marks)


def _figure(symbol: Any) -> str:
    """A chord symbol as players write it; of a kind MusicXML has no word for its own text."""
    text = str(symbol.figure or "").replace("-", "b")
    if symbol.chordKind == "other" and symbol.chordKindStr:
        root, bass = symbol.root(), symbol.bass()
        below = f"/{_name(bass.name)}" if bass is not None and bass.name != root.name else ""
        text = _name(root.name) + symbol.chordKindStr.removeprefix(_name(root.name)) + below
    text = text.replace("power", "5").replace("pedal", "").replace("7+", "+7")
    text = re.sub(r" (?:add|alter) (?=[#b])", "", text)
    text = re.sub(r" add (\d)", r"add\1", text).replace(" subtract ", "no")
    return text.replace("6add9", "6/9").replace("susb7", "7sus")


def _meter(signature: Any) -> Meter:
    return parse_meter(f"{signature.numerator}/{signature.denominator}") or FREE


def _name(name: str) -> str:
    return name.replace("-", "b")
