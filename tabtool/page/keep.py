"""What the page remembers on this machine: the player's abilities and the harps owned.

One small JSON file among the user's settings; it holds nothing else and goes nowhere.
"""

from __future__ import annotations

import json
import os
from typing import NamedTuple

from tabtool.diagnostics import TabError
from tabtool.files import read_text, write_file
from tabtool.harp import Harp
from tabtool.player import Player, parse_player
from tabtool.tunings import HARP_KEY_HELP, find_tuning, make_harp

MOST_HARPS = 200


class Kept(NamedTuple):
    """`abilities` as `player.parse_player` reads them; a harp is ``C`` or ``A natural minor``."""

    abilities: str = ""
    harps: tuple[str, ...] = ()

    @property
    def player(self) -> Player:
        return parse_player(self.abilities) if self.abilities.strip() else Player()


def settings_path() -> str:
    """Where the settings of this user lie by the custom of the system."""
    home = os.environ.get("XDG_CONFIG_HOME") or os.environ.get("APPDATA")
    return os.path.join(home or os.path.expanduser("~/.config"), "tabtool", "page.json")


def load_kept(path: str) -> Kept:
    """What was kept; nothing kept, or a file that says nothing sensible, is an empty `Kept`."""
    if not os.path.exists(path):
        return Kept()
    try:
        return kept_of(json.loads(read_text(path, 100_000)))
    except (TabError, ValueError, RecursionError):
        return Kept()


def kept_of(value: object) -> Kept:
    """Check and tidy what is to be kept; `TabError` in plain words if it will not do."""
    if not isinstance(value, dict):
        raise TabError("abilities and harps are wanted")
    abilities, harps = value.get("abilities", ""), value.get("harps", [])
    if not isinstance(abilities, str) or not isinstance(harps, list) or len(harps) > MOST_HARPS:
        raise TabError("abilities are a text and harps a list")
    parse_player(abilities)
    tidy = []
    for harp in harps:
        name = " ".join(str(harp).split())
        if not name:
            continue
        tidy.append(owned(name))
    return Kept(abilities.strip(), tuple(dict.fromkeys(tidy)))


def owned(name: str) -> str:
    """An owned harp in one spelling: key, then tuning unless it is Richter; `TabError` if none."""
    harp = harp_named(name)
    return harp.key if harp.tuning == "Richter" else f"{harp.key} {harp.tuning}"


def harp_named(name: str) -> Harp:
    """The harp of a name such as ``C``, ``low F`` or ``A natural minor``; `TabError` if none."""
    words = name.split()
    for count in range(min(3, len(words)), 0, -1):
        key, tuning = " ".join(words[:count]), " ".join(words[count:])
        layout = find_tuning(tuning or "Richter")
        harp = make_harp(key, layout) if layout else None
        if harp is not None:
            return harp
    raise TabError(f"'{name[:60]}' is no harp: {HARP_KEY_HELP}; a tuning may follow: A melody")


def save_kept(path: str, kept: Kept) -> None:
    """Write the settings; `TabError` if they cannot be written."""
    try:
        os.makedirs(os.path.dirname(path), exist_ok=True)
    except OSError:
        raise TabError(f"{path}: its folder cannot be made") from None
    data = {"abilities": kept.abilities, "harps": list(kept.harps)}
    write_file(path, (json.dumps(data, ensure_ascii=False, indent=2) + "\n").encode())
