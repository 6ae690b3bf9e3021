"""Write a tune as a MIDI file, bends and expressive marks sounding as written."""

from __future__ import annotations

import argparse

from tabtool.cli import OK
from tabtool.commands import common, practising
from tabtool.diagnostics import TabError
from tabtool.practice import arranged, clicks, comping
from tabtool.writers.mid import write


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a tune, or - for standard input")
    common.add_out(parser, required=True)
    common.add_harp(parser)
    common.add_temperament(parser)
    practising.add_options(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    practice = practising.asked(args)
    loaded = common.load_readable(args)
    if not loaded.score.events:
        raise TabError(f"{loaded.tune.file}: no notes to play")
    score = arranged(loaded.score, practice)
    strums = comping(score) if practice.chords else ()
    common.write_out(args.out, write(score, clicks(score, practice.click), strums))
    impossible = practising.warn_impossible(loaded.score)
    if practice.chords:
        practising.warn_symbols(loaded.score)
    if args.json:
        common.print_json(
            {
                "out": args.out,
                "notes": len(score.events),
                "seconds": round(score.seconds, 6),
                "impossible": impossible,
            }
        )
    return OK
