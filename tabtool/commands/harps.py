"""Rank harps for a tune: the fewest impossible notes first, then the least work.

Every key, register and tuning is tried, or the player's own (--own "A, C, low F"), at the
tune's own pitch or, with --any-key, in the key that suits each harp best. Several tunes are
ranked together, as one programme. Points are those of the fingering (tabtool where --costs).

With --set: the fewest harps that play every tune of a folder whole and with ease; --ease
says how many points a note it may cost: easy (10), moderate (20), hard (40), or a number.

Ends with 0, with 1 if no harp plays all of it, with 2 if it could not be done.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter

from tabtool.cli import OK, PROBLEMS
from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.files import read_text
from tabtool.harp import Harp, Technique, position
from tabtool.holes.fingering import hands
from tabtool.holes.melody import Melody, melody
from tabtool.holes.ranking import EASE, Rated, every_harp, rank, read_case, smallest_set
from tabtool.holes.rekey import moved_key
from tabtool.load import Loaded
from tabtool.music import Key
from tabtool.player import Player
from tabtool.report import many, ordinal, table


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "files", nargs="+", metavar="FILE", help="tunes, folders of tunes, or - for standard input"
    )
    parser.add_argument(
        "--own", default="", metavar="HARPS", help='the player\'s harps: "A, C, low F", or a file'
    )
    common.add_tuning(parser)
    parser.add_argument(
        "--any-key", action="store_true", help="the tune may move to the key that suits the harp"
    )
    common.add_from(parser)
    parser.add_argument(
        "--set", action="store_true", help="find the fewest harps that play all the tunes"
    )
    parser.add_argument(
        "--ease",
        default="",
        metavar="POINTS",
        help="with --set: points a note at most: easy, moderate (if absent), hard, or a number",
    )
    parser.add_argument("--top", default="12", metavar="N", help="rows to print (12 if absent)")
    common.add_player(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    top = _whole(args.top)
    if args.ease and not args.set:
        raise TabError("--ease belongs to --set")
    tunes = [_tune(args, path) for path in common.tunes_in(args.files)]
    melodies = [melody(tune.score.events) for tune in tunes]
    harps = _harps(args)
    player = common.player_of(args)
    if args.set:
        return _set(args, tunes, melodies, harps, player)
    ranked = rank(melodies, harps, player, args.any_key)
    if args.json:
        common.print_json([_row(one, tunes) for one in ranked])
    else:
        print(_heading(tunes, len(harps)))
        print(as_table(ranked[:top], tunes, melodies, player, args.any_key))
        if len(ranked) > top:
            print(f"… and {len(ranked) - top} more (--top {len(ranked)} for all)")
    return OK if ranked[0].impossible == 0 else PROBLEMS


def _whole(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 100_000:
        raise TabError(f"--top {text}: write a whole number of rows, such as 20")
    return int(text)


def _tune(args: argparse.Namespace, path: str) -> Loaded:
    loaded, _ = common.load_on_its_harp(path, args.old_harp)
    if not loaded.score.events:
        raise TabError(f"{loaded.tune.file}: no notes in it")
    return loaded


def _harps(args: argparse.Namespace) -> list[Harp]:
    tuning = common.tuning_of(args)
    if not args.own:
        return every_harp() if tuning is None else every_harp([tuning])
    if tuning is not None:
        raise TabError("--own names the tunings too (Bb Paddy Richter), so leave --tuning out")
    if os.path.isfile(args.own):
        return read_case(read_text(args.own), args.own)
    return read_case(args.own, "--own")


def _key(tune: Loaded) -> Key | None:
    return tune.score.stretches[0].setting.key


def _position(one: Rated, tunes: list[Loaded]) -> int | None:
    """The position of the tunes on a harp; None if they say no key, or lie in several."""
    keys = [_key(tune) for tune in tunes]
    found = {position(one.harp, moved_key(key, one.semitones)) for key in keys if key}
    return found.pop() if len(found) == 1 and None not in keys else None


def _row(one: Rated, tunes: list[Loaded]) -> dict[str, object]:
    """The JSON of one harp; its schema is documented in the README."""
    return {
        "key": one.harp.key,
        "tuning": one.harp.tuning,
        "position": _position(one, tunes),
        "playable": one.impossible == 0,
        "impossible": one.impossible,
        "cost": one.cost,
    }


def _heading(tunes: list[Loaded], harps: int) -> str:
    names = tunes[0].tune.file if len(tunes) == 1 else f"{len(tunes)} tunes together"
    events = [event for tune in tunes for event in tune.score.events]
    pitches = [pitch for event in events for pitch in event.pitches if pitch is not None]
    if not pitches:
        raise TabError(f"{names}: no note in it has a pitch")
    lowest = next(e for e in events if min(pitches) in e.pitches).setting.name(min(pitches))
    highest = next(e for e in events if max(pitches) in e.pitches).setting.name(max(pitches))
    key = _key(tunes[0]) if len(tunes) == 1 else None
    of_key = f", in {key}" if key else ""
    return (
        f"{names}: {many(len(events), 'note')} as played, {lowest} to {highest}{of_key}, "
        f"on {many(harps, 'harp')}"
    )


def as_table(
    ranked: list[Rated], tunes: list[Loaded], melodies: list[Melody], player: Player, moved: bool
) -> str:
    head = ["harp", "tuning", "position", "cannot play", "points a note", "bends", "overbends",
            "holes", "hardest bars"]  # fmt: skip
    rows = []
    for one in ranked:
        place = _position(one, tunes)
        bends, overbends, holes, hardest = _details(one, melodies, player)
        row = [
            one.harp.key, one.harp.tuning, ordinal(place) if place else "-",
            str(one.impossible) if one.impossible else "-", f"{one.ease:.1f}", str(bends),
            str(overbends), holes, hardest if len(tunes) == 1 else "-",
        ]  # fmt: skip
        rows.append(row)
    if moved:
        head.insert(2, "moved by")
        for row, one in zip(rows, ranked, strict=True):
            row.insert(2, f"{one.semitones:+d}" if one.semitones else "0")
    return table(head, rows)


def _details(one: Rated, melodies: list[Melody], player: Player) -> tuple[int, int, str, str]:
    """Bends and overbends as played, the holes used, and the two bars that cost most."""
    played = hands(one.harp.layout, player)
    bends = overbends = 0
    holes: set[int] = set()
    bars: Counter[int] = Counter()
    for tune in melodies:
        grips = played.choose(tune.passage, one.harp.root - one.semitones).grips
        points = played.costs_along(tune.passage, grips)
        seen: set[tuple[int, int]] = set()
        for (event, _), grip, cost in zip(tune.places, grips, points, strict=True):
            if event.play == 1 or (event.bar, 1) not in seen:  # each bar once
                seen.add((event.bar, event.play))
                bars[event.bar] += cost
            if grip is not None:
                tones = grip.all_tones
                bends += sum(tone.technique is Technique.BEND for tone in tones)
                overbends += sum(tone.overbent for tone in tones)
                holes |= {tone.hole for tone in tones}
    span = f"{min(holes)}-{max(holes)}" if holes else "-"
    hardest = ", ".join(str(bar) for bar, cost in bars.most_common(2) if cost)
    return bends, overbends, span, hardest or "-"


def _set(
    args: argparse.Namespace,
    tunes: list[Loaded],
    melodies: list[Melody],
    harps: list[Harp],
    player: Player,
) -> int:
    ease = _ease(args.ease or "moderate")
    cover = smallest_set(melodies, harps, player, ease, args.any_key)
    missing = [tune.tune.file for tune, one in zip(tunes, cover.choice, strict=True) if one is None]
    if args.json:
        common.print_json(
            {
                "ease": ease,
                "harps": [{"key": harp.key, "tuning": harp.tuning} for harp in cover.harps],
                "tunes": [
                    {"file": tune.tune.file, **({} if one is None else _row(one, [tune]))}
                    for tune, one in zip(tunes, cover.choice, strict=True)
                ],
                "missing": missing,
            }
        )
        return PROBLEMS if missing else OK
    print(
        f"{many(len(cover.harps), 'harp')} for {many(len(tunes) - len(missing), 'tune')} "
        f"at no more than {ease:g} points a note, the fewest of {len(harps)} tried"
    )
    for harp in cover.harps:
        rows = []
        for tune, one in zip(tunes, cover.choice, strict=True):
            if one is not None and one.harp == harp:
                place = _position(one, [tune])
                by = f"moved by {one.semitones:+d}" if one.semitones else ""
                rows.append(
                    ("", tune.tune.title or tune.tune.file, f"{one.ease:.1f} points a note",
                     f"{ordinal(place)} position" if place else "", by)
                )  # fmt: skip
        print(f"{harp}\n" + "\n".join(table(rows[0], rows[1:]).splitlines()))
    for name in missing:
        print(f"on none of them: {name}")
    return PROBLEMS if missing else OK


def _ease(text: str) -> float:
    if text in EASE:
        return EASE[text]
    try:
        points = float(text)
    except ValueError:
        points = -1
    if not 0 <= points <= 10_000:
        raise TabError(f"--ease {text}: write easy, moderate, hard or points a note, such as 15")
    return points
