"""A tune on another harp, or in another key: the same text with other holes in it.

Three things are meant by moving a tune, and they are never mixed up:

* *same holes, other harp* (`Keep.HOLES`): the tab stays, the sound moves with the harp;
* *same sound, other harp* (`Keep.SOUND`): every pitch stays, the holes are worked out anew;
* *other sounding key* (`semitones`): every pitch moves by so many semitones, on the same
  harp or another; with `Keep.POSITION` the harp moves along, and so the holes stay.

Rhythm, marks, sections, lyrics, comments and the layout of the text stay as they are. What
cannot be played is told of, and left in the text as a note of exactly the pitch asked for,
which `check` then flags; no note is dropped, and none moves by an octave unless that was
allowed, in which case it is told.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from enum import StrEnum
from typing import NamedTuple

from tabtool.canonical import write
from tabtool.diagnostics import Diagnostic, Level, Rule, Span, TabError, in_order
from tabtool.events import NoteEvent
from tabtool.harp import Harp, Layout, Tone
from tabtool.header import Setting
from tabtool.holes.fingering import Choice, Grip, Hands, hands
from tabtool.holes.headings import Headings
from tabtool.holes.melody import Melody, melody
from tabtool.holes.out_of_reach import least_wrong, nearest_ways
from tabtool.holes.passage import Want
from tabtool.holes.rekey import moved_key
from tabtool.holes.rewrite import Edit, rewrite
from tabtool.load import Loaded, load
from tabtool.music import Key, spell
from tabtool.parse import parse
from tabtool.player import Player
from tabtool.tune import Figure
from tabtool.tunings import harp_at, make_harp

NOT_ON_HARP = Rule("not-on-harp", Level.ERROR, "A pitch that the new harp does not have.")
BEYOND_PLAYER = Rule(
    "beyond-player", Level.ERROR, "A pitch the new harp has, but not in this player's reach."
)
NO_PITCH = Rule(
    "no-pitch", Level.ERROR, "A hole the old harp does not have, so that no pitch is known."
)
MARK_LOST = Rule("mark-lost", Level.CAUTION, "An expressive mark the new hole cannot take.")
OCTAVE_MOVED = Rule("octave-moved", Level.CAUTION, "A note that sounds an octave away.")
OTHER_STEP = Rule(
    "other-step", Level.CAUTION, "A note that does not move as the rest of the tune does."
)


class Keep(StrEnum):
    """What stays when the harp changes."""

    SOUND = "sound"
    HOLES = "holes"
    POSITION = "position"


class Octaves(StrEnum):
    """Whether anything may sound an octave away: nothing, the tune as a whole, or single notes."""

    NO = "no"
    TUNE = "tune"
    NOTE = "note"


class Request(NamedTuple):
    """What is asked for: `harp` is a key (empty: the tune's own harps), `semitones` of sound.

    `key` spells the new key of the tune, where it was named.
    """

    keep: Keep = Keep.SOUND
    harp: str = ""
    tuning: Layout | None = None
    tuning_name: str = ""
    semitones: int = 0
    key: Key | None = None
    octaves: Octaves = Octaves.NO


class Retabbed(NamedTuple):
    """A tune moved: its text, read and checked again, and what there is to say of the move.

    Places in `findings` are places in the old text. `semitones` is how far the sound moved.
    """

    text: str
    loaded: Loaded
    findings: tuple[Diagnostic, ...]
    semitones: int


def retab(
    loaded: Loaded,
    text: str,
    request: Request,
    player: Player = Player(),  # noqa: B008 (immutable)
    out: str = "",
) -> Retabbed:
    """Move a readable tune; `text` is what it was read from, `out` the path it will be written to.

    `TabError` where what is asked for is no harp, or the tune does not say what it would have to.
    """
    return _Moving(loaded, text, request, player, out).move()


class _Moving:
    """One move of one tune."""

    def __init__(
        self, loaded: Loaded, text: str, request: Request, player: Player, out: str
    ) -> None:
        self.loaded, self.text, self.request, self.player = loaded, text, request, player
        self.tune = loaded.tune
        self.lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        self.out = out
        self.found: list[Diagnostic] = []
        self.edits: list[Edit] = []
        self.harps: dict[Setting, Harp] = {}
        self.semitones = request.semitones
        self.octave = 0

    def move(self) -> Retabbed:
        request = self.request
        settings = [stretch.setting for stretch in self.loaded.score.stretches]
        if not settings:
            raise TabError(f"{self.tune.file}: no music in it to move")
        if any(setting.harp is None for setting in settings):
            raise TabError(f"{self.tune.file}: the tune does not say which harp it is for")
        for setting in dict.fromkeys(settings):
            self.harps[setting] = self.harp_for(setting)
        first = settings[0]
        if request.keep is Keep.HOLES:
            assert first.harp is not None
            self.semitones = self.harps[first].root - first.harp.root
            self.same_holes()
        else:
            self.other_holes()
        texts = Headings(
            self.loaded, self.harps, self.new_key, request.tuning, request.tuning_name, self.out
        )
        self.edits += texts.edits()
        self.edits += texts.symbols(self.text, self.semitones)
        self.found += texts.found
        moved = rewrite(self.text, self.edits, texts.inserted())
        name = self.out or self.tune.file
        folder = os.path.dirname(name)
        if write(self.tune) == self.text:  # laid out in columns: lay it out so again
            moved = write(parse(moved, name, folder)[0])
        again = load(moved, name, folder=folder, player=self.player)
        return Retabbed(moved, again, in_order(self.found), self.semitones + self.octave)

    # --- harps ---

    def harp_for(self, setting: Setting) -> Harp:
        """The harp on which music now stands that stood on the harp of `setting`."""
        request, old = self.request, setting.harp
        assert old is not None
        layout = request.tuning or old.layout
        if request.keep is Keep.SOUND:
            return self.sold(request.harp or old.key, layout)
        by = request.semitones
        if request.harp:  # every harp of the tune moves as the first one does
            first = self.loaded.score.stretches[0].setting.harp
            assert first is not None
            by = self.sold(request.harp, request.tuning or first.layout).root - first.root
        harp = harp_at(old.root + by, layout)
        if harp is None:
            raise TabError(
                f"the {old} would have to move by {by} semitones, and no harp is named so "
                f"{'low' if by < 0 else 'high'}; try an octave {'less' if by < 0 else 'lower'}"
            )
        return harp

    def sold(self, key: str, layout: Layout) -> Harp:
        plain = key.removesuffix("m")
        harp = make_harp(key, layout) or make_harp(plain, layout)
        if harp is None and layout.minor:
            harp = make_harp(f"{plain}m", layout)
        if harp is None:
            raise TabError(
                f"there is no {layout.name} harp in '{key}'; write a key such as C, Bb or F#, "
                "with low or high before it for another register"
            )
        return harp

    # --- holes ---

    def same_holes(self) -> None:
        """Tell of notes that do not move by the same step as the tune, and of what is lost."""
        told: set[Span] = set()
        for event in self.loaded.score.events:
            old, new = event.setting.harp, self.harps[event.setting]
            assert old is not None
            if event.note.span in told:
                continue
            told.add(event.note.span)
            figure = event.figure
            for tone in figure.all_tones:
                was, now = old.intended(tone), new.intended(tone)
                if was is not None and now is not None and now - was != self.semitones:
                    self.found.append(
                        OTHER_STEP.at(
                            event.note.span,
                            f"{tone} moves by {now - was:g} semitones, from {old.named(was)} to "
                            f"{new.named(now)}, and the tune by {self.semitones}",
                            "the tunings differ there; --keep sound finds the holes anew",
                        )
                    )
            if any(old.can_play(tone) and not new.can_play(tone) for tone in figure.all_tones):
                self.found.append(
                    NOT_ON_HARP.at(
                        event.note.span,
                        f"{figure.token} cannot be played on {new.called}",
                        "tabtool check says why; --keep sound finds the holes anew",
                    )
                )
            self.mark(event, figure, hands(new.layout, self.player))

    def other_holes(self) -> None:
        """Work out the holes anew, stretch by stretch, and put them in."""
        octave = self.request.octaves
        moves = (0, 12, -12, 24, -24) if octave is Octaves.TUNE else (0,)
        best: tuple[tuple[int, int, int], int, list[tuple[_Sounds, Choice]]] | None = None
        for move in moves:
            chosen = []
            impossible = cost = 0
            for sounds in self.sounds(move):
                choice = sounds.hands.choose(sounds.melody.passage, sounds.harp.root)
                impossible += sum(grip is None for grip in choice.grips)
                cost += choice.cost
                chosen.append((sounds, choice))
            rank = impossible, cost, abs(move)
            if best is None or rank < best[0]:
                best = rank, move, chosen
        assert best is not None
        self.octave = best[1]
        figures: dict[Span, dict[int, Grip]] = {}
        events: dict[Span, tuple[NoteEvent, Harp]] = {}
        for sounds, choice in best[2]:
            tune = sounds.melody
            for (event, place), grip, number in zip(
                tune.places, choice.grips, tune.passage.sounds, strict=True
            ):
                grips = figures.setdefault(event.note.span, {})
                if place not in grips:
                    events.setdefault(event.note.span, (event, sounds.harp))
                    want = tune.passage.wants[number]
                    grips[place] = grip or self.unplayable(event, want, sounds)
                    self.moved_by_octave(event, grips[place], sounds)
            for event, figure in tune.unknown:
                self.no_pitch(event, figure)
        for span, grips in figures.items():
            event, harp = events[span]
            self.put(event, grips, harp)
        if self.octave:
            first = self.loaded.score.events[0].note.span
            way = f"{abs(self.octave) // 12} octave{'s' if abs(self.octave) > 12 else ''}"
            self.found.append(
                OCTAVE_MOVED.at(
                    first, f"the whole tune sounds {way} {'up' if self.octave > 0 else 'down'}"
                )
            )

    def sounds(self, move: int) -> Iterator[_Sounds]:
        """What is to sound on each new harp, in the order it is played."""
        numbers: dict[Harp, list[int]] = {}
        events = self.loaded.score.events
        for number, event in enumerate(events):
            numbers.setdefault(self.harps[event.setting], []).append(number)
        free = self.request.octaves is Octaves.NOTE
        for harp, own in numbers.items():
            breaks = frozenset(at for at in range(1, len(own)) if own[at] != own[at - 1] + 1)
            tune = melody([events[at] for at in own], self.request.semitones + move, free, breaks)
            yield _Sounds(harp, hands(harp.layout, self.player), tune)

    def unplayable(self, event: NoteEvent, want: Want, sounds: _Sounds) -> Grip:
        """Tell that a sound is out of reach; the way to write it all the same."""
        harp = sounds.harp
        name = " and ".join(harp.named(pitch, self.key(event)) for pitch in want.pitches)
        home = want.moved(-harp.root)
        anyone = hands(harp.layout).grips(home)
        near = _nearest(want, sounds, self.key(event))
        if anyone:
            grip = anyone[0]
            self.found.append(
                BEYOND_PLAYER.at(
                    event.note.span,
                    f"{name} on {harp.called} is {_said(grip)}, out of reach of this player",
                    near,
                )
            )
            return grip
        grip = least_wrong(home, sounds.hands)
        what = "together do" if len(want.pitches) > 1 else "does"
        self.found.append(
            NOT_ON_HARP.at(
                event.note.span,
                f"{name} {what} not exist on {harp.called}: written {_token(grip)}, which has "
                "that pitch and cannot be played",
                near,
            )
        )
        return grip

    def no_pitch(self, event: NoteEvent, figure: Figure) -> None:
        assert event.setting.harp is not None
        self.found.append(
            NO_PITCH.at(
                event.note.span,
                f"{figure.token} stands on a hole {event.setting.harp.called} does not have, so "
                "what it should sound is not known",
                "left as it is; tabtool check says what holes there are",
            )
        )

    def moved_by_octave(self, event: NoteEvent, grip: Grip, sounds: _Sounds) -> None:
        if grip.octave:
            pitch = sounds.harp.intended(grip.tones[0])
            assert pitch is not None
            was = sounds.harp.named(pitch - grip.octave, self.key(event))
            self.found.append(
                OCTAVE_MOVED.at(
                    event.note.span,
                    f"{was} cannot be played and sounds an octave "
                    f"{'up' if grip.octave > 0 else 'down'}, {_said(grip)}",
                )
            )

    def put(self, event: NoteEvent, grips: dict[int, Grip], harp: Harp) -> None:
        """Write a note's new holes into the text."""
        old = event.figure
        graces = tuple(
            _with(figure, grips[place]) if place in grips else figure
            for place, figure in enumerate(old.grace)
        )
        main = len(old.grace)
        new = _with(old, grips[main]) if main in grips else old
        new = new._replace(grace=graces)
        self.mark(event, new, hands(harp.layout, self.player))
        if new != old:
            span = event.note.span
            token = new.token
            typed = self.typed(span)
            if "↑" in typed or "↓" in typed:
                token = token.replace("^", "↑").replace("v", "↓")
            self.edits.append(Edit(span, token))

    def typed(self, span: Span) -> str:
        return self.lines[span.line - 1][span.column - 1 : span.end_column - 1]

    def mark(self, event: NoteEvent, new: Figure, played: Hands) -> None:
        """Tell of an expressive bend the old hole could give and the new one cannot."""
        old = event.setting.harp
        assert old is not None
        before = hands(old.layout, self.player)
        pairs = zip((*event.figure.grace, event.figure), (*new.grace, new), strict=True)
        for was, now in pairs:
            bend = was.marks.bends
            gave = bend and any(before.gives(tone, bend) for tone in was.tones)
            if not gave or any(_gives(played, tone, bend) for tone in now.tones):
                continue
            kind = next(word for word in ("scoop", "fall", "dip") if getattr(was.marks, word))
            self.found.append(
                MARK_LOST.at(
                    event.note.span,
                    f"the {kind} of {was.token} is out of reach of {now.token}: "
                    f"{' and '.join(map(str, now.tones))} cannot be pulled so far",
                    "the mark still stands; vibrato (~) or a hand wah (@) may serve in its place",
                )
            )

    def key(self, event: NoteEvent) -> Key | None:
        """The key by which the moved note is spelled."""
        key = event.setting.key
        return None if key is None else self.new_key(key)

    # --- the text around the notes ---

    def new_key(self, key: Key) -> Key:
        moved = moved_key(key, self.semitones)
        wanted = self.request.key
        first = self.loaded.score.stretches[0].setting.key
        if wanted is not None and key == first:
            return Key(wanted.tonic, key.mode)
        return moved


class _Sounds(NamedTuple):
    """What is to sound on one harp, in whose hands."""

    harp: Harp
    hands: Hands
    melody: Melody


def _with(figure: Figure, grip: Grip) -> Figure:
    return figure._replace(tones=grip.tones, shake=grip.shake)


def _gives(played: Hands, tone: Tone, bend: int) -> bool:
    return played.harp.can_play(tone) and played.gives(tone, bend)


def _token(grip: Grip) -> str:
    return Figure(grip.tones, shake=grip.shake).token


def _said(grip: Grip) -> str:
    return f"{' with '.join(map(str, grip.all_tones))} ({_token(grip)})"


def _nearest(want: Want, sounds: _Sounds, key: Key | None) -> str:
    """The nearest notes this player has on the harp, below and above a single pitch."""
    if len(want.pitches) > 1:
        return "play one of its notes alone, or fewer"
    (pitch,) = want.pitches
    harp, played = sounds.harp, sounds.hands
    said = []
    for word, way in nearest_ways(pitch, harp, played):
        at = harp.intended(way.tones[0])
        assert at is not None
        cents = round(abs(at - pitch) * 100)
        name = spell(at, key or harp.spelling)
        said.append(f"{name} ({way.tones[0].token}), {cents} cents {word}")
    return "nearest: " + "; ".join(said) if said else ""
