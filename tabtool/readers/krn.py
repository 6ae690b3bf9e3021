"""Humdrum **kern, through music21: one spine is one part.

music21 gives the notes. Names of parts and words are taken from the text, since it leaves
out words whose spine names no staff: spines of words belong to the notes left of them.
"""

from __future__ import annotations

import re
from collections import Counter, deque
from collections.abc import Iterator
from typing import Any, Literal, NamedTuple

from tabtool.diagnostics import TabError
from tabtool.readers import Choice, counted, few_enough, text_of
from tabtool.scores.jumps import written_out
from tabtool.scores.measures import Melody, stream

NOTES = "kern"
WORDS = ("text", "silbe", "lyrics")
HELD = "|"  # in a spine of words: the syllable goes on


class Spine(NamedTuple):
    """A column of the file from its top, with all that splits off it: tokens by line from 1."""

    kind: str
    tokens: dict[int, str]

    @property
    def name(self) -> str:
        """What the part is called, empty where nothing says it."""
        called = (t[3:] for t in self.tokens.values() if t.startswith(('*I"', "*I:")))
        return next(called, "").strip(" []")


def read(data: bytes, name: str, choice: Choice) -> Melody:
    """The melody of one spine."""
    text = text_of(data, name)
    if "**kern" not in text:
        raise TabError(f"{name}: this is no Humdrum file with a **kern spine")
    lines = text.splitlines()
    title = next((x.partition(":")[2].strip() for x in lines if x.startswith("!!!OTL")), "")
    few_enough(sum(1 for line in lines if line[:1] not in tuple("!*=")), name)
    from tabtool.readers.staff import melody_of, parse_score  # music21: late, for it is slow

    spines = spines_of(lines)
    score = parse_score(text, "humdrum", name)
    _label(score, spines)
    melody = melody_of(score, name, choice, title)
    measures = melody.measures
    while len(measures) > 1 and not measures[-1].notes:  # music21's, behind the last bar line
        measures = measures[:-1]
    if any(token.startswith("==") for spine in spines for token in spine.tokens.values()):
        last = measures[-1]
        measures = (*measures[:-1], last._replace(double=False, final=not last.closes))
    melody = melody._replace(measures=measures, lost=(*melody.lost, *_left_out(spines)))
    return _ordered(melody, next(_orders(spines), ()))


def _orders(spines: list[Spine]) -> Iterator[tuple[str, ...]]:
    """The orders of sections, ``*>[A,A,B]``; the first is how it is played, repeats and all."""
    for token in (token for spine in spines for token in spine.tokens.values()):
        found = re.fullmatch(r"\*>\[([^\[\]]+)\]", token)
        if found:
            yield tuple(name.strip() for name in found[1].split(","))


def _ordered(melody: Melody, sections: tuple[str, ...]) -> Melody:
    """The melody in that order: by its own repeats where they lead so, else without them."""
    if not sections:
        return melody
    measures = melody.measures
    plain = tuple(bar._replace(opens=False, closes=False, endings=()) for bar in measures)
    meant = written_out(Melody(plain, sections=sections))
    if meant.lost and meant.measures == plain:  # it cannot be followed, as will be told
        return melody._replace(sections=sections)
    if stream(meant.measures) == stream(measures):
        return melody
    return melody._replace(measures=plain, sections=sections)


def spines_of(lines: list[str]) -> list[Spine]:
    """The spines of a file in order, as far as its columns add up."""
    spines: list[Spine] = []
    owners: list[Spine | None] = []  # whose each column is; None for one just added
    for number, line in enumerate(lines, start=1):
        if not line or line.startswith("!"):
            continue
        tokens = line.split("\t")
        if not owners:
            owners = [None] * len(tokens)
        if len(tokens) != len(owners):
            break
        for column, token in enumerate(tokens):
            if token.startswith("**"):
                spines.append(Spine(token[2:], {}))
                owners[column] = spines[-1]
            owner = owners[column]
            if owner is not None and token not in ("*", "."):
                owner.tokens.setdefault(number, token)
        owners = list(_after(tokens, owners))
    return spines


def _after(tokens: list[str], owners: list[Spine | None]) -> Iterator[Spine | None]:
    """Whose the columns are below a line: split (*^), joined (*v), added (*+), ended (*-)."""
    if tokens.count("*x") == 2:
        one, other = (index for index, token in enumerate(tokens) if token == "*x")
        owners = [*owners]
        owners[one], owners[other] = owners[other], owners[one]
    for column, (token, owner) in enumerate(zip(tokens, owners, strict=True)):
        joined = token == "*v" and column and tokens[column - 1] == "*v"
        if token == "*-" or (joined and owners[column - 1] is owner):
            continue
        yield owner
        if token == "*^":
            yield owner
        elif token == "*+":
            yield None


def _label(score: Any, spines: list[Spine]) -> None:
    """Give the parts of a score their names, their bars sections, their notes words."""
    for part in score.parts:
        found = re.fullmatch(r"spine_(\d+)", str(part.id))
        if found is None or int(found[1]) >= len(spines):
            continue
        index = int(found[1])
        part.partName = spines[index].name or part.partName or f"column {index + 1}"
        _label_bars(part, spines[index])
        _label_notes(part, list(_words_of(spines, index)))


def _label_bars(part: Any, spine: Spine) -> None:
    """Number the voices of bars, and mend their repeats; put the names of sections over them."""
    from music21 import expressions

    between = deque((n, t) for n, t in spine.tokens.items() if t[0] == "=" or _is_label(t))
    for measure in part.getElementsByClass("Measure"):
        for number, voice in enumerate(measure.voices, start=1):
            voice.id = str(number)
        begins = min((one.priority for one in measure.recurse().notesAndRests), default=0)
        while between and between[0][0] < begins:
            _, token = between.popleft()
            if _is_label(token):
                mark = expressions.RehearsalMark(token[2:])  # type: ignore[no-untyped-call]
                measure.insert(0, mark)
            elif not token.endswith(":"):
                measure.leftBarline = None  # where one ends, music21 begins the next repeat


def _is_label(token: str) -> bool:
    """Whether it names a section, ``*>A``."""
    return token.startswith("*>") and "[" not in token


def _label_notes(part: Any, verses: list[Spine]) -> None:
    """Give the notes of a part the words beside them."""
    from music21 import note

    for element in part.recurse().notes if verses else ():
        line = element.priority  # where music21 keeps the line of a note
        element.lyrics = [
            note.Lyric(syllable, number, syllabic=syllabic, applyRaw=True)
            for number, verse in enumerate(verses, start=1)
            for syllable, syllabic in [_syllable(verse.tokens.get(line, ""))]
            if syllable
        ]


def _words_of(spines: list[Spine], index: int) -> Iterator[Spine]:
    for spine in spines[index + 1 :]:
        if spine.kind == NOTES:
            return
        if spine.kind in WORDS:
            yield spine


def _syllable(token: str) -> tuple[str, Literal["single", "begin", "middle", "end"]]:
    """A syllable without its hyphens, and where in its word it stands."""
    if token == HELD:
        return "_", "single"
    if token.endswith("-"):
        return token.strip("-"), "middle" if token.startswith("-") else "begin"
    return token.strip("-"), "end" if token.startswith("-") else "single"


def _left_out(spines: list[Spine]) -> Iterator[str]:
    """What stands in the file beside notes and words, in plain words."""
    others = Counter(f"**{s.kind}" for s in spines if s.kind not in (NOTES, *WORDS))
    if others:
        yield f"the spines {counted(others)} are left out"
