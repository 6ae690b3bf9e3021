"""Chords typed as stacks: tab lines directly below each other, a column of numbers a chord.

Tab lines without a line between them are a stack, or lines of melody one after the other.
What stands in the same columns may be a stack where every column makes a chord (one breath,
no hole twice) and, of three lines and more, none is left out between and the top or bottom
line is full. It must be one where a line keeps to the columns of its neighbour but leaves
some out that it would not as melody: between its notes, or both before and after them. All
ways to part such lines into stacks and single lines are weighed; where several are left,
nothing is guessed. Lines and columns count from 0 here, from 1 in messages.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple, TypeAlias

from tabtool.diagnostics import TabError
from tabtool.scores.spellings import Unclear, together
from tabtool.tune import Figure

STACKED, MELODY = "stacked", "melody"
LINES = {
    STACKED: "numbers under each other sound together",
    MELODY: "each line is played after the one above it",
}
HIGHEST = 10  # lines of one stack
SHOWN = 8  # notes of a reading shown in a message


class Sign(NamedTuple):
    """A note or chord, or a bar line (`figure` is None), at its place."""

    line: int
    column: int
    text: str
    figure: Figure | None = None

    @property
    def end(self) -> int:
        return self.column + len(self.text)

    @property
    def number(self) -> int:
        """The column of its first digit."""
        found = re.search(r"\d", self.text)
        return self.column + (found.start() if found else 0)


Row: TypeAlias = tuple[Sign, ...]


class _Way(NamedTuple):
    """One way to part the lines from some line on: where the first part ends, and the rest."""

    parts: int
    end: int = 0
    rest: _Way | None = None


def gathered(rows: Sequence[Row], lines: str, name: str) -> list[tuple[Row, ...]]:
    """The lines of tab by what is played together: stacks, and single lines by themselves.

    `lines` is a name of LINES, or empty where the columns are to tell. `TabError` where they
    tell of no one reading, or of a chord that is none.
    """
    if lines == MELODY:
        return [(row,) for row in rows]
    found: list[tuple[Row, ...]] = []
    for run in _runs(rows):
        found += [tuple(run[a:b]) for a, b in _parted(run, lines == STACKED, name)]
    return found


def merged(rows: Sequence[Row]) -> Row:
    """Lines that sound together as one, the holes of each chord from low to high."""
    if len(rows) == 1:
        return rows[0]
    columns = _columns(rows)
    assert columns is not None
    return tuple(
        Sign(column[0].line, min(sign.column for sign in column), column[0].text, _chord(column))
        for column in columns
    )


def _runs(rows: Sequence[Row]) -> Iterator[list[Row]]:
    """The lines by neighbourhood: no other line and no empty one between."""
    run: list[Row] = []
    for row in rows:
        if run and row[0].line != run[-1][0].line + 1:
            yield run
            run = []
        run.append(row)
    if run:
        yield run


def _parted(run: Sequence[Row], stacked: bool, name: str) -> list[tuple[int, int]]:
    """The stacks and single lines of a run, as (first, past the last)."""
    ways = _ways(run)
    if not ways:
        raise _contradiction(run, name)
    best = _parts(ways[0])
    fewest = len(ways) == 1 or ways[0].parts < ways[1].parts
    if len(ways) > 1 and not (stacked and fewest):
        raise _open(run, best, _parts(ways[1 if stacked else -1]), fewest, name)
    if stacked:
        for (above, _), (_, end) in pairwise(best):
            if end - above == 2 and (fault := _fault(_columns(run[above:end]))):
                raise _no_chord(*fault, name)
    return best


def _ways(run: Sequence[Row]) -> list[_Way]:
    """The two ways with the fewest parts, and the one with the most; fewer if there are fewer."""
    last = len(run)
    ends = [_ends(run, start) for start in range(last)]
    ways = {(above, last): [_Way(0)] for above in range(last)}
    for start in reversed(range(last)):
        near = range(max(0, start - HIGHEST), start)  # no part is higher
        for above in [above for above in near if start in ends[above]] or [start]:
            found = [
                _Way(rest.parts + 1, end, rest)
                for end in ends[start]
                if not _belong(run[above:start], run[start:end])
                for rest in ways[start, end]
            ]
            found.sort(key=lambda way: way.parts)
            ways[above, start] = found if len(found) < 4 else [*found[:2], found[-1]]
    return ways[0, 0]


def _parts(way: _Way) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    start = 0
    while way.rest is not None:
        found.append((start, way.end))
        start, way = way.end, way.rest
    return found


def _ends(run: Sequence[Row], start: int) -> list[int]:
    """Where a single line or a stack that begins at `start` may end."""
    ends = [start + 1]
    for end in range(start + 2, min(len(run), start + HIGHEST) + 1):
        columns = _columns(run[start:end])
        if columns is None or _fault(columns):
            break
        if _is_stack(run[start:end], columns):
            ends.append(end)
    return ends


def _columns(rows: Sequence[Row]) -> list[Row] | None:
    """The signs by columns, each from the top down; None where they do not line up."""
    found: list[list[Sign]] = []
    shortest = longest = 0  # where the signs of the last column end
    for sign in sorted((sign for row in rows for sign in row), key=lambda sign: sign.column):
        beside = found[-1][0] if found else None
        if sign.column >= longest:
            if beside is not None and beside.figure is None and sign.figure is None:
                return None  # bar lines with nothing between should be under each other
            found.append([sign])
            shortest = longest = sign.end
            continue
        assert beside is not None
        bar, other = (one.text if one.figure is None else "" for one in (sign, beside))
        if bar != other or sign.column >= shortest:
            return None
        found[-1].append(sign)
        shortest, longest = min(shortest, sign.end), max(longest, sign.end)
    return [tuple(sorted(column)) for column in found]


def _chord(column: Row) -> Figure | None:
    """The signs of a column together, None for a bar line; `Unclear` where they are no chord."""
    tones = [tone for sign in column if sign.figure is not None for tone in sign.figure.tones]
    return together(sorted(tones, key=lambda tone: tone.hole)) if tones else None


def _fault(columns: Sequence[Row] | None) -> tuple[Row, str] | None:
    """The first column that is no chord, down to the sign that spoils it, and why."""
    for column in columns or ():
        if _why_not(column):
            signs = range(2, len(column) + 1)
            spoilt = next(column[:count] for count in signs if _why_not(column[:count]))
            return spoilt, _why_not(spoilt)
    return None


def _why_not(column: Row) -> str:
    """Why the signs of a column are no chord; empty where they are one."""
    try:
        _chord(column)
    except Unclear as unclear:
        return str(unclear)
    return ""


def _is_stack(rows: Sequence[Row], columns: Sequence[Row]) -> bool:
    """Whether lines that line up make a stack that does not read like line after line."""
    notes = [column for column in columns if column[0].figure is not None]
    first = rows[0][0].line
    filled = [[sign.line - first for sign in column] for column in notes]
    if any(lines[-1] - lines[0] >= len(lines) for lines in filled):
        return False  # a line left out between
    full = any(all(line in lines for lines in filled) for line in (0, len(rows) - 1))
    in_turn = all(len(column) == 1 for column in notes) and notes == sorted(notes)
    return (full or len(rows) == 2) and not in_turn


def _belong(above: Sequence[Row], below: Sequence[Row]) -> bool:
    """Whether one of two neighbours keeps to columns of the other as no melody would."""
    if not above or _starts(above) == _starts(below):
        return False  # neither leaves out anything
    columns = _columns([*above, *below])
    if columns is None:
        return False
    split = below[0][0].line
    notes = [column for column in columns if column[0].figure is not None]
    shared = [column for column in notes if column[0].line < split <= column[-1].line]
    if not shared or not all(_flush(column) for column in shared):
        return False
    halves = (
        [tuple(sign for sign in column if (sign.line < split) is upper) for column in notes]
        for upper in (True, False)
    )
    return any(_leaves_out(notes, half) for half in halves)


def _starts(rows: Sequence[Row]) -> set[int]:
    return {sign.column for row in rows for sign in row if sign.figure is not None}


def _flush(column: Row) -> bool:
    """Whether the signs of a column are set under each other, and do not just overlap."""
    return any(
        len({getattr(sign, edge) for sign in column}) == 1 for edge in ("column", "number", "end")
    )


def _leaves_out(columns: Sequence[Row], own: Sequence[Row]) -> bool:
    """Whether lines leave room for columns between their own, or both before and after them.

    `own` is what they have in each column. Room is a blank on either side of the column too.
    """
    before = False
    ended = -1  # where the last of their own ends
    passed: list[Row] = []  # columns left out since
    for column, mine in zip(columns, own, strict=True):
        if not mine:
            passed.append(column)
            continue
        start = min(sign.column for sign in mine)
        left = [c for c in passed if max(sign.end for sign in c) < start]
        if ended >= 0 and any(c[0].column > ended for c in left):
            return True
        before = before or bool(left)
        ended, passed = max(sign.end for sign in mine), []
    return before and bool(passed)


def _no_chord(column: Row, why: str, name: str) -> TabError:
    low = column[-1]
    return TabError(
        f"{name}:{low.line + 1}:{low.column + 1}: '{low.text}' stands under '{column[-2].text}' "
        f"as in a chord: {why}; mend it, leave an empty line above what is played later, or read "
        f"each line after the one above it with --lines {MELODY}"
    )


def _contradiction(run: Sequence[Row], name: str) -> TabError:
    """What to say of lines of which some must sound together and cannot."""
    for low in range(1, len(run)):
        for high in range(low - 1, max(-1, low - HIGHEST), -1):
            fault = _fault(_columns(run[high : low + 1]))
            if fault and _belong(run[high:low], [run[low]]):
                return _no_chord(*fault, name)
    return TabError(
        f"{name}: {_named(run)} stand in columns like chords, and it cannot be told which of them "
        f"sound together; leave an empty line above what is played later, or read each line "
        f"after the one above it with --lines {MELODY}"
    )


def _open(
    run: Sequence[Row],
    one: Sequence[tuple[int, int]],
    other: Sequence[tuple[int, int]],
    fewest: bool,
    name: str,
) -> TabError:
    """What to say of lines that read in two ways, which are both shown.

    `fewest` says that no way has as few parts as the one.
    """
    start = next(a[0] for a, b in zip(one, other, strict=False) if a != b)
    ends = {end for _, end in one}, {end for _, end in other}
    stop = min(end for end in ends[0] & ends[1] if end > start)
    shown = []
    for parts, others, by_option in ((one, ends[1], fewest), (other, ends[0], False)):
        here = [(a, b) for a, b in parts if start <= a < stop]
        signs = [sign for a, b in here for sign in merged(run[a:b])]
        notes = [sign.figure.token for sign in signs if sign.figure is not None]
        more = " …" if len(notes) > SHOWN else ""
        if all(b - a == 1 for a, b in here):
            how = f"--lines {MELODY}"
        elif by_option:
            how = f"--lines {STACKED}"
        else:
            cuts = [run[b - 1][0].line + 1 for _, b in here if b not in others]
            how = f"an empty line under line {cuts[0]}" if cuts else "no empty line among them"
        shown.append(f"{' '.join(notes[:SHOWN])}{more} with {how}")
    return TabError(
        f"{name}: {_named(run[start:stop])} are set in columns, and nothing tells whether they "
        f"sound together or one after the other; they read {', or '.join(shown)}; say which "
        f"it is, or leave an empty line above what is played later"
    )


def _named(rows: Sequence[Row]) -> str:
    first, last = rows[0][0].line + 1, rows[-1][0].line + 1
    return f"lines {first} {'and' if last == first + 1 else 'to'} {last}"
