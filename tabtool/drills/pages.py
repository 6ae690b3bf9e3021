"""Pages of drills: kinds and targets put together as a tune that passes its checks.

A page is text in the notation, in its canonical layout. Each kind is a section with its
tempo; tempos never fall from one section to the next. Where a passage would be too quick
for the player the tempo is lowered, never the notes changed.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from fractions import Fraction
from random import Random
from typing import NamedTuple

from tabtool.canonical import write
from tabtool.checks.motion import change_seconds, leap_seconds
from tabtool.diagnostics import TabError
from tabtool.drills.bars import write_bars
from tabtool.drills.bends import GROUPS, group_of
from tabtool.drills.ground import ORDINALS, Ground, home_key
from tabtool.drills.kinds import KINDS, STAGES, Exercise, Kind
from tabtool.harp import Harp, Tone, Way
from tabtool.load import SUFFIX, Loaded, load
from tabtool.music import Key
from tabtool.parse import parse
from tabtool.player import Player

SLOWEST, QUICKEST = 10, 400  # beats a minute: what a header may say


class Drill(NamedTuple):
    """What a page is to drill.

    `bends` are the tones asked for (see `find_bends`); `key` is the tune's key, by default
    that of the harp's usual position. `times` is how often each bend sounds at least; `tempo`
    and `top` are beats a minute of the first and the last section. `tuning` is the path the
    header gives for a player's own tuning, as seen from `folder`, where the page will lie. `tuned`
    are further header lines of how the harp is tuned, ``("pitch", "442")`` and such. The same
    drill and `seed` give the same page.
    """

    harp: Harp
    bends: tuple[Tone, ...]
    key: Key | None = None
    kinds: tuple[str, ...] = tuple(KINDS)
    player: Player = Player()
    times: int = 8
    tempo: int = 54
    top: int = 100
    seed: int = 1
    title: str = ""
    tuning: str = ""
    folder: str = ""
    tuned: tuple[tuple[str, str], ...] = ()


class Section(NamedTuple):
    """One section of a page: its name, its kind and its tempo."""

    name: str
    kind: str
    tempo: int


class Page(NamedTuple):
    """A page: its text, its sections, and how often each bend asked for sounds in it."""

    title: str
    text: str
    sections: tuple[Section, ...]
    counts: tuple[tuple[Tone, int], ...]
    loaded: Loaded


class _Draft(NamedTuple):
    """A section before its tempo is settled."""

    name: str
    kind: str
    lines: list[str]
    beats: int
    shuffle: bool
    quickest: int


def page(drill: Drill) -> Page:
    """One page; `TabError` if nothing is asked for, or the player is too slow for any of it."""
    ground = _ground(drill)
    drafts: list[_Draft] = []
    counts = dict.fromkeys(drill.bends, 0)
    turn = 0
    while not drafts or min(counts.values()) < drill.times:
        wanting = [way for way in ground.asked if counts[way.tone] < drill.times]
        for name in drill.kinds:
            if turn and not wanting:
                break
            for draft, used in _sections(
                drill, ground, KINDS[name], wanting if turn else ground.asked, turn
            ):
                drafts.append(draft)
                for tone in used:
                    if tone in counts:
                        counts[tone] += 1
            wanting = [way for way in wanting if counts[way.tone] < drill.times]
        turn += 1
    drafts = _numbered(drafts)
    tempos = _tempos(drill, drafts)
    title = drill.title or _title(drill)
    head = _head(drill, ground, title, tempos[0])
    tune, faults = parse("\n".join([*head, *_body(drafts, tempos)]), folder=drill.folder)
    if faults:  # only what the caller put into the head can be at fault
        raise TabError(f"the head of the page will not do: {faults[0].message}")
    text = write(tune)
    loaded = load(text, title, folder=drill.folder, player=drill.player)
    sounding = [event.figure.tones[0] for event in loaded.score.events]
    return Page(
        title,
        text,
        tuple(
            Section(draft.name, draft.kind, tempo)
            for draft, tempo in zip(drafts, tempos, strict=True)
        ),
        tuple((tone, sounding.count(tone)) for tone in drill.bends),
        loaded,
    )


def graded(drill: Drill) -> tuple[tuple[str, Page], ...]:
    """The same drill as a set of pages, easiest first, each with the name of its file.

    Draw bends, then blow bends, then overbends, each through the stages of the kinds: to
    find the note, to place it, in scales, in phrases. Every page has every bend of its group,
    `times` times at least; the tempo begins anew on each.
    """
    _ground(drill)  # tells of what is wrong with it
    found: list[tuple[str, Page]] = []
    for group in GROUPS:
        bends = tuple(tone for tone in drill.bends if group_of(tone) == group)
        for stage in STAGES if bends else ():
            kinds = tuple(name for name in drill.kinds if KINDS[name].stage == stage)
            if not kinds:
                continue
            title = f"{group.capitalize()}{'' if group == 'overbends' else ' bends'}: {stage}"
            made = page(drill._replace(bends=bends, kinds=kinds, title=title))
            found.append((f"{len(found) + 1:02}-{group}-{stage}{SUFFIX}", made))
    return tuple(found)


def _ground(drill: Drill) -> Ground:
    if not drill.bends:
        raise TabError("no bends are asked for; write some, such as 2v2,3v1")
    for name in drill.kinds:
        if name not in KINDS:
            raise TabError(f"there is no kind of drill '{name}'; kinds: {', '.join(KINDS)}")
    if not drill.kinds:
        raise TabError(f"no kind of drill is asked for; kinds: {', '.join(KINDS)}")
    if not SLOWEST <= drill.tempo <= drill.top <= QUICKEST:
        raise TabError(
            f"a page goes from slow to quick, from {SLOWEST} to {QUICKEST} beats a minute; "
            f"{drill.tempo} to {drill.top} does not"
        )
    asked = []
    for tone in drill.bends:
        pitch = drill.harp.intended(tone)
        assert pitch is not None
        asked.append(Way(tone, pitch))
    return Ground(drill.harp, drill.key or home_key(drill.harp), drill.player, tuple(asked))


def _sections(
    drill: Drill, ground: Ground, kind: Kind, targets: Sequence[Way], turn: int
) -> list[tuple[_Draft, list[Tone]]]:
    """The sections one kind makes for the targets: one, or one a song."""
    exercises: list[tuple[str, Exercise]] = []
    if kind.together > 1:
        dice = Random(f"{drill.seed}/{kind.name}/{turn}")
        groups = ground.families(targets, kind.together, dice)
    else:
        groups = [[way] for way in targets] if kind.together else [list(targets)]
    for group in groups:
        rng = Random(f"{drill.seed}/{kind.name}/{turn}/{' '.join(way.tone.token for way in group)}")
        named = ", ".join(ground.call(way) for way in group)
        exercises.append((named, kind.make(ground, group, rng)))
    made: list[tuple[_Draft, list[Tone]]] = []
    runs: list[list[tuple[str, Exercise]]] = []
    for named, exercise in exercises:
        if runs and kind.name != "song" and _alike(runs[-1][-1][1], exercise):
            runs[-1].append((named, exercise))
        else:
            runs.append([(named, exercise)])
    for run in runs:
        lines = _remark(kind.listen)
        used: list[Tone] = []
        for named, exercise in run:
            lines += _remark(f"{named}: {exercise.hint}.")
            lines += write_bars(
                exercise.steps, exercise.beats, exercise.bars_a_line, exercise.symbols
            )
            used += [step.tone for step in exercise.steps if step.tone is not None]
        first = run[0][1]
        quickest = _fit(drill, [exercise for _, exercise in run])
        draft = _Draft(kind.name, kind.name, lines, first.beats, first.shuffle, quickest)
        made.append((draft, used))
    return made


def _remark(text: str) -> list[str]:
    """A text as comment lines."""
    return textwrap.wrap(text, 88, initial_indent="# ", subsequent_indent="# ")


def _alike(one: Exercise, two: Exercise) -> bool:
    return (one.beats, one.shuffle) == (two.beats, two.shuffle)


def _numbered(drafts: list[_Draft]) -> list[_Draft]:
    """Sections of one kind told apart by number."""
    seen: dict[str, int] = {}
    named = []
    for draft in drafts:
        seen[draft.kind] = seen.get(draft.kind, 0) + 1
        again = f" {seen[draft.kind]}" if seen[draft.kind] > 1 else ""
        named.append(draft._replace(name=draft.kind + again))
    return named


def _tempos(drill: Drill, drafts: Sequence[_Draft]) -> list[int]:
    """A tempo for each section, rising, none quicker than the player can follow."""
    steps = max(1, len(drafts) - 1)
    wanted = [drill.tempo + (drill.top - drill.tempo) * i // steps for i in range(len(drafts))]
    most = [min(draft.quickest, tempo) for draft, tempo in zip(drafts, wanted, strict=True)]
    if min(most) < SLOWEST:
        raise TabError(
            "this player's fastest change is too slow for these drills at any tempo; "
            "give a shorter one, or other kinds"
        )
    tempos = []
    limit = QUICKEST
    for tempo in reversed(most):
        limit = min(limit, tempo)
        tempos.append(limit)
    return tempos[::-1]


def _fit(drill: Drill, exercises: Sequence[Exercise]) -> int:
    """The quickest tempo at which no change or leap in the exercises is too quick."""
    most = float(QUICKEST)
    for exercise in exercises:
        before: tuple[Tone, float] | None = None
        time = Fraction(0)
        for step in exercise.steps:
            at = float(time)
            if exercise.shuffle and time.denominator == 2:
                at += 1 / 6  # the second half of a beat comes two thirds into it
            if before is not None and step.tone is not None:
                last, since = before
                distance = abs(step.tone.hole - last.hole)
                needed = max(leap_seconds(distance), change_seconds(last, step.tone, drill.player))
                if needed:
                    most = min(most, 60 * (at - since) / needed)
            if step.tone is not None:
                before = step.tone, at
            time += step.beats
    return int(most)


def _title(drill: Drill) -> str:
    names = [tone.token for tone in drill.bends]
    listed = " ".join(names) if len(names) <= 4 else f"{len(names)} bends"
    return f"Bends in tune: {listed}"


def _head(drill: Drill, ground: Ground, title: str, tempo: int) -> list[str]:
    head = [f"title: {title}", f"harp: {drill.harp.key}"]
    tuning = drill.tuning or drill.harp.tuning
    if tuning != "Richter":
        head.append(f"tuning: {tuning}")
    head += [f"key: {ground.key}", f"tempo: {tempo}", "meter: 4/4"]
    head += [f"{name}: {value}" for name, value in drill.tuned if value]
    head.append("")
    place = ORDINALS[ground.position - 1]
    head += [
        f"# {place[0].upper()}{place[1:]} position; each note to hit at least {drill.times} times; "
        f"seed {drill.seed}.",
        "# Bend with the mouth, not with force: hard breath is out of tune and wears out reeds.",
        "# Every rest is there to breathe. If you feel light-headed, stop and breathe quietly.",
        "# A note in brackets is what you should hear; check long notes with a tuner.",
    ]
    if any(tone.overbent for tone in drill.bends):
        head.append("# Overbends need little air and a patient start; not every harp gives them.")
    return head


def _body(drafts: Sequence[_Draft], tempos: Sequence[int]) -> list[str]:
    """The sections as text; meter and feel are said where they change."""
    lines: list[str] = []
    meter, feel = "4/4", "straight"
    for draft, tempo in zip(drafts, tempos, strict=True):
        lines += ["", f"[{draft.name}]", f"tempo: {tempo}"]
        if f"{draft.beats}/4" != meter:
            meter = f"{draft.beats}/4"
            lines.append(f"meter: {meter}")
        wanted = "shuffle" if draft.shuffle else "straight"
        if wanted != feel:
            feel = wanted
            lines.append(f"feel: {feel}")
        lines += draft.lines
    return lines
