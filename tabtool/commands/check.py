"""Check whether every note of a tune can be played on its harp.

Ends with 0 if nothing is impossible, 1 if something is, 2 if a file could not be read.
Errors cannot be read or played; cautions are hard; hints name an easier way.
"""

from __future__ import annotations

import argparse
import sys

from tabtool.cli import OK, PROBLEMS, UNREADABLE
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.report import as_rows, as_text, summary


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "files", nargs="+", metavar="FILE", help="tunes, folders of tunes, or - for standard input"
    )
    common.add_harp(parser)
    common.add_player(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    status = OK
    rows: list[dict[str, object]] = []
    for path in common.tunes_in(args.files):
        try:
            loaded, text = common.load_one(args, path)
        except TabError as error:
            print(f"tabtool: {error}", file=sys.stderr)
            status = UNREADABLE
            continue
        if not loaded.playable:
            status = max(status, PROBLEMS)
        if args.json:
            rows += as_rows(loaded.diagnostics)
            continue
        if loaded.diagnostics:
            print(as_text(loaded.diagnostics, text))
        print(summary(loaded))
    if args.json:
        common.print_json(rows)
    return status
