"""What a player can do, which decides whether a passage is easy, hard or out of reach.

None means nothing is known: hard things are then told of as cautions. Written as text
it reads ``bends 2, overbends no, tongue blocking yes, fastest change 0.15``, on one
line or over the lines of a small file.
"""

from __future__ import annotations

import os
import re
from typing import NamedTuple

from tabtool.diagnostics import TabError, nearest
from tabtool.files import read_text


class Player(NamedTuple):
    """`bends` is the deepest melodic bend in semitones (0 for none); `fastest_change` is the
    shortest time in seconds between two notes that differ in bend."""

    bends: int | None = None
    overbends: bool | None = None
    tongue_blocking: bool | None = None
    fastest_change: float | None = None

    def can_bend(self, depth: float) -> bool:
        return self.bends is None or depth <= self.bends

    @property
    def can_overbend(self) -> bool | None:
        """None where nothing is known; who bends no note overbends none, unless he says he does."""
        return False if self.overbends is None and self.bends == 0 else self.overbends


NAMES = ("bends", "overbends", "tongue blocking", "fastest change")
_HELP = "write, for example, 'bends 2, overbends no, tongue blocking yes, fastest change 0.15'"


def parse_player(text: str) -> Player:
    """A player from text; `TabError` in plain words if it says something else."""
    player = Player()
    for number, line in enumerate(text.splitlines(), start=1):
        for part in line.split("#")[0].split(","):
            if not part.strip():
                continue
            found = re.fullmatch(r"\s*([a-z][a-z -]*?)\s*[:= ]\s*([\w.]+)\s*", part.lower())
            name = " ".join(found[1].replace("-", " ").split()) if found else part.strip()
            if not found or name not in NAMES:
                near = nearest(name, NAMES)
                instead = f"; did you mean '{near}'?" if near else ""
                raise TabError(
                    f"player, line {number}: '{part.strip()}' says nothing{instead} {_HELP}"
                )
            player = _with(player, name, found[2], number)
    return player


def load_player(text_or_path: str) -> Player:
    """A player from a file of that name, or else from the text itself."""
    if os.path.isfile(text_or_path):
        return parse_player(read_text(text_or_path))
    return parse_player(text_or_path)


def _with(player: Player, name: str, word: str, number: int) -> Player:
    yes, no = word in ("yes", "true"), word in ("no", "none", "false")
    if name == "bends":
        if yes or no:
            return player._replace(bends=None if yes else 0)
        if word.isdecimal() and int(word) <= 12:
            return player._replace(bends=int(word))
    elif name == "fastest change":
        if re.fullmatch(r"\d*\.?\d+s?", word) and 0 < float(word.rstrip("s")) <= 10:
            return player._replace(fastest_change=float(word.rstrip("s")))
    elif yes or no:
        return (
            player._replace(overbends=yes)
            if name == "overbends"
            else player._replace(tongue_blocking=yes)
        )
    raise TabError(f"player, line {number}: '{word}' does not fit {name}; {_HELP}")
