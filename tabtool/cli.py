"""The command line: arguments in, exit status out.

Each command is one file in `commands`, imported only when it is asked for, so that
the everyday ones start at once. To add one, add its file and its line in `COMMANDS`.
"""

from __future__ import annotations

import argparse
import gc
import importlib
import os
import sys

from tabtool.diagnostics import TabError, nearest

COMMANDS = {
    "check": "can every note be played on this harp? says why not, and what to write instead",
    "explain": "what a rule means, with a tab that trips it and one that does not",
    "notes": "what each note sounds: pitch, Hz, degree, onset, duration",
    "layout": "every note of a harp, with all its bends and overbends",
    "find": "everywhere on a harp that a pitch sounds, and its octaves",
    "where": "every other way to sound each note of a tune on its harp, easiest first",
    "harps": "which harps play a tune, the easiest first; the fewest for a folder of tunes",
    "transpose": "move a tune to another harp or key: same holes, same sound, or another key",
    "targets": "the exact pitch to aim each note and bend at, and how to check it by ear",
    "drill": "graded practice pages for bends, and worksheets",
    "take": "judge a recording against its tab, note by note: was the bend in tune?",
    "listen": "write down what a recording plays, as a first tab for your harp",
    "audio": "a sound file of a tune, to listen to: .wav, .flac or .ogg",
    "midi": "a MIDI file of a tune, bends included, to listen to",
    "sheet": "a page to put on a stand, to read from a metre away: .pdf, .svg, .png, .html",
    "read": "a score or a tab typed by hand, read and written down as tab",
    "write": "a tune for others: a score, ABC, typed tab, or a table of its notes",
    "format": "write a tune in its one canonical layout",
    "page": "a page in the browser to write, see, hear and move tunes",
}

OK, PROBLEMS, UNREADABLE = 0, 1, 2


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns its exit status (0 well, 1 problems found, 2 could not be done)."""
    arguments = sys.argv[1:] if argv is None else argv
    # Starting up makes many objects that stay; looking through them for rubbish again and again
    # takes a tenth of a short command's time.
    gc.set_threshold(50_000, 20, 20)
    try:
        return _run(arguments)
    except TabError as error:
        print(f"tabtool: {error}", file=sys.stderr)
        return UNREADABLE
    except BrokenPipeError:
        # The reader of our output has gone (tabtool notes … | head): not a fault of ours.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except KeyboardInterrupt:
        return 130


def _run(arguments: list[str]) -> int:
    if not arguments or arguments[0] in ("-h", "--help", "help"):
        print(_overview())
        return OK if arguments else UNREADABLE
    name, rest = arguments[0], arguments[1:]
    if name in ("-V", "--version"):
        from importlib.metadata import PackageNotFoundError, version

        try:
            print(f"tabtool {version('tabtool')}")
        except PackageNotFoundError:
            print("tabtool, run from its source without being installed")
        return OK
    if name not in COMMANDS:
        near = nearest(name, COMMANDS)
        instead = f"did you mean '{near}'? " if near else ""
        raise TabError(f"there is no command '{name}'; {instead}commands: {', '.join(COMMANDS)}")
    command = importlib.import_module(f"tabtool.commands.{name.replace('-', '_')}")
    parser = argparse.ArgumentParser(
        prog=f"tabtool {name}",
        description=command.__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.configure(parser)
    status = command.run(parser.parse_args(rest))
    sys.stdout.flush()
    return int(status)


def _overview() -> str:
    width = max(map(len, COMMANDS))
    listed = "\n".join(f"  {name.ljust(width)}  {what}" for name, what in COMMANDS.items())
    return (
        "usage: tabtool COMMAND …\n\n"
        "Tab for the ten-hole harmonica: what each note sounds, and whether it can be played.\n\n"
        f"commands:\n{listed}\n\ntabtool COMMAND --help tells more of each"
    )
