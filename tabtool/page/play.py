"""A score as the page's own synthesizer plays it: tones with curves of pitch, beats to count.

Times are in seconds from the start of the tune at the speed asked for; pitch never
follows the speed: scoops, falls and vibrato keep their own time, as they do in a player's
mouth.
"""

from __future__ import annotations

from fractions import Fraction

from tabtool.events import NoteEvent, Score, Stretch
from tabtool.expression import Sound, perform
from tabtool.page.view import Json, place
from tabtool.sound.reeds import REEDS, RELEASE

STEP_S = 0.01  # between two points of a pitch curve
SLOWEST, FASTEST = 0.25, 2.0


def sounds(score: Score, speed: float = 1.0) -> Json:
    """Every tone in order of onset, the notes they belong to, and the beats."""
    slowed = at_speed(score, max(SLOWEST, min(FASTEST, speed)))
    return {
        "seconds": slowed.seconds,
        "sounds": [_sound(sound) for sound in perform(slowed)],
        "notes": [
            {"start": round(e.start_s, 4), "end": round(e.end_s, 4), "place": place(e.note.span)}
            for e in slowed.events
        ],
        "beats": [
            [
                round(
                    bar.stretch.start_s + (bar.onset + n - bar.stretch.onset) * bar.stretch.beat_s,
                    4,
                ),
                n == 0,
                bar.number,
            ]
            for bar in slowed.bars
            for n in range(bar.beats)
        ],
    }


def at_speed(score: Score, speed: float) -> Score:
    """The same score with every time divided by `speed`, its tempos multiplied by it."""
    exact = Fraction(speed).limit_denominator(1000)
    changed: dict[int, Stretch] = {}
    for stretch in score.stretches:
        setting = stretch.setting
        faster = setting._replace(tempo=setting.tempo * exact)
        changed[id(stretch)] = stretch._replace(setting=faster, start_s=stretch.start_s / speed)

    def event(old: NoteEvent) -> NoteEvent:
        return old._replace(
            stretch=changed[id(old.stretch)], start_s=old.start_s / speed, end_s=old.end_s / speed
        )

    return score._replace(
        stretches=tuple(changed.values()),
        events=tuple(event(old) for old in score.events),
        bars=tuple(bar._replace(stretch=changed[id(bar.stretch)]) for bar in score.bars),
    )


def _sound(sound: Sound) -> Json:
    row: Json = {
        "start": round(sound.start_s, 4),
        "end": round(sound.end_s, 4),
        "hz": round(sound.event.setting.hz(sound.pitch), 3),
        "midi": sound.pitch,
        "token": sound.tone.token,
        "place": place(sound.event.note.span),
    }
    length = sound.end_s - sound.start_s
    steps = max(2, round(length / STEP_S) + 1)
    times = [length * at / (steps - 1) for at in range(steps)]
    if not sound.steady:
        row["cents"] = [round(100 * sound.offset(at), 1) for at in times]
    if sound.accent:
        row["accent"] = True
    if sound.wah:
        row["hands"] = [round(sound.open_hands(at), 3) for at in times]
    return row


def voice() -> Json:
    """The measured reeds that the synthesizer sounds: partials in dB, attack in seconds."""
    return {
        "release": RELEASE,
        "reeds": [
            {
                "key": reed.key,
                "level": reed.level,
                "partials": reed.partials,
                "attack": reed.attack[0][1],
            }
            for reed in REEDS
        ],
    }
