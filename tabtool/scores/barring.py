"""Bars that end within a beat, made into bars of whole beats.

The notation counts a bar in whole beats. Old tunes begin with half a beat before the
bar and end their repeated parts that much short. `whole_bars` moves such a pick-up into
the bar before it (a first and a second ending where the passes go on differently); what
cannot be moved is written out without repeats, or in a bar of another meter. What is
heard stays the same, which is checked, apart from silence before and after the tune.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise, zip_longest
from typing import NamedTuple

from tabtool.music import Meter, parse_meter
from tabtool.scores.measures import (
    NO_CHANGE,
    Measure,
    RepeatError,
    Sounded,
    order,
    play_out,
    stream,
)


class Barred(NamedTuple):
    """Bars of whole beats, and what had to be done to have them."""

    measures: tuple[Measure, ...]
    remarks: tuple[str, ...] = ()


def whole_bars(measures: Sequence[Measure]) -> Barred:
    """The same music in bars of whole beats."""
    remarks: list[str] = []
    try:
        order(measures)
    except RepeatError as error:
        remarks.append(f"{error}; the bars are written once, without repeats")
        measures = [_bare(measure) for measure in measures]
    measures = _closed(measures, remarks)
    if not _writable(measures):
        remarks.append("repeats that endings 1 to 9 cannot say are written out in full")
        measures = play_out(measures)
    if not all(measure.whole for measure in measures):
        moved = _move_pickups(measures)
        if moved is None or not _same(moved, measures):
            played = _move_pickups(play_out(measures))
            if any(measure.closes for measure in measures):
                remarks.append("a repeat goes back within a beat: repeats are written out in full")
            moved = played if played is not None else list(play_out(measures))
        measures = moved
    out = []
    for number, measure in enumerate(measures, start=1):
        if not measure.whole:
            measure, remark = _other_meter(measure, number)
            if remark:
                remarks.append(remark)
        out.append(measure)
    return Barred(tuple(out), tuple(dict.fromkeys(remarks)))


def in_meter(measure: Measure) -> Measure:
    """A bar whose beats do not add up, given the meter they do add up to."""
    meter = meter_of(measure.length, measure.meter)
    return measure if meter is None else measure._replace(meter=meter)


def meter_of(length: Fraction, near: Meter) -> Meter | None:
    """A meter whose bar is `length` quarter notes, with the beat of `near` where there is one."""
    found: Meter | None = None
    for under in (4, 8, 2, 16, 32, 1):
        over = length * under / 4
        if over.denominator > 1 or not 1 <= over <= 32:
            continue
        meter = parse_meter(f"{over}/{under}")
        if meter is None:
            continue
        if meter.beat_quarters == near.beat_quarters:
            return meter
        found = found or meter
    return found


def _closed(measures: Sequence[Measure], remarks: list[str]) -> list[Measure]:
    """The bars without signs that a repeat begins where none goes back to them."""
    out = list(measures)
    opened: int | None = None
    for index, measure in enumerate(measures):
        if measure.opens:
            _not_closed(out, opened, remarks)
            opened = index
        if measure.closes:
            opened = None
    _not_closed(out, opened, remarks)
    return out


def _not_closed(out: list[Measure], opened: int | None, remarks: list[str]) -> None:
    if opened is not None:
        out[opened] = out[opened]._replace(opens=False)
        remarks.append(f"the repeat that begins with bar {opened + 1} never goes back: played once")


def opened(measures: Sequence[Measure]) -> list[Measure]:
    """The bars with |: where a repeat goes back past a double bar, or past a new section.

    Without the sign the notation goes back to there only.
    """
    out = list(measures)
    for one, two in pairwise(order(measures)):
        passed = out[two : one + 1]
        if two <= one and any(
            m.double or m.final or later.change != NO_CHANGE or later.meter != m.meter
            for m, later in pairwise(passed)
        ):
            out[two] = out[two]._replace(opens=True)
    return out


def _bare(measure: Measure) -> Measure:
    return measure._replace(opens=False, closes=False, times=2, endings=())


def _writable(measures: Sequence[Measure]) -> bool:
    """Whether the notation has signs for these repeats."""
    for index, measure in enumerate(measures):
        begins = measure.endings and (index == 0 or measures[index - 1].endings != measure.endings)
        if len(measure.endings) > 1 or any(number > 9 for number in measure.endings):
            return False
        if begins and measure.opens:
            return False
        if measure.closes and measure.times > 2 and not measure.endings:
            return False
    return True


def _same(moved: Sequence[Measure], measures: Sequence[Measure]) -> bool:
    try:
        return stream(moved) == stream(measures)
    except RepeatError:
        return False


def _move_pickups(measures: Sequence[Measure]) -> list[Measure] | None:
    """Each pick-up of a fraction of a beat in the bar before it; None where that cannot be."""
    played = order(measures)
    after: dict[int, list[int | None]] = {}
    before: dict[int, list[int | None]] = {}
    followed: Sequence[int | None] = [*played[1:], None]
    preceded: Sequence[int | None] = [None, *played[:-1]]
    for index, following, previous in zip(played, followed, preceded, strict=True):
        after.setdefault(index, []).append(following)
        before.setdefault(index, []).append(previous)
    moved = {
        index for index in before if not measures[index].whole and _movable(index, before, measures)
    }
    out: list[Measure] = []
    opens = False  # the next bar begins a repeat whose pick-up has been moved away
    carried = NO_CHANGE  # what began with that pick-up
    for index, measure in enumerate(measures):
        goes_back = any(
            previous is not None and previous >= index for previous in before.get(index, ())
        )
        if index in moved:
            if None in before[index]:
                out.append(_padded_before(measure))
            else:
                carried = measure.change
            opens = measure.opens or goes_back
            continue
        goes_to = list(dict.fromkeys(after.get(index, ())))
        measure = measure._replace(
            opens=measure.opens or opens, change=measure.change.over(carried)
        )
        opens, carried = False, NO_CHANGE
        if measure.whole or not (goes_to == [None] or any(one in moved for one in goes_to)):
            out.append(measure)
        elif len(goes_to) == 1:
            out.append(_joined(measure, measures, goes_to[0]))
        elif len(goes_to) == 2 and measure.closes and not measure.endings:
            first, second = (_joined(measure, measures, one) for one in goes_to)
            out.append(first._replace(endings=(1,), opens=measure.opens))
            out.append(second._replace(endings=(2,), opens=False, closes=False, change=NO_CHANGE))
            if not measure.final:
                out[-1] = out[-1]._replace(double=True)
        else:
            return None
    return [
        one._replace(double=one.double and not (two and two.opens and one.endings))
        for one, two in zip_longest(out, out[1:])
    ]


def _movable(index: int, before: dict[int, list[int | None]], measures: Sequence[Measure]) -> bool:
    """Whether a short bar completes every bar that it follows."""
    short = measures[index]
    if short.closes or short.endings or short.full is None or short.length >= short.full:
        return False
    if short.change.tempo is not None and before[index][0] is not None:
        return False  # a new tempo must begin where it stands; a key or a name may wait
    return all(
        previous is None
        or (
            measures[previous].full == short.full
            and measures[previous].length + short.length == short.full
        )
        for previous in before[index]
    )


def _joined(measure: Measure, measures: Sequence[Measure], following: int | None) -> Measure:
    """A bar with the pick-up of the next bar, or at the end of the tune silence, behind it."""
    full = measure.full
    if following is None:
        if full is None or measure.length >= full:
            return measure
        rest = Sounded(measure.length, full - measure.length)
        return measure._replace(length=full, notes=(*measure.notes, rest))
    pickup = measures[following]
    if full is None or measure.length + pickup.length != full:
        return measure
    shift = measure.length
    return measure._replace(
        length=full,
        notes=(*measure.notes, *(n._replace(onset=n.onset + shift) for n in pickup.notes)),
        symbols=(*measure.symbols, *((at + shift, text) for at, text in pickup.symbols)),
    )


def _padded_before(measure: Measure) -> Measure:
    """A pick-up with silence before it, up to the beat in which it begins."""
    beat = measure.meter.beat_quarters
    length = -(-measure.length // beat) * beat
    shift = length - measure.length
    return measure._replace(
        length=length,
        opens=False,
        notes=(
            Sounded(Fraction(0), shift),
            *(n._replace(onset=n.onset + shift) for n in measure.notes),
        ),
        symbols=tuple((at + shift, text) for at, text in measure.symbols),
    )


def _other_meter(measure: Measure, number: int) -> tuple[Measure, str]:
    """A bar that ends within a beat, in a meter of its own, or else filled up with silence."""
    meter = meter_of(measure.length, measure.meter)
    if meter is not None:
        return measure._replace(meter=meter), (
            f"bar {number} lasts {measure.beats} beats of {measure.meter.text}: "
            f"written as a bar of {meter.text}"
        )
    beat = measure.meter.beat_quarters
    length = -(-measure.length // beat) * beat
    rest = Sounded(measure.length, length - measure.length)
    return measure._replace(length=length, notes=(*measure.notes, rest)), (
        f"bar {number} lasts {measure.beats} beats of {measure.meter.text}: "
        f"filled up with silence to {length / beat} beats"
    )
