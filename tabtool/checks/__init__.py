"""Whether a tune can be played: every check, run over a score.

To add a check, write one function in the file it belongs to (`reeds`: one hole;
`mouth`: several at once; `motion`: from note to note) and list it in that file's
CHECKS; its docstring is its explanation.
"""

from __future__ import annotations

from tabtool.checks import motion, mouth, reeds
from tabtool.checks.look import Finding, Look, NoteCheck, PassageCheck
from tabtool.diagnostics import Diagnostic, Rule
from tabtool.events import Score
from tabtool.header import Setting
from tabtool.player import Player
from tabtool.tune import Figure

NOTE_CHECKS: tuple[NoteCheck, ...] = reeds.CHECKS + mouth.CHECKS
PASSAGE_CHECKS: tuple[PassageCheck, ...] = motion.CHECKS


def check(score: Score, player: Player = Player()) -> tuple[Diagnostic, ...]:  # noqa: B008 (immutable)
    """All that stands against playing the score, or makes it hard; unordered, may repeat itself."""
    found: list[Diagnostic] = []
    verdicts: dict[int, list[tuple[Rule, Finding]]] = {}  # by figure, for one setting
    judged: Setting | None = None
    for event in score.events:
        setting = event.stretch.setting
        if setting is not judged:
            judged, verdicts = setting, {}
        if setting.harp is None:
            continue
        figure = event.note.figure
        known = verdicts.get(id(figure))  # the parser hands out one figure for each token
        if known is None:
            known = verdicts[id(figure)] = _judge(figure, setting, player)
        for rule, finding in known:
            span = event.note.span
            found.append(rule.at(span, finding.message, finding.help, finding.level))
    for passage in PASSAGE_CHECKS:
        found += passage.look(passage.rule, score.events, player)
    return tuple(found)


def _judge(figure: Figure, setting: Setting, player: Player) -> list[tuple[Rule, Finding]]:
    assert setting.harp is not None
    found = []
    for part in (figure, *figure.grace):
        look = Look(part, setting.harp, setting, player)
        found += [(check.rule, finding) for check in NOTE_CHECKS for finding in check.look(look)]
    return found
