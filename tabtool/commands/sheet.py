"""A page to put on a stand: large hole numbers to read from a metre away.

What is blown stands above the line, round and white; what is drawn hangs below it,
square and black. Every tooth under a number is a semitone of bend, a roof over it an
overblow or overdraw; a tail is a note held on, notched at each tap of the foot. The
signs a tune uses are explained at the foot of its first page.

--second KEY adds a smaller row below with the same sound played on another harp; --map the
harp with the notes the tune uses.

JSON: {"files", "older", "pages", "paper", "notes", "impossible", "second": {"harp",
"impossible"} or null}; `older` are files that look like pages of this sheet and are left from
before, `impossible` counts notes that cannot be played on that harp.
"""

from __future__ import annotations

import argparse
import os

from tabtool.canonical import write
from tabtool.cli import OK
from tabtool.commands import common, printing
from tabtool.holes.retab import Keep, Request, retab
from tabtool.load import Loaded, load
from tabtool.report import many
from tabtool.sheet.engrave import Second, pretty
from tabtool.sheet.layout import Options, sheet
from tabtool.sheet.output import older
from tabtool.written import as_written


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a tune, or - for standard input")
    printing.add_output(parser)
    common.add_harp(parser)
    parser.add_argument("--large", action="store_true", help="large print")
    parser.add_argument(
        "--no-key", action="store_true", help="leave out the explanation of the signs"
    )
    parser.add_argument(
        "--map", action="store_true", help="add a map of the harp with the notes the tune uses"
    )
    parser.add_argument(
        "--second", default="", metavar="KEY", help="add how to play it on this harp as well"
    )
    parser.add_argument("--staff", action="store_true", help="add the music on a staff")
    common.add_player(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    printing.check_output(args)
    metrics = printing.metrics()
    loaded = common.load_readable(args)
    second, lost = _second(args, loaded) if args.second else (None, 0)
    written = as_written(loaded.tune, args.harp, common.tuning_of(args))
    staves = printing.staves(loaded.tune, written) if args.staff else None
    options = Options(args.paper, args.large, not args.no_key, args.map, second, staves)
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
                "older": list(older(args.out, files)),
                "pages": len(pages),
                "paper": args.paper,
                "notes": sum(1 for _ in loaded.tune.notes()),
                "impossible": impossible,
                "second": second and {"harp": args.second, "impossible": lost},
            }
        )
    return OK


def _second(args: argparse.Namespace, loaded: Loaded) -> tuple[Second, int]:
    """The same sound on another harp, note by note, and how many notes it cannot play."""
    text = write(loaded.tune)
    folder = "" if args.file == "-" else os.path.dirname(args.file)
    again = load(
        text, loaded.tune.file, folder=folder, harp=args.harp, tuning=common.tuning_of(args)
    )
    request = Request(Keep.SOUND, harp=args.second)
    moved = retab(again, text, request, common.player_of(args)).loaded
    possible = {event.note.span for event in moved.score.events if event.possible}
    figures = {
        old.span: new.figure if new.span in possible else None
        for old, new in zip(loaded.tune.notes(), moved.tune.notes(), strict=True)
    }
    harp = moved.score.stretches[0].setting.harp
    assert harp is not None
    lost = sum(figure is None for figure in figures.values())
    if lost:
        common.warn(f"{many(lost, 'note')} cannot be played on {harp.called}: marked ×")
    return Second(pretty(harp.key), figures), lost
