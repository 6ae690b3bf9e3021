"""Moving a tune to another harp, key or tuning, as the page shows it: before beside after."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from typing import NamedTuple

from tabtool.diagnostics import TabError
from tabtool.harp import Harp, Layout, position
from tabtool.holes.melody import melody
from tabtool.holes.ranking import rank
from tabtool.holes.rekey import interval_to, moved_key
from tabtool.holes.retab import Keep, Octaves, Request, retab
from tabtool.holes.tally import tally
from tabtool.load import Loaded
from tabtool.music import parse_key
from tabtool.page.view import Json
from tabtool.player import Player
from tabtool.report import as_rows, summary
from tabtool.tunings import TUNINGS, find_tuning


class Wish(NamedTuple):
    """What was asked for on the page; `to_key`, or `by` in semitones, says where the sound goes,
    both empty where it stays."""

    keep: str = "sound"
    harp: str = ""
    tuning: str = ""
    to_key: str = ""
    octaves: str = "no"
    by: str = ""


def move(loaded: Loaded, text: str, wish: Wish, player: Player, real: str = "") -> Json:
    """The tune moved, with what changed; `TabError` where the wish cannot be granted.

    `real` is where the tune lies, or would: files that it names are read from there.
    """
    request, name = _request(loaded, wish), loaded.tune.file
    at_home = loaded._replace(tune=loaded.tune._replace(file=real or name))
    try:
        moved = retab(at_home, text, request, player)
    except TabError as error:
        raise TabError(str(error).replace(real, name) if real else str(error)) from None
    setting = moved.loaded.score.stretches[0].setting
    return {
        "text": moved.text,
        "harp": str(setting.harp),
        "key": str(setting.key) if setting.key else "",
        "position": position(setting.harp, setting.key) if setting.harp and setting.key else 0,
        "semitones": moved.semitones,
        "playable": moved.loaded.playable,
        "summary": summary(moved.loaded._replace(tune=moved.loaded.tune._replace(file=name))),
        "before": tally(loaded.score, player)._asdict(),
        "after": tally(moved.loaded.score, player)._asdict(),
        "findings": [{**row, "file": name} for row in as_rows(moved.findings)],
        "lines": side_by_side(text, moved.text),
    }


def _request(loaded: Loaded, wish: Wish) -> Request:
    if wish.keep not in tuple(Keep) or wish.octaves not in tuple(Octaves):
        raise TabError("no such way to move a tune")
    tuning = None
    if wish.tuning:
        tuning = find_tuning(wish.tuning)
        if tuning is None:
            raise TabError(f"no tuning is called '{wish.tuning[:40]}'")
    semitones, key = _semitones(wish.by), None
    if wish.to_key:
        key = parse_key(wish.to_key)
        old = loaded.score.stretches[0].setting.key if loaded.score.stretches else None
        if key is None:
            raise TabError(f"'{wish.to_key[:20]}' is no key; write one such as E, Bb or F#")
        if old is None:
            raise TabError("the tune does not say which key it is in; write key: G at its top")
        semitones = interval_to(old, key.pitch_class)
    return Request(Keep(wish.keep), wish.harp, tuning, "", semitones, key, Octaves(wish.octaves))


def _semitones(by: str) -> int:
    if by and not re.fullmatch(r"[+-]?\d{1,2}", by):
        raise TabError(f"'{by[:20]}' is no number of semitones")
    return int(by or 0)


def best_harps(
    loaded: Loaded, player: Player, harps: Sequence[Harp], any_key: bool, top: int = 14
) -> list[Json]:
    """The best of some harps for a tune, in order.

    `move` in a row is how far the tune would move in semitones; `ease` is points a note.
    """
    if not loaded.score.events or not any(e.pitches[0] is not None for e in loaded.score.events):
        raise TabError("no note in it has a pitch")
    key = loaded.score.stretches[0].setting.key
    tune = melody(loaded.score.events)
    return [
        {
            "name": str(one.harp),
            "key": one.harp.key,
            "tuning": one.harp.tuning,
            "position": position(one.harp, moved_key(key, one.semitones)) if key else 0,
            "move": one.semitones,
            "impossible": one.impossible,
            "ease": round(one.ease, 1),
        }
        for one in rank([tune], harps, player, any_key)[:top]
    ]


def layouts_for(loaded: Loaded, every: bool) -> list[Layout]:
    """The tunings worth trying for a tune: every one, or its own and Richter."""
    if every:
        return list(TUNINGS.values())
    own = [stretch.setting.tuning for stretch in loaded.score.stretches]
    return list({layout.name: layout for layout in (*own, TUNINGS["Richter"])}.values())


def side_by_side(before: str, after: str) -> list[list[str | None]]:
    """Lines of two texts beside each other; None where one has no such line."""
    one, two = before.split("\n"), after.split("\n")
    rows: list[list[str | None]] = []
    for kind, a, b, c, d in difflib.SequenceMatcher(None, one, two, False).get_opcodes():
        old, new = one[a:b], two[c:d]
        if kind == "replace" and len(old) < len(new):
            # Header lines put in come first, changed lines keep their order behind them.
            rows += [[None, line] for line in new[: len(new) - len(old)]]
            new = new[len(new) - len(old) :]
        for at in range(max(len(old), len(new))):
            rows.append([old[at] if at < len(old) else None, new[at] if at < len(new) else None])
    return rows
