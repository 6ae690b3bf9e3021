"""ABC tunes, through music21. A collection holds several: one is chosen by number or title.

music21 gives pitch and written length of notes; bars, repeats and all that is said at a note
come from the text itself (`abc_text`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from tabtool.diagnostics import TabError
from tabtool.music import Meter, moved
from tabtool.readers import HARP, Choice, choose_part, counted, few_enough, text_of
from tabtool.readers.abc_fields import field
from tabtool.readers.abc_text import scan
from tabtool.readers.abc_voice import BarText, Place
from tabtool.report import many
from tabtool.scores.measures import Measure, Melody, Sign, Sounded

LONGEST = 200_000  # characters of one tune


def read(data: bytes, name: str, choice: Choice) -> Melody:
    """The melody of one tune."""
    text = one_tune(text_of(data, name), name, choice.tune)
    if len(text) > LONGEST:
        raise TabError(f"{name}: a tune of {len(text)} characters, more than {LONGEST}")
    key = re.search(r"^K:", text, re.MULTILINE)
    if not key:
        raise TabError(f"{name}: this is no ABC file: a tune needs a line K: with its key")
    damaged = re.search(r"(?m)=3D|=20$", text) is not None
    if damaged:  # as mail encodes signs; no ABC has a figure after an equals sign
        text = _unmailed(text)
        key = re.search(r"^K:", text, re.MULTILINE)
        assert key is not None
    head = text[: key.start()]
    taken = scan(text)
    if choice.voice:
        raise TabError(f"{name}: ABC has its voices as parts; choose one with --part")
    names = [voice.name for voice in taken.voices]
    voice = taken.voices[choose_part(names, name, choice.part)]
    few_enough(sum(len(bar.places) for one in taken.voices for bar in one.bars), name)
    from tabtool.readers.staff import parse_score  # music21: late, for it is slow

    score = parse_score(voice.notes_only, "abc", name)
    sounding = list(_heard(score.parts[0])) if score.parts else []
    places = [place for bar in voice.bars for place in bar.places]
    if len(sounding) != len(places):
        raise TabError(
            f"{name}: {len(places)} notes and rests, of which {len(sounding)} were understood"
        )
    measures = list(_measures(_opened(voice.bars), sounding, taken.meter))
    if HARP.fullmatch(field(head, "N")) and measures:
        change = measures[0].change._replace(harp=field(head, "N"))
        measures[0] = measures[0]._replace(change=change)
    measures, shifted = _sounding(measures, places[0].shift)
    said = ("the notation has no place for " + counted(taken.lost),) if taken.lost else ()
    return Melody(
        tuple(measures),
        field(head, "T"),
        field(head, "C"),
        voice.name if len(names) > 1 else "",
        (
            *said,
            *taken.remarks,
            *shifted,
            *(("=3D and =20, left by mail, are read as what they stand for",) if damaged else ()),
        ),
        taken.sections,
    )


def _sounding(measures: list[Measure], shift: int) -> tuple[list[Measure], tuple[str, ...]]:
    """The bars with their keys as they sound, and in words how far that is from the text."""
    if not shift:
        return measures, ()
    out = []
    for bar in measures:
        key = bar.change.key
        sounding = key and moved(key, shift)
        out.append(bar._replace(change=bar.change._replace(key=sounding)))
    said = f"notes sound {many(abs(shift), 'semitone')} {'lower' if shift < 0 else 'higher'}"
    said += " than written, as the clef or octave= or transpose= says"
    if shift % 12 and any(bar.symbols for bar in measures):
        said += "; chord symbols stay as written"
    return out, (said,)


def _unmailed(text: str) -> str:
    """The text without what mail does to it (quoted-printable, RFC 2045, 6.7)."""
    text = re.sub(r"(?m)^(?![A-Za-z]:)(.*)=20$", r"\1 ", text.replace("=\n", ""))
    return text.replace("=3D", "=")


def _opened(bars: tuple[BarText, ...]) -> tuple[BarText, ...]:
    """The bars with |: where a :| without one goes back to: behind the last double bar or :|.

    So the tunes of the old collections are meant; common practice, no source.
    """
    out = list(bars)
    start, opened = 0, False
    for index, bar in enumerate(bars):
        if bar.opens:
            start, opened = index, True
        if bar.closes and not opened and start:
            out[start] = out[start]._replace(opens=True)
        following = bars[index + 1] if index + 1 < len(bars) else None
        ends = bar.closes or bar.double or bar.final
        if ends and following is not None and not following.endings:
            start, opened = index + 1, False
    return tuple(out)


def _heard(part: Any) -> Iterator[Sounded]:
    """Every note and rest of a part in order, each at onset 0, grace notes with their note."""
    from tabtool.readers.staff import struck

    grace: list[float] = []
    last: tuple[float, ...] = ()
    for element in part.recurse().notesAndRests:
        note = struck(element, last)
        if note is None:
            grace.append(max(p.ps for p in element.pitches))
            continue
        last = note.pitches
        yield note._replace(grace=tuple(grace) if note.pitches else ())
        grace = [] if note.pitches else grace


def _measures(
    bars: tuple[BarText, ...], sounding: list[Sounded], meter: Meter
) -> Iterator[Measure]:
    """The bars of the text with the notes music21 read."""
    at = 0
    before: Sounded | None = None  # a note from which a tie leads on
    for bar in bars:
        change = bar.places[0].change
        for place in bar.places[1:]:
            change = place.change.over(change)
        meter = change.meter or meter
        now = Fraction(0)
        notes: list[Sounded] = []
        symbols: list[tuple[Fraction, str]] = []
        signs: list[Sign] = []
        for place in bar.places:
            note = _at(place, sounding[at], now, meter, before)
            at += 1
            before = note if place.ties else None
            if place.symbol:
                symbols.append((now, place.symbol))
            signs += [sign._replace(at=now) for sign in place.signs]
            notes.append(note)
            now += note.duration
        yield Measure(
            now, meter, tuple(notes), tuple(symbols), change, bar.opens, bar.closes, bar.times,
            bar.endings, bar.double, bar.final, (*signs, *(s._replace(at=now) for s in bar.signs)),
        )  # fmt: skip


def _at(
    place: Place, note: Sounded, now: Fraction, meter: Meter, before: Sounded | None
) -> Sounded:
    """A note at its place in the bar, with its words and tab, tied to `before` if it is."""
    note = note._replace(
        pitches=tuple(pitch + place.shift for pitch in note.pitches),
        grace=tuple(pitch + place.shift for pitch in note.grace),
    )
    lasts = note.duration * place.ratio
    if place.whole_bar and meter.beats is not None:
        lasts = meter.beats * meter.beat_quarters
    tied = before is not None and bool(note.pitches) and note.pitches == before.pitches
    return note._replace(onset=now, duration=lasts, lyrics=place.words, tab=place.tab, tied=tied)


def one_tune(text: str, name: str, wanted: str) -> str:
    """The text of one tune of a collection, with what the file says of all tunes before it."""
    starts = [found.start() for found in re.finditer(r"^X:", text, re.MULTILINE)]
    if len(starts) < 2 and not wanted:
        return text
    head = text[: starts[0]] if starts else ""
    tunes = [text[a:b] for a, b in zip(starts, [*starts[1:], len(text)], strict=True)] or [text]
    titles = []
    for number, tune in enumerate(tunes, start=1):
        own = re.match(r"X:\s*(\d+)", tune)
        titles.append((int(own[1]) if own else number, field(tune, "T")))
    if not wanted:
        raise TabError(
            f"{name}: {len(tunes)} tunes; choose one by number or title with --tune: "
            f"{_listed(titles)}"
        )
    low = wanted.lower()
    found = [i for i, (n, _) in enumerate(titles) if wanted.isdecimal() and n == int(wanted)]
    found = found or [i for i, (_, title) in enumerate(titles) if title.lower() == low]
    found = found or [i for i, (_, title) in enumerate(titles) if low in title.lower()]
    if len(found) != 1:
        how_many = f"{len(found)} tunes are" if found else "no tune is"
        near = [titles[i] for i in found] or titles
        raise TabError(f"{name}: {how_many} called '{wanted}' ({_listed(near)})")
    return head + tunes[found[0]]


def _listed(titles: list[tuple[int, str]]) -> str:
    shown = "; ".join(f"{number} {title}" for number, title in titles[:8])
    return shown + (f"; and {len(titles) - 8} more" if len(titles) > 8 else "")
