"""The kinds of drill, easiest first: each makes a few bars around one target.

To add a kind, write a function from (ground, target, rng) to an `Exercise` and list it in
`KINDS`; nothing else names it. Every exercise sounds its target at least once, and holds a
rest at least every two bars or so, to breathe in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from random import Random
from typing import NamedTuple

from tabtool.drills.ground import Ground, Step, own_natural, pick, shuffled
from tabtool.drills.phrases import SONG_TARGETS, chords, phrase, song
from tabtool.harp import Technique, Tone, Way
from tabtool.targets import Reference, interval, reference_for

HALF = Fraction(1, 2)
REST = Step(None)


class Exercise(NamedTuple):
    """A few bars: what the player is told, the steps, and symbols of chords for its bars."""

    hint: str
    steps: list[Step]
    symbols: Sequence[str] = ()
    beats: int = 4
    shuffle: bool = False
    bars_a_line: int = 4


class Kind(NamedTuple):
    """A kind of drill.

    `stage` names the page of a graded set it stands on; `listen` is what the page tells the
    player of it. `make` gives one exercise for one target, or for as many as `together` that
    share a scale, or for all of them where that is 0.
    """

    name: str
    stage: str
    listen: str
    make: Callable[[Ground, Sequence[Way], Random], Exercise]
    together: int = 1


def reference(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """The note to compare with, then the target, twice."""
    target, tone = targets[0], targets[0].tone
    other = _reference(ground, target)
    hint = f"the reference is {other}" if other.same_note else f"measure it from {other}"
    steps = [
        Step(other.tone, Fraction(3)), REST, Step(tone, Fraction(3)), REST,
        Step(other.tone), Step(tone), Step(tone), REST,
        Step(tone, Fraction(3)), REST,
    ]  # fmt: skip
    return Exercise(hint, steps)


def above(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """Down to the target: from the reed's own note, bend by bend."""
    target, tone = targets[0], targets[0].tone
    own = own_natural(ground.harp, tone)
    if own.pitch > target.pitch:
        stairs = [own.tone] + [
            tone._replace(depth=depth, technique=Technique.BEND)
            for depth in range(1, int(tone.depth) + 1)
        ]
        hint = f"down from {ground.call(own)}"
    else:
        start = _neighbour(ground, target, 1)
        stairs = [start.tone, tone]
        way = "down" if start.pitch > target.pitch else "nothing lies above it; up"
        hint = f"{way} from {ground.call(start)}"
    rest_of_bars = -len(stairs) % 4
    steps = [Step(note) for note in stairs[:-1]] + [Step(tone, Fraction(1 + rest_of_bars))]
    steps += [REST, Step(stairs[0]), Step(tone, Fraction(2))]
    steps += [Step(stairs[0]), Step(tone), Step(tone), REST]
    return Exercise(hint, steps)


