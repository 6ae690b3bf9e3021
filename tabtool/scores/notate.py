"""A melody on a harp, written down as tab.

`notate` gives the text of a tune and, in plain words, everything about the melody that
the text does not say. The text is read again by `parse` and `resolve` before it is handed
out: a bar those find too long or too short gets a meter of its own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from tabtool.canonical import write
from tabtool.harp import Harp
from tabtool.header import DEFAULT_TEMPO
from tabtool.lengths import BAR_LENGTH
from tabtool.music import Key, Meter
from tabtool.notation import NoteError, parse_figure
from tabtool.parse import parse
from tabtool.player import Player
from tabtool.repeats import REPEAT
from tabtool.report import many
from tabtool.resolve import resolve
from tabtool.scores.barring import Barred, in_meter, opened, whole_bars
from tabtool.scores.choose import choose
from tabtool.scores.measures import Measure, Melody, RepeatError, Sounded, filled, play_out, stream
from tabtool.scores.rhythm import Slot, TooFine, beats
from tabtool.tune import Barline, Figure, MusicLine, Tune

BARS_A_LINE = 4
COARSE = 24  # parts of a beat to which a rhythm too fine to write is rounded


class Written(NamedTuple):
    """A tune in canonical text, and what the text could not say."""

    tune: Tune
    text: str
    remarks: tuple[str, ...]


def notate(
    melody: Melody,
    harp: Harp,
    file: str = "tune",
    tuning: str = "",
    player: Player = Player(),  # noqa: B008 (immutable)
) -> Written:
    """Write a melody down for a harp; `tuning` is what the header calls a tuning of one's own.

    What the text sounds is compared with the melody note by note. Where repeats cannot be
    written so that it is the same, they are written out.
    """
    tuning = tuning or harp.tuning
    page = _Plan(harp, file, tuning, player)
    written = _write(melody, whole_bars(melody.measures), page)
    if _differs(written.tune, melody):
        played = whole_bars(play_out(melody.measures))
        remark = "these repeats cannot be written as such: they are written out in full"
        again = _write(melody, Barred(played.measures, (remark, *played.remarks)), page)
        if not _differs(again.tune, melody):
            return again
        difference = _differs(written.tune, melody)
        return written._replace(remarks=(*written.remarks, difference))
    return written


class _Plan(NamedTuple):
    """What a melody is written for, and under which name."""

    harp: Harp
    file: str
    tuning: str
    player: Player


def _write(melody: Melody, barred: Barred, plan: _Plan) -> Written:
    measures = [filled(measure) for measure in barred.measures]
    for _ in range(3):
        measures = opened(measures)
        page = _Page(melody, measures, plan)
        tune, faults = parse(page.text, plan.file)
        assert not faults, faults
        wrong = _wrong_bars(tune)
        if not wrong:
            break
        for index in wrong:
            measures[index] = in_meter(measures[index])
    remarks = dict.fromkeys((*melody.lost, *barred.remarks, *page.remarks))
    return Written(tune, write(tune), tuple(remarks))


def _wrong_bars(tune: Tune) -> list[int]:
    """The bars, counted from 0, that do not add up to their meter."""
    _, faults = resolve(tune)
    spans = {fault.span for fault in faults if fault.rule is BAR_LENGTH}
    bars = [bar for line in tune.lines if isinstance(line, MusicLine) for bar in line.bars]
    return [index for index, bar in enumerate(bars) if bar.span in spans]


def _differs(tune: Tune, melody: Melody) -> str:
    """Where the tune sounds otherwise than the melody, in plain words; empty where nowhere."""
    score, faults = resolve(tune)
    unclear = [fault for fault in faults if fault.rule is REPEAT]
    if unclear:
        return f"the repeats are not clear: {unclear[0].message}"
    try:
        wanted = stream(melody.measures)
    except RepeatError:
        return ""  # told of already: the bars are written once
    first = score.events[0].quarters if score.events else Fraction(0)
    for event, (onset, _, pitches) in zip(score.events, wanted, strict=False):
        if event.quarters - first != onset:
            return f"from bar {event.bar} on the rhythm is not the score's"
        top = max((p for p in event.pitches if p is not None), default=None)
        if top != max(pitches):
            return f"in bar {event.bar} a note is not the score's"
    if len(score.events) != len(wanted):
        return f"{len(score.events)} notes are written where {len(wanted)} are played"
    return ""


class _State(NamedTuple):
    """What the headers say where a bar is written."""

    meter: Meter
    tempo: Fraction  # quarter notes a minute
    key: Key | None
    feel: str

    def after(self, measure: Measure) -> _State:
        change = measure.change
        return _State(
            measure.meter,
            change.tempo or self.tempo,
            change.key or self.key,
            change.feel or self.feel,
        )


class _Page:
    """One way of writing the bars out; collects the lines and the remarks."""

    def __init__(self, melody: Melody, measures: Sequence[Measure], plan: _Plan) -> None:
        self.remarks: list[str] = []
        self.harp, self.tuning, self.player = plan.harp, plan.tuning, plan.player
        self.tokens = self.figures(measures)
        self.lines: list[str] = []
        meter = measures[0].meter
        usual = Counter(measure.meter for measure in measures).most_common(1)[0][0]
        first = _State(meter, DEFAULT_TEMPO * usual.beat_quarters, None, "straight")
        state = first.after(measures[0])
        self.head(melody, state, first)
        fresh = True
        line: list[int] = []
        for index, measure in enumerate(measures):
            after = state.after(measure)
            name = measure.change.section
            if index and (after != state or name):
                self.bars(measures, line)
                line = []
                self.section(name, state, after)
            elif not index and name:
                self.section(name, state, after)
            elif len(line) >= BARS_A_LINE + (fresh and self.short(measures[0])):
                self.bars(measures, line)
                line, fresh = [], False
            state = after
            line.append(index)
        self.bars(measures, line)
        self.text = "\n".join(self.lines) + "\n"

    @staticmethod
    def short(measure: Measure) -> bool:
        return measure.full is not None and measure.length < measure.full

    def figures(self, measures: Sequence[Measure]) -> dict[tuple[int, int], str]:
        """The token of every note struck, by bar and place in it."""
        chosen = choose(self.harp, measures, self.player)
        for index, measure in enumerate(measures):
            if index and measure.change.harp:
                self.remarks.append(
                    f"bar {index + 1} asks for another harp ({measure.change.harp}): "
                    f"all is written for the {self.harp.key}"
                )
        for (bar, _, _), pitch in chosen.silent.items():
            name = self.harp.named(pitch)
            self.remarks.append(f"bar {bar + 1}: no hole comes near {name}: silence instead")
        if chosen.left_out:
            lower = many(chosen.left_out, "lower note")
            self.remarks.append(f"left out: {lower} of chords that no one breath sounds")
        tokens: dict[tuple[int, int], str] = {}
        for (bar, place, number), figure in chosen.figures.items():
            if number >= 0:
                continue
            note = measures[bar].notes[place]
            own = self.given(note)
            if own is None:
                grace = [chosen.figures.get((bar, place, n)) for n in range(len(note.grace))]
                own = figure._replace(
                    marks=note.marks, grace=tuple(one for one in grace if one is not None)
                )
            tokens[bar, place] = own.token
        for bar, measure in enumerate(measures):  # a tied note goes on with what began before
            for place, note in enumerate(measure.notes):
                if note.tied:
                    tokens[bar, place] = "-"
        return tokens

    def given(self, note: Sounded) -> Figure | None:
        """The tab the source itself gives, where it sounds the note's pitches on this harp."""
        if not note.tab:
            return None
        try:
            figure = parse_figure(note.tab)
        except NoteError:
            return None
        sounds = sorted(pitch for t in figure.tones if (pitch := self.harp.intended(t)) is not None)
        return figure if sounds == sorted(note.pitches) else None

    def head(self, melody: Melody, state: _State, silent: _State) -> None:
        for name, value in (("title", melody.title), ("composer", melody.composer)):
            text = " ".join(value.replace(" #", " ♯").split())
            if text:
                self.lines.append(f"{name}: {text}")
        self.lines.append(f"harp: {self.harp.key}")
        if self.tuning != "Richter":
            self.lines.append(f"tuning: {self.tuning}")
        if state.key is not None:
            self.lines.append(f"key: {state.key}")
        if self.tempo(state) != f"{float(DEFAULT_TEMPO):g}":
            self.lines.append(f"tempo: {self.tempo(state)}")
        if state.feel != silent.feel:
            self.lines.append(f"feel: {state.feel}")
        self.lines.append(f"meter: {state.meter.text}")
        self.lines.append("")

    def section(self, name: str, before: _State, after: _State) -> None:
        """A section line and the headers that change with it."""
        clean = "".join(" " if sign in "[]#\n\r" else sign for sign in name)
        self.lines += ["", f"[{' '.join(clean.split())}]"]
        if after.key != before.key and after.key is not None:
            self.lines.append(f"key: {after.key}")
        if self.tempo(after) != self.tempo(before):
            self.lines.append(f"tempo: {self.tempo(after)}")
        if after.feel != before.feel:
            self.lines.append(f"feel: {after.feel}")
        if after.meter != before.meter:
            self.lines.append(f"meter: {after.meter.text}")

    def tempo(self, state: _State) -> str:
        """Beats a minute as a header says them."""
        wanted = state.tempo / state.meter.beat_quarters
        said = min(max(round(wanted, 3), Fraction(10)), Fraction(400))
        if abs(said - wanted) > Fraction(1, 2000):
            self.remarks.append(f"a tempo of {float(wanted):g} beats a minute is written {said}")
        return f"{float(said):g}"

    def bars(self, measures: Sequence[Measure], line: list[int]) -> None:
        """One line of bars, and its verses under it."""
        if not line:
            return
        texts = []
        for index in line:
            measure = measures[index]
            started = index == 0 or index == line[0]
            before = None if index == 0 else measures[index - 1]
            begins = measure.endings if before is None or before.endings != measure.endings else ()
            if before is not None and before.closes and measure.endings:
                begins = measure.endings
            opening = Barline(opens=measure.opens, ending=begins[0] if begins else 0)
            if started:
                texts.append(opening.token)
            else:
                assert before is not None
                closing = self.closing(before)
                texts.append(closing._replace(opens=opening.opens, ending=opening.ending).token)
            texts.append(self.bar(measure, index))
        texts.append(self.closing(measures[line[-1]]).token)
        self.lines.append(" ".join(texts))
        self.verses(measures, line)

    @staticmethod
    def closing(measure: Measure) -> Barline:
        return Barline(closes=measure.closes, double=measure.double, final=measure.final)

    def bar(self, measure: Measure, index: int) -> str:
        count = int(measure.beats)
        slots = self.slots(measure, index)
        try:
            return " ".join(beats(slots, count))
        except TooFine:
            self.remarks.append(
                f"bar {index + 1}: a rhythm too fine to write, rounded to 1/{COARSE} of a beat"
            )
            rounded: dict[Fraction, Slot] = {}
            for slot in slots:
                start = Fraction(round(slot.start * COARSE), COARSE)
                rounded[start] = slot._replace(start=start)
            return " ".join(beats(list(rounded.values()), count))

    def slots(self, measure: Measure, index: int) -> list[Slot]:
        """The bar's notes as tokens, cut where an accompaniment chord begins."""
        beat = measure.meter.beat_quarters
        symbols = {at / beat: f'"{_symbol(text)}"' for at, text in measure.symbols if _symbol(text)}
        slots = []
        for place, note in enumerate(measure.notes):
            start, end = note.onset / beat, (note.onset + note.duration) / beat
            token = self.tokens.get((index, place))
            if token is None:
                token = goes_on = "."
            else:
                goes_on = "-"
                if note.tied and not (index == 0 and place == 0):
                    token = "-"
            slots.append(Slot(start, symbols.pop(start, "") + token, goes_on))
            for at in sorted(at for at in symbols if start < at < end):
                slots.append(Slot(at, symbols.pop(at) + goes_on, goes_on))
        return slots

    def verses(self, measures: Sequence[Measure], line: list[int]) -> None:
        struck = [
            [n for p, n in enumerate(measures[i].notes) if (i, p) in self.tokens and not n.tied]
            for i in line
        ]
        verses = max((len(note.lyrics) for bar in struck for note in bar), default=0)
        for verse in range(verses):
            bars = []
            for bar in struck:
                words = [_syllable(n.lyrics[verse]) if verse < len(n.lyrics) else "*" for n in bar]
                while words and words[-1] == "*":
                    words.pop()
                bars.append(" ".join(words))
            text = " | ".join(bars).rstrip(" |")
            if text or verse + 1 < verses:
                self.lines.append(f"lyric: {text or '*'}")


def _symbol(text: str) -> str:
    return " ".join(text.replace('"', "").replace("|", "/").split())


def _syllable(text: str) -> str:
    """A syllable as a lyric line holds it: without blanks; elisions joined by an undertie."""
    joined = "‿".join(text.replace("|", "/").split())
    return joined if joined and joined != "*" and not joined.startswith("#") else "*"
