"""Whether the bars add up to their meter.

Excused are a pick-up, and the two parts of a bar that a repeat, a double bar or a new
section splits, where they make a whole bar together as they are played.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from tabtool.diagnostics import Diagnostic, Level, Rule
from tabtool.repeats import ends_part
from tabtool.tune import Bar
from tabtool.written import Written, notes_meant, uncounted

BAR_LENGTH = Rule("bar-length", Level.ERROR, "A bar does not add up to its meter.", reads=True)


def check_lengths(written: Written, order: Sequence[tuple[int, int]]) -> list[Diagnostic]:
    """The bars that do not add up; `order` is that of playing (see `repeats.played_order`)."""
    excused = _excused(written, order)
    found = []
    for index, (bar, *_) in enumerate(written.bars):
        meter = written.setting(index).meter
        if meter.beats is None or len(bar.beats) == meter.beats or index in excused:
            continue
        if not any(uncounted(note) for note in notes_meant(bar)):
            name = f"bar {written.first_number + index}"
            message, help = _fault(name, bar, meter.beats, meter.text)
            found.append(BAR_LENGTH.at(bar.span, message, help))
    return found


def _excused(written: Written, order: Sequence[tuple[int, int]]) -> set[int]:
    """The bars that may be short."""
    excused = {order[0][0]} if order and written.is_short(order[0][0]) else set[int]()
    for (one, _), (two, _) in pairwise(order):
        if (
            written.is_short(one)
            and written.is_short(two)
            and _parted(written, one, two)
            and _make_one_bar(written, one, two)
        ):
            excused |= {one, two}
    return excused


def _parted(written: Written, one: int, two: int) -> bool:
    """Whether something that may split a bar stands between two bars played in a row."""
    bars = written.bars
    return bool(
        two != one + 1
        or bars[one].closes
        or bars[two].opens
        or bars[two].ending
        or ends_part(bars, one)
    )


def _make_one_bar(written: Written, one: int, two: int) -> bool:
    wanted = written.setting(one).meter.beats
    together = len(written.bars[one].bar.beats) + len(written.bars[two].bar.beats)
    return together == wanted == written.setting(two).meter.beats


def _fault(name: str, bar: Bar, wanted: int, meter: str) -> tuple[str, str]:
    """What is wrong with the length of a bar, and what to do about it."""
    has = len(bar.beats)
    if not has:
        silence = " ".join("." * wanted)
        return (
            f"{name} is empty",
            f"write {silence} for a bar of silence, or take one of the two bar lines out",
        )
    if has > wanted:
        return (
            f"{name} has {has} beats, {_beats(has - wanted)} too many for {meter}",
            f"join what belongs to one beat with commas, or put a bar line after {_beats(wanted)}",
        )
    return (
        f"{name} has {_beats(has)}, {_beats(wanted - has)} too few for {meter}",
        "add - to hold the last note on, . for silence, or the missing notes",
    )


def _beats(count: int) -> str:
    return "one beat" if count == 1 else f"{count} beats"
