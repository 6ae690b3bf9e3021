"""Print everywhere on a harp that a pitch sounds, then its octaves to check it against by ear.

A bare letter (F) finds the note in every octave. Natural notes come first: a bend is
in tune when it matches a natural note of the same name.
"""

from __future__ import annotations

import argparse

from tabtool.cli import OK, PROBLEMS
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.harp import Harp, Technique, Way
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


def find(harp: Harp, pitch_class: int, pitch: int | None) -> list[tuple[Way, int]]:
    """The ways to sound a pitch and how many octaves away each lies, nearest first.

    Without an octave (`pitch` None) every octave counts as none away.
    """
    order = tuple(Technique)
    ways = [way for way in harp.ways if way.pitch % 12 == pitch_class]
    pairs = [(way, 0 if pitch is None else int(way.pitch - pitch) // 12) for way in ways]
    return sorted(
        pairs,
        key=lambda pair: (
            abs(pair[1]),
            pair[0].pitch,
            order.index(pair[0].tone.technique),
            pair[0].tone.depth,
            pair[0].tone.hole,
        ),
    )


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
