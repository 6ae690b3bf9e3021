"""Print everywhere on a harp that a pitch sounds, then its octaves to check it against by ear.

A bare letter (F) finds the note in every octave. Natural notes come first: a bend is
in tune when it matches a natural note of the same name.
"""

from __future__ import annotations

import argparse

from tabtool.cli import OK, PROBLEMS
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.harp import Harp, Way, find
from tabtool.music import hz, parse_pitch
from tabtool.report import table


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "pitch", metavar="PITCH", help="a note: F4, Bb5, or a bare letter such as F"
    )
    parser.add_argument(
        "--harp", required=True, metavar="KEY", help="the harp's key: C, Bb, low F …"
    )
    common.add_tuning(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    found = parse_pitch(args.pitch)
    if found is None:
        raise TabError(f"'{args.pitch}' is no pitch; write a note such as F4, Bb5 or F#")
    harp = common.harp_of(args.harp, common.tuning_of(args))
    ways = find(harp, *found)
    if args.json:
        common.print_json([_row(harp, way, away) for way, away in ways])
    elif ways:
        print(_table(harp, ways))
    else:
        print(f"{args.pitch} sounds nowhere on {harp.called}")
    return OK if ways else PROBLEMS


def _row(harp: Harp, way: Way, away: int) -> dict[str, object]:
    tone = way.tone
    return {
        "hole": tone.hole,
        "breath": str(tone.breath),
        "technique": str(tone.technique),
        "depth": int(tone.depth),
        "slide": tone.slide,
        "token": tone.token,
        "pitch": harp.named(way.pitch),
        "midi": int(way.pitch),
        "hz": round(hz(way.pitch), 2),
        "octaves_away": away,
    }


def _table(harp: Harp, ways: list[tuple[Way, int]]) -> str:
    rows = [
        (way.tone.token, str(way.tone), harp.named(way.pitch), f"{hz(way.pitch):.1f}", _away(away))
        for way, away in ways
    ]
    return f"on {harp.called}:\n" + table(("tab", "how", "pitch", "Hz", "octave"), rows)


def _away(octaves: int) -> str:
    if not octaves:
        return "same"
    count = "an octave" if abs(octaves) == 1 else f"{abs(octaves)} octaves"
    return f"{count} {'up' if octaves > 0 else 'down'}"
