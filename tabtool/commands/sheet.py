"""A page to put on a stand: large hole numbers to read from a metre away.

What is blown stands above the line, round and white; what is drawn hangs below it,
square and black. Every tooth under a number is a semitone of bend, a roof over it an
overblow or overdraw; a tail is a note held on, notched at each tap of the foot. The
signs a tune uses are explained at the foot of its first page.
"""

from __future__ import annotations

import argparse

from tabtool.cli import OK
from tabtool.commands import common, printing
from tabtool.report import many
from tabtool.resolve import as_written
from tabtool.sheet.layout import Options, sheet


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a tune, or - for standard input")
    printing.add_output(parser)
    common.add_harp(parser)
    parser.add_argument("--large", action="store_true", help="large print")
    parser.add_argument(
        "--no-key", action="store_true", help="leave out the explanation of the signs"
    )
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    printing.check_output(args)
    metrics = printing.metrics()
    loaded = common.load_readable(args)
    written = as_written(loaded.tune, args.harp, common.tuning_of(args))
    options = Options(args.paper, args.large, not args.no_key)
    pages = sheet(loaded.tune, written, options, metrics)
    files = printing.write_pages(pages, loaded.tune.title or "Untitled", args)
    impossible = len({event.note.span for event in loaded.score.events if not event.possible})
    if impossible:
        common.warn(
            f"{many(impossible, 'note')} cannot be played on this harp (see tabtool check);"
            " printed as written"
        )
    if args.json:
        common.print_json(
            {
                "files": files,
                "pages": len(pages),
                "paper": args.paper,
                "notes": sum(1 for _ in loaded.tune.notes()),
                "impossible": impossible,
            }
        )
    return OK
