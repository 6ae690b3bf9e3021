"""Print the exact pitch to aim every note of a harp at, bends included, to lay beside a tuner.

Each line gives the tab, the note, its frequency in Hz, its cents from equal temperament (what
a tuner's needle should show), the natural note that sounds its unison or octave to check it by
ear, and the beats a second heard when the two sound together 5 cents apart. Where no natural
note sounds it, the nearest one is named and how far away it lies; there is no beat to count.
The last column is left free for what your own tuner shows.

A bend and its reference cannot be played at once: take the reference from a second harp, a
drone or a recording, or play one after the other. Two natural notes joined by + can be.

Warm the harp in the hand first and play gently: cold reeds and hard breath sound flat. Bends
are made with the mouth, not with force; if you feel light-headed, stop and breathe quietly.

JSON: {"harp", "tuning", "temperament", "a4", "cents_apart", "targets": [{"hole", "breath",
"technique", "depth", "slide", "token", "pitch", "midi", "hz", "cents", "reference": {"hole",
"breath", "slide", "token", "pitch", "hz", "semitones", "same_note"} or null, "beats" or null,
"split"}]}.
"""

from __future__ import annotations

import argparse

from tabtool.cli import OK
from tabtool.commands import common
from tabtool.harp import Harp
from tabtool.report import table
from tabtool.targets import CENTS_APART, Reference, Target, interval, targets
from tabtool.temperament import A4_STANDARD, EQUAL, Temperament


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--harp", required=True, metavar="KEY", help="the harp's key: C, Bb, low F …"
    )
    common.add_tuning(parser)
    common.add_temperament(parser)
    parser.add_argument(
        "--overbends", action="store_true", help="overblows and overdraws as well as bends"
    )
    common.add_out(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    harp = common.harp_of(args.harp, common.tuning_of(args))
    temperament = common.temperament_of(args) or EQUAL
    a4 = common.pitch_of(args) or A4_STANDARD
    found = targets(harp, temperament, a4, args.overbends)
    if args.json:
        common.print_json(as_json(harp, temperament, a4, found))
    else:
        common.write_out(args.out or "-", (as_page(harp, temperament, a4, found) + "\n").encode())
    return OK


def as_json(
    harp: Harp, temperament: Temperament, a4: float, found: tuple[Target, ...]
) -> dict[str, object]:
    """The targets; the schema is in this module's docstring."""

    def hz(pitch: float) -> float:
        return round(temperament.hz(pitch, harp.root, a4), 3)

    def reference(of: Reference) -> dict[str, object]:
        return {
            "hole": of.tone.hole,
            "breath": str(of.tone.breath),
            "slide": of.tone.slide,
            "token": of.tone.token,
            "pitch": harp.named(of.pitch),
            "hz": hz(of.pitch),
            "semitones": of.semitones,
            "same_note": of.same_note,
        }

    return {
        "harp": harp.key,
        "tuning": harp.tuning,
        "temperament": temperament.name,
        "a4": a4,
        "cents_apart": CENTS_APART,
        "targets": [
            {
                "hole": one.tone.hole,
                "breath": str(one.tone.breath),
                "technique": str(one.tone.technique),
                "depth": int(one.tone.depth),
                "slide": one.tone.slide,
                "token": one.tone.token,
                "pitch": harp.named(one.pitch),
                "midi": int(one.pitch),
                "hz": round(one.hz, 3),
                "cents": round(one.cents, 2),
                "reference": reference(one.reference) if one.reference else None,
                "beats": round(one.beats, 2) if one.beats is not None else None,
                "split": one.split,
            }
            for one in found
        ],
    }


def as_page(harp: Harp, temperament: Temperament, a4: float, found: tuple[Target, ...]) -> str:
    """A page to print: one line a note, a blank line between holes, room to write."""
    rows = []
    hole = 0
    for one in found:
        if hole and one.tone.hole != hole:
            rows.append(("",) * 8)
        hole = one.tone.hole
        reference = one.reference
        rows.append(
            (
                one.tone.token,
                harp.named(one.pitch),
                f"{one.hz:.2f}",
                f"{one.cents:+.1f}" if round(one.cents, 1) else "0",
                _by_ear(reference) if reference else "",
                f"{one.beats:.1f}" if one.beats is not None else "-",
                one.split,
                "........",
            )
        )
    head = ("tab", "note", "Hz", "cents", "check it by", "beats", "at once", "yours")
    return (
        f"{harp}, {temperament.name} temperament, A4 = {a4:g} Hz\n"
        f"beats: heard a second when both sound together, {CENTS_APART:g} cents apart\n\n"
        + table(head, rows)
        + "\n\nBend with the mouth, not with force. If you feel light-headed, stop."
    )


def _by_ear(reference: Reference) -> str:
    """``5v, an octave above``; a reference of another note in brackets."""
    text = f"{reference.tone.token}, {interval(reference.semitones)}"
    return text if reference.same_note else f"({text})"
