"""Write a tune as a MIDI file, bends and expressive marks sounding as written."""

from __future__ import annotations

import argparse

from tabtool.cli import OK
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.report import many
from tabtool.writers.mid import write


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a tune, or - for standard input")
    common.add_out(parser, required=True)
    common.add_harp(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    loaded = common.load_readable(args)
    if not loaded.score.events:
        raise TabError(f"{loaded.tune.file}: no notes to play")
    impossible = [event for event in loaded.score.events if not event.possible]
    silent = [event for event in impossible if None in event.pitches]
    common.write_out(args.out, write(loaded.score))
    if impossible:
        common.warn(
            f"{many(len(impossible), 'note')} cannot be played on this harp"
            f" (see tabtool check); sounding the pitch the tab asks for"
            + (f", {len(silent)} with no reed at all left silent" if silent else "")
        )
    if args.json:
        common.print_json(
            {
                "out": args.out,
                "notes": len(loaded.score.events),
                "seconds": round(loaded.score.seconds, 6),
                "impossible": len(impossible),
            }
        )
    return OK