def below(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """Up to the target, from a note below it."""
    target, tone = targets[0], targets[0].tone
    start = _neighbour(ground, target, -1)
    way = "up" if start.pitch < target.pitch else "nothing lies below it; down"
    steps = [
        Step(start.tone), Step(tone, Fraction(2)), REST,
        Step(start.tone), Step(tone), Step(start.tone), Step(tone),
        Step(tone, Fraction(3)), REST,
    ]  # fmt: skip
    return Exercise(f"{way} from {ground.call(start)}", steps)


def cold(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """The target out of silence."""
    target, tone = targets[0], targets[0].tone
    own = own_natural(ground.harp, tone)
    steps = [
        REST, REST, Step(tone, Fraction(2)),
        REST, REST, Step(tone), Step(own.tone),
        REST, Step(tone, Fraction(2)), REST,
    ]  # fmt: skip
    return Exercise(f"out of silence; hear {ground.name(target.pitch)} before you play", steps)


def hold(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """The target held, then held with vibrato."""
    tone = targets[0].tone
    steps = [Step(tone, Fraction(4)), REST, REST, Step(tone, Fraction(4), vibrato=True), REST, REST]
    return Exercise("held still, then with vibrato around the same pitch", steps)


def pulse(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """The target again and again, in beats and in halves."""
    tone = targets[0].tone
    one, half = Step(tone), Step(tone, HALF)
    second = pick(rng, ([half, half, one, half, half], [one, half, half, one],
                        [half, half, half, half, one]))  # fmt: skip
    return Exercise("each one at the same pitch", [one, one, one, REST, *second, REST])


def leap(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """To the target from notes a third and more away, above and below."""
    target, tone = targets[0], targets[0].tone
    scale = ground.scale(target, rng)
    near = [way for way in ground.rungs(target, scale) if way.tone != tone]
    far = [way for way in near if abs(way.pitch - target.pitch) >= 3] or near
    far = [way for way in far if way.tone.technique is Technique.NATURAL] or far
    one = pick(rng, far)
    other_side = [w for w in far if (w.pitch < target.pitch) != (one.pitch < target.pitch)]
    two = pick(rng, other_side or [way for way in far if way != one] or far)
    steps = [
        Step(one.tone), Step(tone, Fraction(2)), REST,
        Step(two.tone), Step(tone, Fraction(2)), REST,
        Step(one.tone), Step(tone), Step(two.tone), Step(tone),
        Step(tone, Fraction(3)), REST,
    ]  # fmt: skip
    return Exercise(f"from {ground.call(one)} and from {ground.call(two)}", steps)


def around(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """The target between its neighbours of the scale."""
    target, tone = targets[0], targets[0].tone
    high, low = _neighbour(ground, target, 1), _neighbour(ground, target, -1)
    pair = (high, low) if rng.random() < 0.5 else (low, high)
    steps = [
        Step(pair[0].tone), Step(pair[1].tone), Step(tone), REST,
        Step(pair[1].tone), Step(pair[0].tone), Step(tone), REST,
        Step(tone), Step(high.tone), Step(tone), Step(low.tone),
        Step(tone, Fraction(3)), REST,
    ]  # fmt: skip
    return Exercise(f"between {ground.call(low)} and {ground.call(high)}", steps)


def swap(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """The target and its reed's own note in turn, then quicker."""
    target, tone = targets[0], targets[0].tone
    own = own_natural(ground.harp, tone)
    if own.pitch == target.pitch:
        own = _neighbour(ground, target, 1)
    a, b = Step(own.tone), Step(tone)
    half_a, half_b = Step(own.tone, HALF), Step(tone, HALF)
    steps = [a, b, a, REST, half_a, half_b, a, b, REST, b, half_a, half_b, b, REST]
    return Exercise(f"to and from {ground.call(own)} and back", steps)


def echo(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """Three notes sung first where they are natural, an octave away, then with the target.

    Where no natural note sounds it, the target's place is left silent first, to be heard inside.
    """
    target = targets[0]
    around_it = [_neighbour(ground, target, 1), _neighbour(ground, target, -1)]
    first, last = around_it if rng.random() < 0.5 else around_it[::-1]
    cell = (first, target, last)
    other = _reference(ground, target)
    model = [_octave(ground, way, other.semitones) for way in cell]
    if other.same_note and other.semitones and None not in model:
        asked = [Step(note) for note in model]
        hint = f"first with natural notes {interval(other.semitones)}, then here"
    elif other.same_note:
        asked = [Step(first.tone), Step(other.tone), Step(last.tone)]
        hint = f"first with {other.tone}, then with the bend"
    else:
        asked = [Step(first.tone), REST, Step(last.tone)]
        hint = "its place is left silent first: hear the note there, then play it"
    played = [Step(way.tone) for way in cell]
    back = [Step(way.tone) for way in cell[::-1]]
    return Exercise(hint, [*asked, REST, *played, REST, *asked, REST, *back, REST])


def scale(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """Up and down a scale of the position, in beats and then in halves."""
    target = targets[0]
    chosen = ground.scale(target, rng)
    ladder = ground.rungs(target, chosen)
    heart = ladder.index(target)
    tonic = ground.key.pitch_class
    starts = list(range(max(0, heart - 6), heart + 1))
    starts = [i for i in starts if i + 7 <= len(ladder)] or [max(0, len(ladder) - 7)]
    homes = [i for i in starts if int(ladder[i].pitch) % 12 == tonic] or starts
    start = pick(rng, homes)
    run = [way.tone for way in ladder[start : start + 7]]
    quick = [Step(tone, HALF) for tone in (*run, *run[-2::-1])]
    steps = [*_run(run), *_run(run[::-1]), *quick, *_to_bar(quick, 4)]
    return Exercise(f"the {chosen.name}, up and down", steps)


def thirds(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """The scale in broken thirds: one, three, two, four …"""
    target = targets[0]
    chosen = ground.scale(target, rng)
    ladder = ground.rungs(target, chosen)
    heart = ladder.index(target)
    start = max(0, min(heart - 2, len(ladder) - 5))
    row = [way.tone for way in ladder[start : start + 5]]
    last = len(row) - 1  # a small harp may not have five notes
    up = [row[min(i, last)] for i in (0, 2, 1, 3, 2, 4, 3)]
    down = [row[min(i, last)] for i in (4, 2, 3, 1, 2, 0, 1)]
    steps = [Step(tone) for tone in up] + [REST] + [Step(tone) for tone in down] + [REST]
    return Exercise(f"thirds in the {chosen.name}", steps)


def arpeggio(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """A chord of the key broken up, the target among its notes where a chord of the key has it."""
    target = targets[0]
    chosen = ground.scale(target, rng)
    three = chords(ground, chosen)
    fitting = [chord for chord in three if int(target.pitch) % 12 in chord.classes]
    over = pick(rng, fitting) if fitting else three[0]
    notes = chosen._replace(classes=over.classes | {int(target.pitch) % 12})
    ladder = ground.rungs(target, notes)
    heart = ladder.index(target)
    start = max(0, min(heart - 1, len(ladder) - 4))
    row = [Step(way.tone) for way in ladder[start : start + 4]]
    turned = [row[i % len(row)] for i in (0, 2, 1, 3)]
    wave = [*row, *row[-2::-1]]
    steps = [*wave, *_to_bar(wave, 4), *turned, row[0], Step(target.tone, Fraction(2)), REST]
    inside = "" if fitting else ", the target added to it"
    hint = f"the chord {over.symbol}{inside}"
    return Exercise(hint, steps, [over.symbol] * 4)


def phrases(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """A question of two bars and its answer."""
    steps, symbols, chosen = phrase(ground, targets[0], rng)
    return Exercise(f"in the {chosen.name}", steps, symbols, shuffle=chosen.bluesy)


def mix(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """All the targets in any order, each after its reference."""
    steps: list[Step] = []
    for target in shuffled(rng, targets):
        other = _reference(ground, target)
        steps += [Step(other.tone), Step(target.tone, Fraction(2)), REST]
    return Exercise("one after another, each after the note to hear it by", steps)


def songs(ground: Ground, targets: Sequence[Way], rng: Random) -> Exercise:
    """A small song with chords for the accompaniment."""
    made = song(ground, targets, rng)
    hint = f"{made.form} in the {made.scale.name}"
    return Exercise(hint, made.steps, made.symbols, made.beats, made.scale.bluesy, made.bars_a_line)


# What a page says of each kind stands here beside it, so that --list and pages agree.
KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("reference", "find", "Play the natural note, keep it in your ear, then match it.",
             reference),
        Kind("above", "find", "Come down slowly and stop exactly on the note, not below it.",
             above),
        Kind("below", "find", "The bend must be there at once: shape the mouth before you breathe.",
             below),
        Kind("hold", "find", "Long breaths: stop at the rests, sooner if you feel light-headed. "
             "Listen for beats against a drone.", hold),
        Kind("cold", "place", "Nothing to slide from: hear the note, then breathe.", cold),
        Kind("pulse", "place", "Tongue it lightly; the pitch must not sink or climb.", pulse),
        Kind("leap", "place", "Arrive in the middle of the note, without a slide.", leap),
        Kind("around", "place", "Its neighbours tell you whether it lies too near to one of them.",
             around),
        Kind("swap", "place", "Both notes clean, nothing heard between them.", swap),
        Kind("echo", "place", "The second time must sound like the first.", echo),
        Kind("scale", "scale", "The bend is a note like the others: as loud, as long, as clear.",
             scale),
        Kind("thirds", "scale", "Each leap of a third lands in tune.", thirds),
        Kind("arpeggio", "scale", "Hear the chord, and where the bend lies in it.", arpeggio),
        Kind("phrase", "phrase", "A question and its answer; breathe at the rests.", phrases),
        Kind("mix", "phrase", "The reference once, then the bend.", mix, 0),
        Kind("song", "phrase", "Play it through without stopping; then listen to yourself.", songs,
             SONG_TARGETS),
    )
}  # fmt: skip
STAGES = tuple(dict.fromkeys(kind.stage for kind in KINDS.values()))


def _reference(ground: Ground, target: Way) -> Reference:
    found = reference_for(ground.harp, target)
    assert found is not None, "a harp has more than one reed"
    return found


def _neighbour(ground: Ground, target: Way, side: int) -> Way:
    """The natural note next above (side 1) or below (-1) in pitch; the other side's if none is.

    Not the reed the target itself is bent from, where another lies within a fourth.
    """
    own = target.tone._replace(technique=Technique.NATURAL, depth=0)
    ways = [way for way in ground.naturals() if way.pitch != target.pitch]
    there = [way for way in ways if (way.pitch - target.pitch) * side > 0]
    close = [way for way in there if abs(way.pitch - target.pitch) <= 5]
    in_key = ground.named_scale(ground.mode).classes
    best = (
        [way for way in close if way.tone != own and int(way.pitch) % 12 in in_key]
        or close
        or there
        or ways
    )
    return min(best, key=lambda way: (abs(way.pitch - target.pitch), way.tone.hole))


def _octave(ground: Ground, way: Way, semitones: int) -> Tone | None:
    """The natural tone that many semitones away from a note, if the harp has one."""
    for other in ground.harp.ways_by_pitch.get(way.pitch + semitones, ()):
        if other.tone.technique is Technique.NATURAL:
            return other.tone
    return None


def _run(tones: Sequence[Tone]) -> list[Step]:
    """Two bars of a scale in beats: its last note held on, a rest to breathe at the end."""
    held = Fraction(max(1, min(4, 8 - len(tones))))
    steps = [Step(tone) for tone in tones[:-1]] + [Step(tones[-1], held)]
    return [*steps, *_to_bar(steps, 4)]


def _to_bar(steps: Sequence[Step], beats: int) -> list[Step]:
    """A rest that fills the bar up, of at least a beat."""
    length = sum((step.beats for step in steps), Fraction(0))
    left = -length % beats
    return [Step(None, left if left >= 1 else left + beats)]
