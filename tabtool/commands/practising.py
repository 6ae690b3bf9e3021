"""What the commands that make something to listen to share: their arguments, the options to
practise with among them, how a tune becomes what is to be heard, and what is told of it."""

from __future__ import annotations

import argparse
import re
from fractions import Fraction
from typing import NamedTuple

from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.events import Score
from tabtool.load import Loaded
from tabtool.practice import (
    Click,
    Practice,
    Strum,
    arranged,
    clicks,
    comping,
    share,
    unknown,
)
from tabtool.report import many


class Piece(NamedTuple):
    """What is to be heard: a tune as it is practised, and the taps and strums with it."""

    loaded: Loaded
    score: Score
    taps: tuple[Click, ...]
    strums: tuple[Strum, ...]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of the commands that make something to listen to."""
    parser.add_argument("file", metavar="FILE", help="a tune, or - for standard input")
    common.add_out(parser, required=True)
    common.add_harp(parser)
    common.add_temperament(parser)
    common.add_json(parser)
    group = parser.add_argument_group("to practise with")
    group.add_argument("--tempo", default="", metavar="BEATS", help="beats a minute to begin with")
    group.add_argument("--slow", default="", metavar="SHARE", help="of the tempo, such as 60%%")
    group.add_argument("--section", default="", metavar="NAME", help="play one section alone")
    group.add_argument("--loop", default="", metavar="N", help="play it so many times")
    group.add_argument(
        "--ladder",
        default="",
        metavar="SHARE",
        help="begin the loop at this share of the tempo, such as 60%%, and step up to all of it",
    )
    group.add_argument(
        "--steps", default="", metavar="N", help="steps of the ladder (one each pass if absent)"
    )
    group.add_argument(
        "--count-in", default="", metavar="BARS", help="bars of taps before it begins"
    )
    group.add_argument("--click", action="store_true", help="taps all the way through")
    group.add_argument(
        "--chords", action="store_true", help="plain accompaniment from the chord symbols"
    )


def piece_of(args: argparse.Namespace) -> Piece:
    """The tune of ``FILE`` as the options want it; `TabError` where there is nothing to hear."""
    practice = asked(args)
    loaded = common.load_readable(args)
    if not loaded.score.events:
        raise TabError(f"{loaded.tune.file}: no notes to play")
    score = arranged(loaded.score, practice)
    strums = comping(score) if practice.chords else ()
    return Piece(loaded, score, clicks(score, practice.click), strums)


def put_out(
    args: argparse.Namespace, piece: Piece, data: bytes, seconds: float, **told: object
) -> None:
    """Write the file; tell of what cannot be played or accompanied, and in JSON of the rest."""
    common.write_out(args.out, data)
    impossible = _warn_impossible(piece.loaded.score)
    if args.chords:
        _warn_symbols(piece.loaded.score)
    if args.json:
        common.print_json(
            {
                "out": args.out,
                "notes": len(piece.score.events),
                "seconds": round(seconds, 6),
                "impossible": impossible,
                **told,
            }
        )


def asked(args: argparse.Namespace) -> Practice:
    """What the options to practise with ask for."""

    def count(name: str, most: int) -> int:
        text = getattr(args, name)
        if not re.fullmatch(r"\d{1,4}", text) or not 1 <= int(text) <= most:
            option = name.replace("_", "-")
            raise TabError(f"--{option} {text}: write a whole number from 1 to {most}")
        return int(text)

    if args.steps and not args.ladder:
        raise TabError("--steps belongs to a ladder: add --ladder 60%")
    if args.tempo and not re.fullmatch(r"\d{1,3}(\.\d{1,3})?", args.tempo):
        raise TabError(f"--tempo {args.tempo}: write beats a minute, such as 90")
    tempo = Fraction(args.tempo) if args.tempo else None
    if tempo is not None and not 10 <= tempo <= 400:
        raise TabError(f"--tempo {args.tempo}: write beats a minute, from 10 to 400")
    return Practice(
        tempo=tempo,
        slow=share(args.slow) if args.slow else Fraction(1),
        section=args.section,
        loop=count("loop", 999) if args.loop else 1,
        ladder=share(args.ladder) if args.ladder else None,
        steps=count("steps", 100) if args.steps else 0,
        count_in=count("count_in", 16) if args.count_in else 0,
        click=args.click,
        chords=args.chords,
    )


def _warn_impossible(score: Score) -> int:
    """Tell of notes this harp has not; returns how many there are."""
    impossible = [event for event in score.events if not event.possible]
    silent = [event for event in impossible if None in event.pitches]
    if impossible:
        common.warn(
            f"{many(len(impossible), 'note')} cannot be played on this harp"
            " (see tabtool check); sounding the pitch the tab asks for"
            + (f", {len(silent)} with no reed at all left silent" if silent else "")
        )
    return len(impossible)


def _warn_symbols(score: Score) -> None:
    """Tell of chord symbols that cannot be accompanied, and where there are none at all."""
    if not score.symbols:
        common.warn('the tune has no chord symbols, so there is no accompaniment; write "G7"2v')
    for symbol in unknown(score):
        common.warn(
            f"{symbol.span.file}:{symbol.span.line}:{symbol.span.column}: no chord is known as "
            f"'{symbol.text}', so it is left out; write it as in G7, Am, F#m7b5 or C/E"
        )
