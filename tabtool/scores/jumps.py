"""D.C., D.S., Segno, Coda and Fine, and sections in an order of their own, written out.

Our notation has repeats and endings, and no jumps. The passage to which a D.C. or D.S. goes
back is therefore written again behind it, each of its repeats once and with the last ending
(common practice, no source): up to the Fine or Coda or, where there is neither, up to the D.C.
or D.S. itself. Where the signs leave open what is meant, the bars stay as they are printed, and
the melody says so.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import TypeVar

from tabtool.scores.measures import (
    NO_CHANGE,
    Measure,
    Melody,
    Sign,
    SignKind,
    laid_out,
    said_again,
    states_at,
)

_WORDS = re.compile(
    r"(?P<back>dc|dacapo|ds|dalsegno)(?:segno)?(?:(?:al|alla|to|tothe)(?P<until>fine|end|coda))?"
    r"(?:(?:senza|no|without|w/o)rep(?:eats?|li[ck]a|etizion[ei]|etitions?)?)?"
    r"|(?P<mark>fine|segno|coda)|(?:to|tothe|da|al|alla)(?P<to>coda)"
)
_DRAWN = {"𝄋": "segno", "𝄌": "coda", "⊕": "coda", "ø": "coda"}  # as letters or signs in words
_MARKS = {
    "fine": SignKind.FINE,
    "end": SignKind.FINE,
    "segno": SignKind.SEGNO,
    "coda": SignKind.CODA,
}
Found = TypeVar("Found")
_BACK = (SignKind.DA_CAPO, SignKind.DAL_SEGNO)


def sign_of(words: str, at: Fraction = Fraction(0)) -> Sign | None:
    """The sign that words such as ``D.S. al Coda`` are; None for other words."""
    plain = re.sub(r"[\s._(),;:]", "", words.lower())
    for drawn, word in _DRAWN.items():
        plain = plain.replace(drawn, word)
    found = _WORDS.fullmatch(re.sub(r"(segno|coda)\1", r"\1", plain))
    if not found:
        return None
    if found["back"]:
        capo = found["back"] in ("dc", "dacapo")
        return Sign(_BACK[0] if capo else _BACK[1], at, _MARKS.get(found["until"] or ""))
    return Sign(SignKind.TO_CODA if found["to"] else _MARKS[found["mark"]], at)


def written_out(melody: Melody) -> Melody:
    """The melody with its jumps written out, or told where they cannot be; without signs."""
    if melody.sections:
        try:
            measures, said = _in_order(melody.measures, melody.sections)
        except _UnclearError as why:
            order = "".join(melody.sections)
            measures = melody.measures
            said = (f"the order of sections, {order}, is not followed: {why}",)
        melody = melody._replace(measures=measures, lost=(*melody.lost, *said), sections=())
    signs = [(index, sign) for index, bar in enumerate(melody.measures) for sign in bar.signs]
    if not signs:
        return melody
    measures = tuple(bar._replace(signs=()) for bar in melody.measures)
    named = dict.fromkeys(f"{sign} (bar {index + 1})" for index, sign in signs)
    try:
        measures, what = _followed(measures, signs)
    except _UnclearError as why:
        what = f"not followed: {', '.join(named)}: {why}; the bars are as printed"
    return melody._replace(measures=measures, lost=(*melody.lost, what))


class _UnclearError(Exception):
    """Why the signs do not tell what to play."""


def _in_order(
    measures: tuple[Measure, ...], order: Sequence[str]
) -> tuple[tuple[Measure, ...], tuple[str, ...]]:
    """The sections in this order, each with its repeats; what was done, if anything."""
    starts = [index for index, bar in enumerate(measures) if bar.change.section]
    named = [measures[index].change.section for index in starts]
    if named == [*order]:
        return measures, ()
    for name in order:
        if named.count(name) != 1:
            how_many = "more than one" if name in named else "no"
            raise _UnclearError(f"there is {how_many} section {name}")
    if starts[0]:
        raise _UnclearError(f"bars stand before section {named[0]}")
    ends = dict(zip(named, [*starts[1:], len(measures)], strict=True))
    states = states_at(measures)
    out: list[Measure] = []
    state = NO_CHANGE
    for name in order:
        first, end = starts[named.index(name)], ends[name]
        section = [bar._replace(signs=(), final=False) for bar in measures[first:end]]
        back = next((bar for bar in section if bar.opens or bar.closes), None)
        section[0] = said_again(section[0], states[first], state)._replace(
            opens=section[0].opens or (back is not None and not back.opens)
        )
        section[-1] = section[-1]._replace(double=not section[-1].closes)
        out += section
        state = states[end - 1]
    out[-1] = out[-1]._replace(final=not out[-1].closes, double=False)
    return tuple(_untied(out)), (f"the sections are written out in their order: {' '.join(order)}",)


def _followed(
    measures: tuple[Measure, ...], signs: list[tuple[int, Sign]]
) -> tuple[tuple[Measure, ...], str]:
    """The bars as the signs lead, and what was done, in words."""
    back, jump = _only([found for found in signs if found[1].kind in _BACK], "D.C. or D.S.")
    first = 0
    if jump.kind is SignKind.DAL_SEGNO:
        first = _only(list(_starts(measures, signs, SignKind.SEGNO)), "Segno")
    to_coda = _to_coda(measures, signs, back)
    fines = [found for found in signs if found[1].kind is SignKind.FINE]
    named = to_coda or any(sign.kind is SignKind.CODA for _, sign in signs)
    until = jump.until or (SignKind.CODA if named else SignKind.FINE if fines else None)
    short = Fraction(0)  # what of the last bar is played, where it is not the whole
    if until is SignKind.CODA:
        last = _only(to_coda, "To Coda")
        codas = [at for at in _starts(measures, signs, SignKind.CODA) if at > back]
        coda = _only(codas, "Coda")
    elif until is SignKind.FINE:
        last, fine = _only(fines, "Fine")
        short = _up_to_fine(measures, first, last, fine.at)
        coda = len(measures)
    else:
        last, coda = back, back + 1
    if coda != back + 1:
        raise _UnclearError(f"nothing leads on to bar {back + 2}")
    again = list(_last_time(measures, first, last))
    if not first <= last <= back or last not in again:
        raise _UnclearError("what it goes back to does not come to its end")
    head = [*measures[:back], measures[back]._replace(final=False, double=True)]
    states = states_at(measures)
    out = head + laid_out(measures, again, states[back])
    if short:
        out[-1] = _cut(out[-1], short)
    if coda < len(measures):
        opening = said_again(measures[coda], states[coda], states[last])
        out += [opening, *measures[coda + 1 :]]
    else:
        out[-1] = out[-1]._replace(final=True)
    where = f"bar {first + 1}" if last == first else f"bars {first + 1} to {last + 1}"
    end = jump._replace(until=until)
    said = f"{end} is written out: {where} again behind bar {back + 1}, repeats played once"
    return tuple(_untied(out)), said


def _up_to_fine(measures: Sequence[Measure], first: int, last: int, at: Fraction) -> Fraction:
    """How much of its bar is played up to a Fine before a pick-up; 0 for the whole bar.

    It stands where the pick-up that the passage begins with makes a full bar of what is before.
    """
    bar, pickup = measures[last], measures[first].length
    struck = _struck(bar)
    if not struck or not struck[0] < at <= struck[-1]:
        return Fraction(0)
    if last > first and pickup + at == bar.length and pickup < bar.length:
        return at
    if at < struck[-1]:
        raise _UnclearError(f"the Fine stands within bar {last + 1}")
    return Fraction(0)


def _cut(bar: Measure, length: Fraction) -> Measure:
    """The beginning of a bar, of this length."""
    kept = [note for note in bar.notes if note.onset < length]
    kept[-1] = kept[-1]._replace(duration=min(kept[-1].duration, length - kept[-1].onset))
    symbols = tuple(one for one in bar.symbols if one[0] < length)
    return bar._replace(length=length, notes=tuple(kept), symbols=symbols)


def _only(found: Sequence[Found], name: str) -> Found:
    if len(set(found)) != 1:
        raise _UnclearError(f"there is {'more than one' if found else 'no'} {name}")
    return found[0]


def _starts(
    measures: Sequence[Measure], signs: list[tuple[int, Sign]], kind: SignKind
) -> Iterator[int]:
    """The bars that begin at signs of a kind; one at the end of a bar belongs to the next."""
    for index, sign in signs:
        if sign.kind is not kind:
            continue
        struck = _struck(measures[index])
        if not struck or sign.at <= struck[0]:
            yield index
        elif sign.at > struck[-1]:
            yield index + 1
        else:
            raise _UnclearError(f"the {sign} stands within bar {index + 1}")


def _struck(bar: Measure) -> list[Fraction]:
    """When the notes of a bar sound, rests apart."""
    return [note.onset for note in bar.notes if note.pitches]


def _to_coda(measures: Sequence[Measure], signs: list[tuple[int, Sign]], back: int) -> list[int]:
    """The bars behind which it goes to the Coda: To Coda, or the Coda sign before the jump."""
    bars = {index for index, sign in signs if sign.kind is SignKind.TO_CODA}
    bars |= {at - 1 for at in _starts(measures, signs, SignKind.CODA) if 0 < at <= back}
    return sorted(bars)


def _last_time(measures: Sequence[Measure], first: int, last: int) -> Iterator[int]:
    """The bars of a passage without those under endings that another ending follows."""
    for index in range(first, last + 1):
        after = index
        while after < len(measures) and measures[after].endings:
            after += 1
        latest = max((max(bar.endings) for bar in measures[index:after]), default=0)
        if not measures[index].endings or latest in measures[index].endings:
            yield index


def _untied(measures: list[Measure]) -> Iterator[Measure]:
    """The bars, ties let go that lead from another note than before the jump."""
    before: tuple[float, ...] = ()
    for bar in measures:
        if bar.notes and bar.notes[0].tied and bar.notes[0].pitches != before:
            bar = bar._replace(notes=(bar.notes[0]._replace(tied=False), *bar.notes[1:]))
        before = bar.notes[-1].pitches if bar.notes else before
        yield bar
