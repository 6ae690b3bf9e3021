"""Moving a tune to another harp, key or tuning, as the page shows it: before beside after."""

from __future__ import annotations

import difflib
from typing import NamedTuple

from tabtool.diagnostics import TabError
from tabtool.harp import position
from tabtool.load import Loaded
from tabtool.music import parse_key
from tabtool.page.view import Json
from tabtool.player import Player
from tabtool.rekey import interval_to
from tabtool.report import as_rows, summary
from tabtool.retab import Keep, Octaves, Request, retab
from tabtool.tally import tally
from tabtool.tunings import find_tuning


class Wish(NamedTuple):
    """What was asked for on the page; `to_key` is empty where the sound stays where it is."""

    keep: str = "sound"
    harp: str = ""
    tuning: str = ""
    to_key: str = ""
    octaves: str = "no"


def move(loaded: Loaded, text: str, wish: Wish, player: Player) -> Json:
    """The tune moved, with what changed; `TabError` where the wish cannot be granted."""
    request = _request(loaded, wish)
    moved = retab(loaded, text, request, player)
    setting = moved.loaded.score.stretches[0].setting
    return {
        "text": moved.text,
        "harp": str(setting.harp),
        "key": str(setting.key) if setting.key else "",
        "position": position(setting.harp, setting.key) if setting.harp and setting.key else 0,
        "semitones": moved.semitones,
        "playable": moved.loaded.playable,
        "summary": summary(moved.loaded),
        "before": tally(loaded.score, player)._asdict(),
        "after": tally(moved.loaded.score, player)._asdict(),
        "findings": as_rows(moved.findings),
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
    semitones, key = 0, None
    if wish.to_key:
        key = parse_key(wish.to_key)
        old = loaded.score.stretches[0].setting.key if loaded.score.stretches else None
        if key is None:
            raise TabError(f"'{wish.to_key[:20]}' is no key; write one such as E, Bb or F#")
        if old is None:
            raise TabError("the tune does not say which key it is in; write key: G at its top")
        semitones = interval_to(old, key.pitch_class)
    return Request(Keep(wish.keep), wish.harp, tuning, "", semitones, key, Octaves(wish.octaves))


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
