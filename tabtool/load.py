"""Text to everything: the one module that knows the order of the stages.

notation (`parse`) → events and pitches (`resolve`) → checks (`checks`). Renderings
take the `Loaded` result.
"""

from __future__ import annotations

import os
from typing import NamedTuple

from tabtool.bars import Known
from tabtool.checks import check
from tabtool.diagnostics import Diagnostic, Level, in_order
from tabtool.events import Score
from tabtool.files import read_text
from tabtool.harp import Layout
from tabtool.parse import parse
from tabtool.player import Player
from tabtool.resolve import resolve
from tabtool.temperament import Temperament
from tabtool.tune import Tune

SUFFIX = ".harptab"


class Loaded(NamedTuple):
    """A tune with all that is known of it."""

    tune: Tune
    score: Score
    diagnostics: tuple[Diagnostic, ...]

    @property
    def readable(self) -> bool:
        """Whether all of the text was understood."""
        return not any(d.rule.reads and d.level is Level.ERROR for d in self.diagnostics)

    @property
    def playable(self) -> bool:
        """Whether nothing in it is impossible."""
        return not any(d.level is Level.ERROR for d in self.diagnostics)


def load(
    text: str,
    file: str = "tune",
    *,
    folder: str | None = None,
    harp: str = "",
    tuning: Layout | None = None,
    temperament: Temperament | None = None,
    a4: float | None = None,
    player: Player = Player(),  # noqa: B008 (immutable)
    within: str = "",
    known: Known | None = None,
) -> Loaded:
    """Read, resolve and check a tune.

    `harp`, `tuning`, `temperament` and `a4` (Hz) stand in for those it names. Files it
    names are read only within the folder `within`, anywhere where that is empty.
    `known` is as for `parse`.
    """
    tune, unread = parse(text, file, folder, within, known)
    score, unresolved = resolve(tune, harp, tuning, temperament, a4)
    return Loaded(tune, score, in_order((*unread, *unresolved, *check(score, player))))


def load_file(
    path: str,
    *,
    harp: str = "",
    tuning: Layout | None = None,
    temperament: Temperament | None = None,
    a4: float | None = None,
    player: Player = Player(),  # noqa: B008
) -> Loaded:
    """`load` a file; `TabError` if it cannot be read."""
    folder = os.path.dirname(path)
    return load(
        read_text(path),
        path,
        folder=folder,
        harp=harp,
        tuning=tuning,
        temperament=temperament,
        a4=a4,
        player=player,
    )
