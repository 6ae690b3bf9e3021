"""Write tunes in their one canonical layout: beats in columns, meaning unchanged, comments kept.

Rewrites each file in place, leaving it alone if it is already so; standard input (-)
goes to standard output. A tune with anything in it that cannot be read is not touched.
"""

from __future__ import annotations

import argparse
import sys

from tabtool.canonical import write
from tabtool.cli import OK, PROBLEMS, UNREADABLE
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.files import write_file
from tabtool.parse import parse
from tabtool.report import as_text


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "files", nargs="+", metavar="FILE", help="tunes, folders of tunes, or - for standard input"
    )
    parser.add_argument(
        "--check", action="store_true", help="write nothing; end with 1 if a file would change"
    )
    common.add_out(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    status = OK
    rows: list[dict[str, object]] = []
    paths = list(common.tunes_in(args.files))
    if args.out and len(paths) > 1:
        raise TabError("-o takes one tune; without it each file is rewritten in its place")
    for path in paths:
        try:
            text, name = common.read_source(path)
        except TabError as error:
            print(f"tabtool: {error}", file=sys.stderr)
            status = UNREADABLE
            continue
        tune, faults = parse(text, name)
        if faults:
            print(as_text(faults, text), file=sys.stderr)
            print(f"tabtool: {name}: left as it is", file=sys.stderr)
            status = max(status, PROBLEMS)
            rows.append({"file": name, "readable": False, "changed": False})
            continue
        laid_out = write(tune)
        changed = laid_out != text
        rows.append({"file": name, "readable": True, "changed": changed})
        if args.check:
            if changed:
                status = max(status, PROBLEMS)
                if not args.json:
                    print(f"{name}: would be laid out anew")
        elif args.out or path == "-":
            common.write_out(args.out or "-", laid_out.encode())
        elif changed:
            write_file(path, laid_out.encode())
            if not args.json:
                print(f"{name}: laid out anew")
    if args.json:
        common.print_json(rows)
    return status
