"""Write a tune out for others, in the form its file name asks for.

  .musicxml, .mxl   a score for notation programs (MusicXML 4.0), the tab under the staff
  .abc              ABC notation (2.1), the tab as annotations over the notes
  .txt              the tab in a spelling people type by hand, to paste into a mail
  .csv, .json       a table of the notes as they are played

What the form cannot say is listed.
"""

from __future__ import annotations

import argparse
import os

from tabtool.cli import OK
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.scores.spellings import SPELLINGS
from tabtool.writers.form import SUFFIXES, in_form
from tabtool.writers.musicxml import TabAs


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a tune, or - for standard input")
    common.add_out(parser, required=True)
    common.add_harp(parser)
    parser.add_argument(
        "--tab",
        choices=[str(kind) for kind in TabAs],
        default=str(TabAs.LYRIC),
        help="where the tab stands in a score: as a line of words, as technical text at the "
        "notes, or not at all (default: lyric)",
    )
    parser.add_argument(
        "--spelling",
        choices=list(SPELLINGS),
        default="plus-minus",
        help="how tab for a mail is typed (default: plus-minus): "
        + "; ".join(f"{name}: {one.meaning}" for name, one in SPELLINGS.items()),
    )
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    suffix = os.path.splitext(args.out)[1].lower()
    if suffix not in SUFFIXES:
        raise TabError(
            f"{args.out}: write knows {', '.join(SUFFIXES)}, and not "
            f"{suffix or 'a name without suffix'}"
        )
    loaded = common.load_readable(args)
    if not loaded.score.events:
        raise TabError(f"{loaded.tune.file}: no notes to write")
    data, lost = in_form(
        loaded, suffix, TabAs(args.tab), args.harp, common.tuning_of(args), args.spelling
    )
    common.write_out(args.out, data)
    if args.json:
        notes = len(loaded.score.events)
        common.print_json({"out": args.out, "notes": notes, "bytes": len(data), "remarks": lost})
    else:
        for line in lost:
            common.warn(f"{os.path.basename(args.out)}: {line}")
    return OK
