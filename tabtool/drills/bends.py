"""Which bends a drill is about: those a player names, or all that make sense."""

from __future__ import annotations

from tabtool.diagnostics import Level, TabError
from tabtool.harp import Harp, Technique, Tone
from tabtool.load import load
from tabtool.notation import parse_figure
from tabtool.player import Player

GROUPS = ("draw", "blow", "overbends")


def find_bends(harp: Harp, player: Player, asked: str = "") -> tuple[Tone, ...]:
    """The bends an option names: ``2v2,3v1``, ``draw``, ``blow``, ``overbends``, ``all``.

    Without one: every bend that gives a note the harp has no other easy way to sound, draw
    bends first, then blow bends, then overblows and overdraws, as far as the player goes.
    ``all`` and the groups leave out no bend because its note sounds elsewhere. `TabError`
    with the reason for a note that is no bend of this harp, or that the player cannot reach.
    """
    groups = {name: _group(harp, player, name) for name in GROUPS}
    words = [word for word in asked.replace(",", " ").split() if word]
    if not words:
        found = [tone for name in GROUPS for tone in groups[name] if _new_note(harp, tone)]
        if not found:
            found = [tone for name in GROUPS for tone in groups[name]]
        if not found:
            raise TabError(
                f"there is nothing to bend: this player, on {harp.called}, has no bend to drill"
            )
        return tuple(found)
    chosen: dict[Tone, None] = {}
    for word in words:
        if word in (*GROUPS, "all"):
            names = GROUPS if word == "all" else (word,)
            many = [tone for name in names for tone in groups[name]]
            if not many:
                raise TabError(f"{harp.called} has no {_words(word)} for this player to drill")
            chosen.update(dict.fromkeys(many))
        else:
            chosen[_asked(harp, player, word)] = None
    return tuple(chosen)


def _group(harp: Harp, player: Player, name: str) -> list[Tone]:
    """The bends of a group within the player's reach, without the slide."""
    found = []
    for way in harp.ways:
        tone = way.tone
        if tone.technique is Technique.NATURAL or tone.slide:
            continue
        if tone.overbent:
            if name == "overbends" and player.overbends is not False:
                found.append(tone)
        elif str(tone.breath) == name and player.can_bend(tone.depth):
            found.append(tone)
    return found


def group_of(tone: Tone) -> str:
    """The group a bend belongs to."""
    return "overbends" if tone.overbent else str(tone.breath)


def _new_note(harp: Harp, tone: Tone) -> bool:
    """Whether a bend's note is nowhere natural, an overbend's neither natural nor a bend."""
    pitch = harp.intended(tone)
    assert pitch is not None
    others = [way.tone for way in harp.ways_by_pitch[pitch] if way.tone != tone]
    return not any(
        other.technique is Technique.NATURAL or (tone.overbent and not other.overbent)
        for other in others
    )


def _asked(harp: Harp, player: Player, word: str) -> Tone:
    """One bend named by its tab."""
    try:
        figure = parse_figure(word)
    except ValueError as wrong:
        raise TabError(f"bends: {wrong}") from None
    tone = figure.tones[0]
    if len(figure.tones) > 1 or figure.token != tone.token:
        raise TabError(f"bends: '{word}' is more than one plain note; write bends such as 2v2,3v1")
    if tone.technique is Technique.NATURAL:
        raise TabError(f"bends: {tone} is a natural note; write a bend of it, such as 2v2 or 6^^")
    found = _judge(harp, player, tone)
    if found:
        raise TabError(f"bends: {found}")
    if tone.depth != int(tone.depth):
        raise TabError(
            f"bends: {tone} lies between two semitones; drills aim at whole ones, "
            f"such as {tone._replace(depth=int(tone.depth + 0.5)).token}"
        )
    return tone


def _judge(harp: Harp, player: Player, tone: Tone) -> str:
    """Why a tone cannot be played, in the words of the checks; empty if it can."""
    score = load(f"harp: {harp.key}\nmeter: free\n\n{tone.token}", tuning=harp.layout,
                 player=player)  # fmt: skip
    for found in score.diagnostics:
        if found.level is Level.ERROR:
            return f"{found.message}; {found.help}" if found.help else found.message
    return ""


def _words(group: str) -> str:
    return group if group == "overbends" else "bends" if group == "all" else f"{group} bends"
