"""Which harp to take: tunes rated on many harps, and the fewest harps for many tunes.

A tune is rated by the easiest fingering there is for it on a harp (see `fingering`): how
many of its written notes cannot be played, and what the rest costs in points. Ease is
points a note played; how much is easy is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from tabtool.diagnostics import TabError
from tabtool.harp import Harp, Layout
from tabtool.holes.fingering import hands
from tabtool.holes.melody import Melody
from tabtool.player import Player
from tabtool.tunings import (
    HARP_KEY_HELP,
    REGISTERS,
    STANDARD_KEYS,
    TUNINGS,
    find_tuning,
    make_harp,
    near_tuning,
)

EASE = {  # points a note at most
    "easy": 10,  # natural notes close together
    "moderate": 20,  # a bend now and then
    "hard": 40,  # bends all over, an overbend now and then
}
ANY_KEY = (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6)  # semitones, the nearer first
COMMON_REGISTERS = ("", "low", "high")


class Rated(NamedTuple):
    """Tunes on one harp, moved by `semitones`: written notes without a way, and points of the
    rest over all `notes` as played."""

    harp: Harp
    semitones: int
    impossible: int
    cost: int
    notes: int

    @property
    def ease(self) -> float:
        """Points a note."""
        return self.cost / self.notes if self.notes else 0.0


def every_harp(layouts: Iterable[Layout] = TUNINGS.values()) -> list[Harp]:
    """Harps of every key and register, the standard ones first."""
    found = []
    for layout in layouts:
        for register in COMMON_REGISTERS:
            for key in STANDARD_KEYS:
                harp = make_harp(f"{register} {key}{'m' if layout.minor else ''}", layout)
                assert harp is not None
                found.append(harp)
    return found


def rate(
    melodies: Sequence[Melody], harp: Harp, player: Player, shifts: Sequence[int] = (0,)
) -> Rated:
    """Tunes together on one harp; of several `shifts` in semitones the best, ties to the first."""
    played = hands(harp.layout, player)
    notes = sum(len(tune.passage) for tune in melodies)
    unknown = sum(
        len(dict.fromkeys((event.note.span, figure.token) for event, figure in tune.unknown))
        for tune in melodies
    )
    best: Rated | None = None
    for shift in shifts:
        impossible, cost = unknown, 0
        for tune in melodies:
            missing, points = played.rate(tune.passage, harp.root - shift)
            impossible += missing
            cost += points
        if best is None or (impossible, cost) < (best.impossible, best.cost):
            best = Rated(harp, shift, impossible, cost, notes)
    assert best is not None
    return best


def rank(
    melodies: Sequence[Melody],
    harps: Sequence[Harp],
    player: Player = Player(),  # noqa: B008 (immutable)
    any_key: bool = False,
) -> list[Rated]:
    """Harps for these tunes, best first: the fewest impossible notes, then the fewest points.

    With `any_key` each harp plays the tunes in the key that suits it best; of equals the one
    nearest to their own comes first, then the order of `harps`.
    """
    shifts = ANY_KEY if any_key else (0,)
    rated = [rate(melodies, harp, player, shifts) for harp in harps]
    return sorted(rated, key=lambda one: (one.impossible, one.cost, abs(one.semitones)))


class Cover(NamedTuple):
    """Harps that play all of some tunes: for each tune its harp, None where none plays it."""

    harps: tuple[Harp, ...]
    choice: tuple[Rated | None, ...]


def smallest_set(
    melodies: Sequence[Melody],
    harps: Sequence[Harp],
    player: Player = Player(),  # noqa: B008
    ease: float = EASE["moderate"],
    any_key: bool = False,
) -> Cover:
    """The fewest harps that play every tune whole, none costing more than `ease` points a note.

    Exact; among sets as small the one that costs least, then the first in the order of
    `harps`. A tune that no harp plays so takes no part.
    """
    shifts = ANY_KEY if any_key else (0,)
    rated = [[rate([tune], harp, player, shifts) for tune in melodies] for harp in harps]
    costs = [
        {
            number: one.cost
            for number, one in enumerate(row)
            if one.impossible == 0 and one.ease <= ease
        }
        for row in rated
    ]
    chosen = cheapest_cover(costs)
    choice: list[Rated | None] = []
    for number in range(len(melodies)):
        able = [at for at in chosen if number in costs[at]]
        best = min(able, key=lambda at: costs[at][number], default=None)
        choice.append(None if best is None else rated[best][number])
    return Cover(tuple(harps[at] for at in chosen), tuple(choice))


def cheapest_cover(costs: Sequence[dict[int, int]]) -> tuple[int, ...]:
    """The fewest of some rows that hold every number any row holds; of equals the cheapest.

    A row gives its cost for each number it holds; a set costs, for every number, the least
    of its rows. The search is exact: rows no better than another anywhere are left out,
    then sets of one row, of two and so on are tried, the number that fewest rows hold first.
    """
    wanted = set().union(*costs) if costs else set()
    if not wanted:
        return ()
    rows = [at for at, row in enumerate(costs) if row]
    kept: list[int] = []
    for at in rows:
        if not any(
            _no_better(costs[at], costs[other], other < at) for other in rows if other != at
        ):
            kept.append(at)
    holders = {number: [at for at in kept if number in costs[at]] for number in wanted}
    most = max(len(costs[at]) for at in kept)
    best: tuple[int, tuple[int, ...]] | None = None

    def search(chosen: tuple[int, ...], left: frozenset[int], more: int) -> None:
        nonlocal best
        if not left:
            total = sum(min(costs[at].get(n, _NEVER) for at in chosen) for n in wanted)
            found = total, tuple(sorted(chosen))
            if best is None or found < best:
                best = found
            return
        if len(left) > more * most:
            return
        rarest = min(left, key=lambda number: (len(holders[number]), number))
        for at in holders[rarest]:
            search((*chosen, at), left - costs[at].keys(), more - 1)

    size = 0
    while best is None:
        size += 1
        search((), frozenset(wanted), size)
    return best[1]


_NEVER = 1 << 60  # points of a number a row does not hold


def _no_better(row: dict[int, int], other: dict[int, int], first: bool) -> bool:
    """Whether `other` holds all of `row` as cheaply; of two equal rows the first one counts."""
    if not all(number in other and other[number] <= cost for number, cost in row.items()):
        return False
    return first or row != other


def read_case(text: str, file: str = "the case") -> list[Harp]:
    """A player's harps: ``A, C, low F, Bb Paddy Richter``, between commas or on lines.

    A harp is a key, perhaps with a register before it and a tuning after it; ``#`` starts
    a comment. `TabError` says which is none.
    """
    harps: list[Harp] = []
    register = "|".join(sorted(filter(None, REGISTERS), key=len, reverse=True))
    for number, line in enumerate(text.splitlines(), start=1):
        for part in re.split(r"(?:^|\s)#(?:\s|$)", line)[0].split(","):
            said = " ".join(part.split())
            if not said:
                continue
            found = re.fullmatch(
                rf"((?:(?:{register}) )?[a-g](?:#|b|♯|♭)?m?)(?: (.+))?", said, re.IGNORECASE
            )
            if not found:
                raise TabError(f"{file}, line {number}: '{said}' is no harp; {HARP_KEY_HELP}")
            layout = find_tuning(found[2]) if found[2] else TUNINGS["Richter"]
            if found[1].endswith("m") and not found[2]:
                layout = TUNINGS["natural minor"]
            if layout is None:
                raise TabError(
                    f"{file}, line {number}: no tuning is called '{found[2]}'; "
                    f"{near_tuning(found[2])}"
                )
            harp = make_harp(found[1], layout)
            if harp is None:
                raise TabError(
                    f"{file}, line {number}: a {layout.name} harp is not sold as {found[1]}; "
                    f"{HARP_KEY_HELP}"
                )
            harps.append(harp)
    if not harps:
        raise TabError(f"{file}: no harp in it; write keys such as A, C, low F")
    return list(dict.fromkeys(harps))
