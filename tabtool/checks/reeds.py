"""Checks that follow from the reeds of one hole."""

from __future__ import annotations

from collections.abc import Iterator

from tabtool.checks.look import Finding, Look, note_check
from tabtool.diagnostics import Level
from tabtool.harp import OVERBEND_RAISE, Technique, Tone, Valves


@note_check("hole-not-on-harp", Level.ERROR)
def hole_not_on_harp(look: Look) -> Iterator[Finding]:
    """The harp has no such hole, or no slide where one is asked for."""
    holes = look.harp.holes
    for tone in look.figure.all_tones:
        if not 1 <= tone.hole <= holes:
            yield Finding(
                f"there is no hole {tone.hole}: a {look.harp.tuning} harp has holes 1 to {holes}",
                f"write a hole from 1 to {holes}{_apart(tone)}",
            )
        elif tone.slide and not look.harp.layout.has_slide:
            yield Finding(
                f"a {look.harp.tuning} harp has no slide",
                f"write {tone._replace(slide=False).token}, or a tuning with a slide",
            )


@note_check("no-such-bend", Level.ERROR)
def no_such_bend(look: Look) -> Iterator[Finding]:
    """This reed does not bend: only the higher reed of a hole does, and it needs room.

    The higher reed bends down to a semitone above the lower. The lower reed has nothing
    to bend towards.
    """
    for tone in _bent(look):
        if look.harp.bend_limit(tone.hole, tone.breath, tone.slide):
            continue
        room = look.harp.room(tone.hole, tone.breath, tone.slide)
        if room == 1 and look.harp.layout.valves is not Valves.FULL:
            continue  # has its own words: only-a-sag
        partner = Tone(tone.hole, tone.breath.other, slide=tone.slide)
        where = "higher" if room < 0 else "the same"
        yield Finding(
            f"{look.reed_name(tone)}; its partner {look.reed_name(partner)}, {where}, "
            f"and only the higher reed of a hole bends, so {tone.hole} {tone.breath} does not",
            look.elsewhere(tone),
        )


@note_check("only-a-sag", Level.ERROR)
def only_a_sag(look: Look) -> Iterator[Finding]:
    """The two reeds lie a semitone apart: a microtonal sag, fit for expression, no bend note."""
    if look.harp.layout.valves is Valves.FULL:
        return
    for tone in _bent(look):
        if look.harp.room(tone.hole, tone.breath, tone.slide) != 1:
            continue
        plain = tone._replace(technique=Technique.NATURAL, depth=0)
        partner = plain._replace(breath=tone.breath.other)
        yield Finding(
            f"{look.reed_name(tone)}; its partner {look.reed_name(partner)}, a semitone below, "
            "so there is no bend note between",
            _joined(
                f"for an expressive sag write /{plain.token} or {plain.token}\\",
                look.elsewhere(tone),
            ),
        )


@note_check("bend-too-deep", Level.ERROR)
def bend_too_deep(look: Look) -> Iterator[Finding]:
    """The bend goes below what the reeds allow: it stops a semitone above the lower reed."""
    for tone in _bent(look):
        limit = look.harp.bend_limit(tone.hole, tone.breath, tone.slide)
        if not limit or tone.depth <= limit:
            continue
        reed = look.harp.reed(tone.hole, tone.breath, tone.slide)
        assert reed is not None
        room = look.harp.room(tone.hole, tone.breath, tone.slide)
        deepest = tone._replace(depth=limit)
        if look.harp.layout.valves is Valves.FULL or room < 0:
            why = "a valved reed bends alone"
        else:
            partner = Tone(tone.hole, tone.breath.other, slide=tone.slide)
            why = f"its partner {look.reed_name(partner)}, and a bend stops a semitone above it"
        yield Finding(
            f"{look.reed_name(tone)}; {why}: at most {limit} ({look.name(reed - limit)}), "
            f"not {tone.depth:g}",
            _joined(f"the deepest is {deepest.token}", look.elsewhere(tone)),
        )


@note_check("no-such-overbend", Level.ERROR)
def no_such_overbend(look: Look) -> Iterator[Finding]:
    """No overblow or overdraw there: the opening reed must be the higher one of the hole."""
    for tone in look.figure.all_tones:
        if not tone.overbent or look.harp.reed(tone.hole, tone.breath) is None:
            continue
        over = look.harp.overbend(tone.hole)
        if over is not None and over.tone.technique is tone.technique:
            if tone.depth > OVERBEND_RAISE:
                yield Finding(
                    f"{tone.hole} {tone.technique} raised {tone.depth:g}: past a whole tone above "
                    f"its own {look.name(over.pitch)} it does not hold",
                    _joined(f"raise it {OVERBEND_RAISE} at most", look.elsewhere(tone)),
                )
            continue
        if over is None:
            why = (
                "its valves keep the other reed shut"
                if look.harp.layout.valves is not Valves.NONE
                else "its two reeds are equal"
            )
            instead = ""
        else:
            partner = Tone(tone.hole, tone.breath.other)
            own = Tone(tone.hole, tone.breath)
            why = f"{look.reed_name(partner)}, below {look.reed_name(own).split(' is ')[1]}"
            instead = f"hole {tone.hole} has an {over.tone.technique}: {over.tone.token}"
        yield Finding(
            f"hole {tone.hole} has no {tone.technique}: {why}",
            _joined(instead, look.elsewhere(tone)),
        )


