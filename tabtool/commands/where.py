"""Print every other way to sound each note of a tune on its harp, easiest first.

Beside each way stands what it costs more (+) or less (-) than the written one at that place,
in points: ten are one change of breath at leisure. --costs prints what counts how much. For
a note that cannot be played come the nearest below and above, with the cents between, and
points by themselves. Grace notes are left out.

Ends with 0, with 1 if a note cannot be played, with 2 if the tune could not be read.
"""

from __future__ import annotations

import argparse

from tabtool.cli import OK, PROBLEMS
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.holes.costs import costs_for
from tabtool.holes.whereabouts import Whereabouts, whereabouts
from tabtool.load import Loaded
from tabtool.player import Player
from tabtool.report import many, table


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", nargs="?", help="a tune, or - for standard input")
    parser.add_argument(
        "--problems", action="store_true", help="only notes that are impossible or hard"
    )
    parser.add_argument("--costs", action="store_true", help="print the table of costs instead")
    common.add_harp(parser)
    common.add_player(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    player = common.player_of(args)
    if args.costs:
        return _costs(args, player)
    if not args.file:
        raise TabError("name a tune, or ask for --costs")
    loaded = common.load_readable(args)
    places = whereabouts(loaded, player, args.problems)
    if args.json:
        common.print_json([_row(place) for place in places])
    elif places:
        print(as_table(places))
    else:
        print(f"{loaded.tune.file}: nothing impossible or hard in it")
    return _status(loaded)


def _status(loaded: Loaded) -> int:
    return OK if loaded.playable else PROBLEMS


def _row(place: Whereabouts) -> dict[str, object]:
    """The JSON of one written note; its schema is documented in the README."""
    return {
        "line": place.note.span.line,
        "column": place.note.span.column,
        "written": place.note.figure.token,
        "pitch": place.pitch or None,
        "choices": [
            {
                "token": way.token,
                "technique": str(way.technique),
                "cents": way.cents,
                "cost": way.cost,
            }
            for way in place.ways
        ],
    }


def as_table(places: list[Whereabouts]) -> str:
    rows = []
    for place in places:
        ways = []
        for way in place.ways:
            cents = f", {way.cents:+d} cents" if way.cents else ""
            points = f"{way.cost:+d}" if place.possible else many(way.cost, "point")
            ways.append(f"{way.token} ({points}{cents})")
        span = place.note.span
        rows.append(
            (
                f"{span.line}:{span.column}",
                place.note.figure.token,
                (place.pitch or "?") + ("" if place.possible else "  cannot be played"),
                "; ".join(ways) or "nowhere else",
            )
        )
    return table(("line", "note", "pitch", "other ways, easiest first"), rows)


def _costs(args: argparse.Namespace, player: Player) -> int:
    weights = costs_for(player)._asdict()
    if args.json:
        common.print_json(
            [
                {"name": name.rstrip("_"), "points": weight.points, "words": weight.words}
                for name, weight in weights.items()
            ]
        )
    else:
        rows = [(str(weight.points), weight.words) for weight in weights.values()]
        print(table(("points", "for"), rows))
    return OK
