"""Mends for what `check` finds: edits of the text that a player may take with one press.

A mend is offered only where it can be shown to help: a rewritten note is judged by the
same checks, rewritten text is read again. No mend is ever applied by itself.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from tabtool.checks import NOTE_CHECKS
from tabtool.checks.look import Look
from tabtool.diagnostics import Diagnostic, Level, Span, nearest
from tabtool.harp import Harp, Technique, Tone
from tabtool.header import FIELDS, TUNING_SUFFIX, Setting
from tabtool.lengths import BAR_LENGTH
from tabtool.load import Loaded
from tabtool.notation import UNREADABLE
from tabtool.parse import UNKNOWN_HEADER, parse
from tabtool.player import Player
from tabtool.resolve import NOTHING_TO_HOLD
from tabtool.tune import PLAIN, Bar, Beat, Figure, HeaderLine, MusicLine, Note
from tabtool.tunings import ALIASES, TUNINGS
from tabtool.written import HARP_MISSING

MOST = 4  # mends offered for one finding


class Edit(NamedTuple):
    """Put `text` in place of a span; an empty span (column = end column) inserts."""

    span: Span
    text: str


class Fix(NamedTuple):
    """One mend: what it does, in a few words, and the edits that do it."""

    title: str
    edits: tuple[Edit, ...]


class Fixes:
    """The mends for the findings of one loaded text."""

    def __init__(self, text: str, loaded: Loaded, player: Player = Player()) -> None:  # noqa: B008
        self.lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        self.loaded = loaded
        self.player = player
        self.places: dict[Span, tuple[Note, Setting]] = {}
        for event in loaded.score.events:
            self.places.setdefault(event.note.span, (event.note, event.setting))
        self.bars = {
            bar.bar.span: (bar.bar, bar.stretch.setting.meter.beats) for bar in loaded.score.bars
        }
        self.known: dict[tuple[str, int, int], tuple[tuple[str, str], ...]] = {}

    def of(self, found: Diagnostic) -> tuple[Fix, ...]:
        """The mends for one finding, the best first; empty where none is known."""
        return tuple(self._of(found))[:MOST]

    def _of(self, found: Diagnostic) -> Iterator[Fix]:
        rule, span = found.rule, found.span
        if rule == UNREADABLE:
            yield from self.rewritten(found)
        elif rule == UNKNOWN_HEADER:
            near = nearest(self.text(span), (*FIELDS, "lyric"))
            if near:
                yield Fix(f"write {near}:", (Edit(span, near),))
        elif rule.name == "header-value":
            yield from self.tuning(span)
        elif rule == BAR_LENGTH and span in self.bars:
            bar, wanted = self.bars[span]
            if wanted:
                yield from bar_that_adds_up(bar, wanted)
        elif rule == NOTHING_TO_HOLD:
            yield Fix("write . for silence", (Edit(span, "."),))
        elif rule == HARP_MISSING:
            yield self.harp_line()
        elif span in self.places:
            note, setting = self.places[span]
            if setting.harp is not None:
                key = rule.name, id(note.figure), id(setting)
                if key not in self.known:
                    self.known[key] = tuple(self.figures(found, note.figure, setting))
                for title, token in self.known[key]:
                    yield Fix(title, (Edit(span, token),))

    def text(self, span: Span) -> str:
        return self.lines[span.line - 1][span.column - 1 : span.end_column - 1]

    def figures(
        self, found: Diagnostic, figure: Figure, setting: Setting
    ) -> Iterator[tuple[str, str]]:
        """Titles and tokens of other figures that escape the rule and break no other."""
        harp = setting.harp
        assert harp is not None
        seen = {figure.token}
        for other, title in _candidates(figure, harp, setting):
            token = other.token
            if token in seen or self.judge(found, other, harp, setting):
                continue
            seen.add(token)
            yield f"write {token}: {title}", token

    def judge(self, found: Diagnostic, figure: Figure, harp: Harp, setting: Setting) -> bool:
        """Whether the figure still breaks the rule, or cannot be played for another reason."""
        for part in (figure, *figure.grace):
            look = Look(part, harp, setting, self.player)
            for check in NOTE_CHECKS:
                for finding in check.look(look):
                    level = finding.level or check.rule.level
                    if check.rule.name == found.rule.name or level is Level.ERROR:
                        return True
        return False

    def rewritten(self, found: Diagnostic) -> Iterator[Fix]:
        """What the help says to write, where that reads and names the same holes."""
        span = found.span
        for text in _rewrites(self.lines[span.line - 1], span.column, span.end_column, found.help):
            yield Fix(f"write {text}", (Edit(span, text),))

    def tuning(self, span: Span) -> Iterator[Fix]:
        line = self.lines[span.line - 1]
        if line.split(":")[0].strip().lower() != "tuning":
            return
        value = self.text(span)
        near = None
        if not value.lower().endswith(TUNING_SUFFIX):
            near = nearest(value, (*TUNINGS, *ALIASES))
        if near:
            name = ALIASES.get(near, near)
            yield Fix(f"write {name}", (Edit(span, name),))

    def harp_line(self) -> Fix:
        """A harp line below the header lines that stand at the top."""
        after = 0
        for number, line in enumerate(self.loaded.tune.lines, start=1):
            if isinstance(line, HeaderLine):
                after = number
            else:
                break
        place = Span(self.loaded.tune.file, after + 1, 1, 1)
        return Fix("add the line harp: C", (Edit(place, "harp: C\n"),))


def bar_that_adds_up(bar: Bar, wanted: int) -> Iterator[Fix]:
    """Ways to make a bar as long as its meter; `wanted` is in beats."""
    has, end = len(bar.beats), bar.span._replace(column=bar.span.end_column)
    if not has:
        place = bar.span._replace(end_column=bar.span.column)
        rests = " ".join("." * wanted)
        yield Fix(f"write a bar of silence: {rests}", (Edit(place, f" {rests} "),))
    elif has < wanted:
        for sign, what in (("-", "hold the last note on"), (".", "add silence")):
            added = f" {sign}" * (wanted - has)
            yield Fix(f"{what}:{added}", (Edit(end, added),))
    else:
        one, two = bar.beats[wanted - 1 : wanted + 1]
        if has == wanted + 1:
            one, two = _joined(bar.beats)
            gap = one.span._replace(column=one.span.end_column, end_column=two.span.column)
            yield Fix("join the shortest two beats into one", (Edit(gap, ","),))
        if has % wanted == 0:
            bars = [bar.beats[at] for at in range(wanted, has, wanted)]
            edits = tuple(
                Edit(beat.span._replace(end_column=beat.span.column), "| ") for beat in bars
            )
            yield Fix(f"put a bar line after every {wanted} beats", edits)


def _joined(beats: Sequence[Beat]) -> tuple[Beat, Beat]:
    """The neighbouring beats with the fewest shares between them, the last such pair."""
    pairs = list(pairwise(beats))
    return min(reversed(pairs), key=lambda pair: len(pair[0].parts) + len(pair[1].parts))


@lru_cache(maxsize=512)
def _rewrites(line: str, column: int, end_column: int, help: str) -> tuple[str, ...]:
    """The texts among those a help suggests that, put in their place, leave fewer faults."""
    before = len(parse(line)[1])
    numbers = set(re.findall(r"\d+", line[column - 1 : end_column - 1]))
    found = []
    for text in _suggested(help):
        if not set(re.findall(r"\d+(?=[v^])", text)) <= numbers:
            continue  # an example, not these notes
        mended = line[: column - 1] + text + line[end_column - 1 :]
        if len(parse(mended)[1]) < before:
            found.append(text)
    return tuple(found)


def _suggested(help: str) -> Iterator[str]:
    """The pieces of notation that a help says to write: ``4^ 5v``, ``4^,5v``."""
    said = help.split("such as")[0]
    if not re.search(r"\bwrit(e|ten)\b", said):
        return
    run: list[str] = []
    for word in [*said.split(), ""]:
        bare = word.rstrip(",;")
        if bare and (_reads(bare) or bare in ("-", ".")):
            run.append(bare)
        if run and (bare != word or not bare or not (_reads(bare) or bare in ("-", "."))):
            if any(character.isdigit() for character in "".join(run)):
                yield " ".join(run)
            run = []


@lru_cache(maxsize=512)
def _reads(word: str) -> bool:
    tune, problems = parse(f" {word}")
    return not problems and isinstance(tune.lines[0], MusicLine) and any(tune.notes())


def _candidates(figure: Figure, harp: Harp, setting: Setting) -> Iterator[tuple[Figure, str]]:
    """Figures like this one that might do instead, the nearest to it first."""
    marks = figure.marks
    if len(figure.tones) == 1 and figure.shake is None:
        for tone, title in _tones(figure.tones[0], harp, setting):
            yield figure._replace(tones=(tone,)), title
    if marks.bends:
        single = marks._replace(
            scoop=min(1, marks.scoop), fall=min(1, marks.fall), dip=min(1, marks.dip)
        )
        yield figure._replace(marks=single), "as far as the reed gives"
        unbent = marks._replace(scoop=0, fall=0, dip=0)
        yield figure._replace(marks=unbent), "without the bend for expression"
    if len(figure.tones) == 1 and figure.tones[0].technique is Technique.BEND:
        plain = figure.tones[0]._replace(technique=Technique.NATURAL, depth=0)
        scooped = marks._replace(scoop=1)
        yield figure._replace(tones=(plain,), marks=scooped), "scooped, for expression"
    if figure.shake is not None:
        yield figure._replace(shake=None), "without the shake"
    if len(figure.tones) > 1:
        plain_tones = tuple(
            tone._replace(technique=Technique.NATURAL, depth=0) for tone in figure.tones
        )
        yield figure._replace(tones=plain_tones), "the chord unbent"
        for tone in (figure.tones[-1], figure.tones[0]):
            yield figure._replace(tones=(tone,)), f"{tone} alone"
    if figure.grace:
        yield figure._replace(grace=()), "without the grace note"
    if marks != PLAIN:
        yield figure._replace(marks=PLAIN), "without its marks"


def _tones(tone: Tone, harp: Harp, setting: Setting) -> Iterator[tuple[Tone, str]]:
    pitch = harp.intended(tone)
    ways: list[Tone] = []
    if pitch is not None:
        ways = [way.tone for way in harp.ways_by_pitch.get(pitch, ()) if way.tone != tone]
        ways.sort(key=lambda way: (tuple(Technique).index(way.technique), way.depth))
        for way in ways:
            if not way.overbent:
                yield way, f"{way}, the same {setting.name(pitch)}"
    reed = harp.reed(tone.hole, tone.breath, tone.slide)
    limit = harp.bend_limit(tone.hole, tone.breath, tone.slide) if reed is not None else 0
    if reed is not None and tone.technique is Technique.BEND:
        for depth in range(limit, 0, -1):
            bent = tone._replace(depth=depth)
            yield bent, f"{bent}, {setting.name(reed - depth)}"
        plain = tone._replace(technique=Technique.NATURAL, depth=0)
        yield plain, f"{plain} unbent, {setting.name(reed)}"
    if tone.overbent and reed is not None:
        over = harp.overbend(tone.hole)
        if over is not None:
            yield over.tone, f"{over.tone}, {setting.name(over.pitch)}"
    if pitch is not None:
        for way in ways:
            if way.overbent:
                yield way, f"{way}, the same {setting.name(pitch)}"
    if tone.slide and not harp.layout.has_slide:
        yield tone._replace(slide=False), "without the slide"
    if pitch is not None:
        for octave in (12, -12):
            for way_ in harp.ways_by_pitch.get(pitch + octave, ()):
                if way_.tone.technique is Technique.NATURAL:
                    higher = "higher" if octave > 0 else "lower"
                    yield way_.tone, f"{way_.tone}, an octave {higher}"
    if reed is None and tone.hole > harp.holes:
        last = tone._replace(hole=harp.holes)
        yield last, f"{last}, the last hole"