@note_check("overbend", Level.CAUTION)
def overbend(look: Look) -> Iterator[Finding]:
    """An overblow or overdraw: possible, but hard, and not every instrument is set up for it."""
    for tone in look.figure.all_tones:
        if not tone.overbent or not look.harp.can_play(tone):
            continue
        if look.player.can_overbend is not True:
            level = Level.ERROR if look.player.can_overbend is False else None
            pitch = look.harp.intended(tone)
            assert pitch is not None
            said = "this player does not overbend" if level else "hard to sound and to keep in tune"
            yield Finding(f"{tone} ({look.name(pitch)}): {said}", _others(look, tone), level)


@note_check("bend-beyond-player", Level.ERROR)
def bend_beyond_player(look: Look) -> Iterator[Finding]:
    """The bend is deeper than this player bends."""
    for tone in _bent(look):
        if look.harp.can_play(tone) and not look.player.can_bend(tone.depth):
            deepest = look.player.bends
            reach = "bends no note" if not deepest else f"bends {deepest} at most"
            yield Finding(f"{tone}: this player {reach}", _others(look, tone))


@note_check("easier-elsewhere", Level.HINT)
def easier_elsewhere(look: Look) -> Iterator[Finding]:
    """The same pitch sounds elsewhere on the harp without bending or overbending."""
    if len(look.figure.tones) > 1:
        return
    for tone in look.figure.all_tones:
        if tone.technique is Technique.NATURAL or not look.harp.can_play(tone):
            continue
        pitch = look.harp.intended(tone)
        assert pitch is not None
        ways = [way.tone for way in look.harp.ways_by_pitch.get(pitch, ()) if way.tone != tone]
        easier = [way for way in ways if way.technique is Technique.NATURAL]
        if not easier and tone.overbent:
            easier = [way for way in ways if way.technique is Technique.BEND]
        if easier:
            named = " or ".join(f"{way} ({way.token})" for way in easier)
            how = "with no bend" if easier[0].technique is Technique.NATURAL else "as a bend"
            yield Finding(
                f"{tone} sounds {look.name(pitch)}, which is there {how}", f"write {named}"
            )


@note_check("expressive-bend", Level.CAUTION)
def expressive_bend(look: Look) -> Iterator[Finding]:
    """A scoop, fall or dip deeper than the reed gives."""
    asked = look.figure.marks.bends
    if not asked:
        return
    for tone in look.figure.tones:
        if not look.harp.can_play(tone):
            continue
        if tone.overbent:
            gives, left = tone.depth, "an overbend starts at its own note and bends up from there"
        else:
            whole = look.harp.expressive_limit(tone.hole, tone.breath, tone.slide)
            gives = whole - tone.depth
            left = f"{look.reed_name(tone)} and gives {_semitones(whole)}"
            if tone.depth and whole:
                left += f", of which the bend itself takes {tone.depth:g}"
        if gives > 0 and (asked == 1 or asked <= gives):
            continue
        kind = next(
            word for word in ("scoop", "fall", "dip") if getattr(look.figure.marks, word) == asked
        )
        if gives <= 0:
            yield Finding(
                f"a {kind} on {tone} will hardly be heard: {left}",
                "leave the mark out, or put vibrato (~) or a hand wah (@) in its place",
            )
        else:
            yield Finding(
                f"a {kind} of {_semitones(asked)} on {tone}: {left}",
                f"write one slash less, or a single one for as much as the reed gives "
                f"({_semitones(gives)})",
                Level.ERROR,
            )


def _apart(tone: Tone) -> str:
    """The two holes that a number past the last may have meant, written without their +."""
    one, two = divmod(tone.hole, 10)
    return f", or {one}+{two}{tone.arrow} for two at once" if one and two and one != two else ""


def _bent(look: Look) -> Iterator[Tone]:
    """The tones of the figure that are written as melodic bends of a reed the harp has."""
    for tone in look.figure.all_tones:
        if tone.technique is Technique.BEND and look.harp.reed(tone.hole, tone.breath, tone.slide):
            yield tone


def _others(look: Look, tone: Tone) -> str:
    pitch = look.harp.intended(tone)
    ways = look.harp.ways_by_pitch.get(pitch or 0.0, ())
    others = [way.tone for way in ways if way.tone != tone and not way.tone.overbent]
    if others:
        return "elsewhere: " + " or ".join(f"{way} ({way.token})" for way in others)
    nearest = [
        w.tone
        for w in look.harp.ways
        if pitch and abs(w.pitch - pitch) == 12 and w.tone.technique is Technique.NATURAL
    ]
    octave = f"; its octave is {nearest[0]} ({nearest[0].token})" if nearest else ""
    return f"the pitch sounds nowhere else on this harp{octave}"


def _joined(*parts: str) -> str:
    return "; ".join(part for part in parts if part)


def _semitones(count: float) -> str:
    if count <= 0:
        return "nothing"
    if count == 0.5:
        return "a quarter tone"
    return "a semitone" if count == 1 else f"{count:g} semitones"


CHECKS = (
    hole_not_on_harp,
    no_such_bend,
    only_a_sag,
    bend_too_deep,
    no_such_overbend,
    overbend,
    bend_beyond_player,
    easier_elsewhere,
    expressive_bend,
)
