"""Which stretch of a recording is which note of the tab.

Conventions: times in seconds of the recording, pitches as MIDI numbers; notes of the tab are
counted from 0.

The model is a hidden Markov chain over frames.  Between notes lie places 0…n (place p: p notes
are behind us).  At each place four things may sound: the note that leads there (NOTE), another
pitch in its stead (WRONG), nothing or noise (GAP), or something that the tab has not (EXTRA).
From a place one goes on to the next, past some notes (each costs), or, dearly, anywhere: a false
start, a passage again.  No duration is presumed, so no tempo either; where the same pitch comes
twice, a dip of the level has to part the notes.  The likeliest path is Viterbi's.

All costs are in nats and were set on rendered takes (tests/takebench.py); none was fitted finely.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import astuple, dataclass, replace
from enum import Enum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tabtool.diagnostics import TabError
from tabtool.takes.pitchtrack import FINE_S, Pitches, PitchTrack

Floats = NDArray[np.float32]

SAME = 0.3
"""Semitones within which two pitches cannot be told apart by the model."""

SKIP, SKIP_EACH, GRACE_EACH = 7.0, 4.0, 0.5
WRONG, EXTRA = 6.0, 7.0
JUMP, PAUSED, AFRESH = 22.0, 4.0, 4.0
RESUME = 16.0
REPEAT = 14.0
"""Costs: of skipping (once, and each note or grace note), of a wrong or extra note, of going
anywhere (less after a pause, and less to the beginning), of a note that goes on after a gap, and
of repeating a pitch without any dip."""

DIP_LEAST, DIP_EACH = 1.0, 6.0
"""Decibels of dip that are none, and what each further one takes off REPEAT: inside notes the
level dips by less than 2 dB in 95 of 100, at repeats, in a room and without any gap, by more in
as many."""

LATELY = 5
"""Frames for which a dip parts what comes after from what came before."""

DIP_FREE, DIP_LASTING, DIP_LASTING_MOST = 5.0, 0.8, 12.0
"""A note may dip so many decibels at no cost; then what each costs, and the most."""

OTHER = 0.85
"""Likelihood of a frame of a steady wrong or extra note, where one of the right note has 1."""

SCOOPED = 0.12
"""Likelihood of a frame up to 1.4 semitones under its note: reeds speak from below."""

MOST_CELLS = 150_000_000
"""Frames times notes: the way back holds three bytes of each."""

MOVED = 4.0
"""Cost of a wrong or extra note that leaps to another pitch."""

EVENT_BEFORE, EVENT_AFTER, GROUP = 3, 9, 6
"""Frames before and after any change that are looked at one by one; else so many at once."""

PAUSE_S = 0.25
"""Seconds of silence after which a player may well begin again elsewhere."""

HEAD = 4
"""Frames through which a note must go before it can end."""

WIDEST_SKIP = 200


class State(Enum):
    """What a stretch of the recording is."""

    NOTE = 0
    WRONG = 1
    GAP = 2
    EXTRA = 3


@dataclass(frozen=True, slots=True)
class Stretch:
    """Frames ``first`` to ``last`` (exclusive) in one state; ``place`` is the note's number for
    NOTE and WRONG, the number of the next note for GAP and EXTRA."""

    state: State
    place: int
    first: int
    last: int


def tuning_guess(track: PitchTrack, targets: Sequence[Pitches]) -> float:
    """Semitones by which the recording as a whole stands above the targets, from −0.5 to 0.5.

    The commonest distance of a likely pitch from the nearest target (circular, by semitone).
    """
    wanted = np.unique([pitch for target in targets for pitch in target])
    pitch = track.pitch[:, 0].astype(np.float64)
    sure = (track.weight[:, 0] > 0.5) & ~np.isnan(pitch)
    if not sure.any() or not len(wanted):
        return 0.0
    pitch = pitch[sure]
    at = np.clip(np.searchsorted(wanted, pitch), 1, max(1, len(wanted) - 1))
    low = wanted[at - 1]
    high = wanted[np.minimum(at, len(wanted) - 1)]
    away = pitch - np.where(np.abs(pitch - low) < np.abs(pitch - high), low, high)
    away = away[np.abs(away) < 0.6]
    if not len(away):
        return 0.0
    counts, _ = np.histogram(away - np.round(away), bins=100, range=(-0.5, 0.5))
    bell = np.exp(-0.5 * (np.arange(-50, 50) / 8.0) ** 2)
    smooth = np.fft.irfft(np.fft.rfft(counts) * np.fft.rfft(np.fft.ifftshift(bell)), 100)
    # a slight leaning to nought, so that an even spread of errors says nothing
    lean = 1 - 0.3 * np.abs(np.arange(-50, 50)) / 50
    return float((int(np.argmax(smooth * lean)) + 0.5) / 100 - 0.5)


def presence(track: PitchTrack) -> Floats:
    """How surely one pitch sounds in each frame, 0.01 to 0.99: weight, silenced below the level."""
    weight = np.nan_to_num(track.weight[:, 0]) * np.clip(track.periodic * 1.6 - 0.3, 0, 1)
    sure = np.clip(1.15 * weight * audible(track, 50.0) - 0.05, 0.01, 0.99)
    return np.asarray(sure, np.float32)


def audible(track: PitchTrack, below: float) -> Floats:
    """1 for frames near the recording's loudest, falling to 0 at ``below`` dB under them."""
    if not len(track.level):
        return np.zeros(0, np.float32)
    floor = np.percentile(track.level, 95) - below
    return np.asarray(np.clip((track.level - floor) / 10, 0, 1), np.float32)


def dips(track: PitchTrack, least: float = 0.5) -> Floats:
    """Decibels by which the level falls and rises again around each frame, where it is lowest.

    Depths under ``least`` are left out.
    """
    envelope = track.envelope
    frames = np.zeros(len(track.level), np.float32)
    if len(envelope) < 3 or not len(frames):
        return frames
    reach = round(0.08 / FINE_S)
    padded = np.pad(envelope, reach, constant_values=np.float32(-120))
    most = np.lib.stride_tricks.sliding_window_view(padded, reach + 1).max(axis=1)
    before, after = most[: len(envelope)], most[reach : reach + len(envelope)]
    depth = np.minimum(before, after) - envelope
    near = round(0.020 / FINE_S)
    padded = np.pad(envelope, near, constant_values=np.float32(120))
    lowest = np.lib.stride_tricks.sliding_window_view(padded, 2 * near + 1).min(axis=1)
    at_bottom = np.flatnonzero((envelope <= lowest) & (depth >= least))
    at = np.rint((at_bottom * FINE_S - track.start_s) / track.hop_s).astype(int)
    inside = (at >= 0) & (at < len(frames))
    np.maximum.at(frames, at[inside], depth[at_bottom[inside]].astype(np.float32))
    return frames


@dataclass(frozen=True, slots=True)
class _Evidence:
    """Log likelihoods, frames × different targets or frames alone."""

    note: Floats
    wrong: Floats
    gap: Floats
    extra: Floats
    moved: Floats  # 1 where the pitch leaps from the frame before


@dataclass(frozen=True, slots=True)
class _Costs:
    """Costs frame by frame: of going anywhere; of a note that goes on through a dip; of a note
    followed by an equal one; of entering a note whose pitch sounds already (frames × different
    targets); of beginning a wrong or extra note while a pitch goes on."""

    jump: Floats
    lasting: Floats
    repeat: Floats
    unparted: Floats
    begun: Floats


def _likeness(off: Floats) -> Floats:
    """Of a frame so many semitones off its note, 0 to 1."""
    return np.asarray(1 / (1 + (np.abs(off) / 0.6) ** 8), np.float32)


def likelihood(track: PitchTrack, wanted: Sequence[Pitches], sounding: Floats) -> Floats:
    """Log likelihood of each frame under each single pitch (frames × pitches)."""
    return _evidence(track, wanted, sounding).note


def _evidence(track: PitchTrack, wanted: Sequence[Pitches], sung: Floats) -> _Evidence:
    """A note is heard within half a semitone of its pitch, flat on top: how far off it is does
    not make it less that note.  A wrong or extra note may have any pitch but keeps it."""
    pitch = np.nan_to_num(track.pitch, nan=-100.0)
    share = track.weight**2 + 1e-9
    share = share / share.sum(axis=1, keepdims=True)
    note = np.zeros((len(pitch), len(wanted)), np.float32)
    apart = np.zeros_like(note)
    roots = np.array([pitches[0] for pitches in wanted], np.float32)
    for k in range(pitch.shape[1]):
        near = np.zeros_like(note)
        for column, pitches in enumerate(wanted):
            for each in pitches:
                near[:, column] = np.maximum(near[:, column], _likeness(pitch[:, k] - each))
        apart += share[:, k : k + 1] * (1 - near)
        below = (pitch[:, k : k + 1] < roots) & (pitch[:, k : k + 1] > roots - 1.4)
        note += share[:, k : k + 1] * np.where(below, np.maximum(near, SCOOPED), near)
    moved = np.zeros(len(pitch), np.float32)
    moved[1:] = np.abs(np.diff(pitch[:, 0])) > 0.4
    quiet = 1 - sung
    return _Evidence(
        np.log(sung[:, None] * note + quiet[:, None] * 0.03 + 3e-4),
        np.log(sung[:, None] * apart * OTHER + quiet[:, None] * 0.01 + 3e-4)
        - MOVED * moved[:, None],
        np.log(quiet + sung * 0.006),
        np.log(sung * OTHER * share[:, 0] + quiet * 0.01) - MOVED * moved,
        moved,
    )


def align(
    track: PitchTrack,
    targets: Sequence[Pitches],
    tuning: float,
    optional: Collection[int] = (),
) -> list[Stretch]:
    """The likeliest reading of the recording; ``tuning`` in semitones is added to the targets.

    Each target is the pitches that sound together or in turn, one for an ordinary note; those
    that are ``optional`` (grace notes) cost little to leave out.
    """
    frames, n = len(track.level), len(targets)
    if not frames or not n:
        return [Stretch(State.GAP, 0, 0, frames)] if frames else []
    if frames * n > MOST_CELLS:
        raise TabError(
            f"{n} notes and {frames * track.hop_s / 60:.0f} minutes are too much at once;"
            " take the tune in sections"
        )
    wanted = sorted(set(targets))
    which = np.array([wanted.index(target) for target in targets])
    tuned = [tuple(pitch + tuning for pitch in target) for target in wanted]
    sounding = presence(track)
    seen = _evidence(track, tuned, sounding)
    depth = dips(track)
    lasting = np.clip(DIP_LASTING * (depth - DIP_FREE), 0, DIP_LASTING_MOST)
    lately = np.maximum.reduce([np.roll(depth, k) for k in range(LATELY)])
    now, since = (
        np.clip(REPEAT - DIP_EACH * (each - DIP_LEAST), 0, REPEAT) for each in (depth, lately)
    )
    # a pitch that goes on from the frame before, by itself and as the pitch of each note
    goes_on = np.roll(sounding, 1) * (1 - seen.moved)
    clear = np.exp(seen.note) / np.maximum(sounding, 0.3)[:, None]
    was_there = np.roll(np.minimum(clear, 1), 1, axis=0)
    goes_on[0] = was_there[0] = 0
    costs = _Costs(
        JUMP - PAUSED * _paused(track, sounding),
        lasting,
        now,
        since[:, None] * was_there,
        since * goes_on,
    )
    first = _groups(track, sounding, depth)
    codes = _forward(
        _Evidence(*(np.add.reduceat(each, first, axis=0) for each in astuple(seen))),
        which,
        [target[0] for target in targets],
        np.array([GRACE_EACH if k in optional else SKIP_EACH for k in range(n)], np.float32),
        _Costs(*(each[first] for each in astuple(costs))),
    )
    first = np.append(first, frames)
    return [
        replace(stretch, first=int(first[stretch.first]), last=int(first[stretch.last]))
        for stretch in _back(*codes)
    ]


def _paused(track: PitchTrack, sounding: Floats) -> Floats:
    """1 for frames at the end of a silence of ``PAUSE_S``, but for the first ones of an onset."""
    size, skip = round(PAUSE_S / track.hop_s), 3
    if len(sounding) < size + skip:
        return np.zeros_like(sounding)
    windows = np.lib.stride_tricks.sliding_window_view(sounding, size)
    silent = np.zeros_like(sounding)
    silent[size + skip - 1 :] = windows.max(axis=1)[: len(sounding) - size - skip + 1] < 0.5
    return silent


def _groups(track: PitchTrack, sounding: Floats, depth: Floats) -> NDArray[np.intp]:
    """First frames of groups that the model may take as one: where nothing happens, there is
    nothing to decide, and most of a take is a pitch that holds or silence."""
    pitch = np.nan_to_num(track.pitch[:, 0])
    event = depth > 0.5
    heard = np.maximum(sounding[1:], sounding[:-1]) > 0.1
    event[1:] |= heard & (np.abs(np.diff(pitch)) > 0.15)
    event[1:] |= np.abs(np.diff(sounding)) > 0.15
    near = np.convolve(event, np.ones(EVENT_BEFORE + EVENT_AFTER + 1))
    busy = near[EVENT_BEFORE : EVENT_BEFORE + len(event)] > 0.5
    keep = busy.copy()
    keep[1:] |= busy[:-1]
    # within a quiet run every GROUP-th frame begins a group
    since = np.arange(len(event)) - np.maximum.accumulate(np.where(keep, np.arange(len(event)), 0))
    keep |= since % GROUP == 0
    keep[0] = True
    return np.flatnonzero(keep)


def _forward(
    seen: _Evidence, which: Any, targets: Any, skips: Floats, costs: _Costs
) -> tuple[Any, ...]:
    """Viterbi's forward pass; returns what the way back needs.

    NOTE and WRONG begin with a chain of ``HEAD`` frames, which sets their least length.  Codes of
    ``enter`` (how a NOTE's chain was entered): 1 from the place before, 3 jump, 4 + d past d
    notes.  ``leave`` is the best state at each place.  ``other`` packs the rest: NOTE (bits 0–1:
    0 stayed, 1 from the chain, 2 resumed from a gap), WRONG (bit 2: from its chain), and the
    sources of GAP (bits 3–4) and EXTRA (bits 5–6).
    """
    frames, n = len(seen.gap), len(targets)
    enter = np.zeros((frames, n + 1), np.uint8)
    leave = np.zeros((frames, n + 1), np.uint8)
    other = np.zeros((frames, n + 1), np.uint8)
    jump = np.zeros(frames, np.int32)
    low = np.float32(-1e9)
    note, wrong, gap, extra = np.full((4, n + 1), low, np.float32)
    gap[0] = 0.0
    note_head = np.full((HEAD, n + 1), low, np.float32)
    wrong_head = np.full((HEAD, n + 1), low, np.float32)
    same = np.zeros(n + 1, np.float32)  # the next note has the same pitch
    same[1:n] = np.abs(np.diff(targets)) < SAME
    index = np.arange(n + 1)
    cheap = np.concatenate([[0], np.cumsum(skips)]).astype(np.float32)
    columns = np.concatenate([[0], which])
    following = np.concatenate([which, [which[-1]]])
    afresh = np.where(index == 1, AFRESH, 0).astype(np.float32)
    advance = np.full(n + 1, low, np.float32)
    past = np.full(n + 1, low, np.float32)
    for t in range(frames):
        note_seen = seen.note[t][columns]
        wrong_seen = seen.wrong[t][columns]
        note_seen[0] = wrong_seen[0] = low
        unparted = costs.unparted[t][following]
        # the best way out of each place, in pairs: cheaper than an argmax of four
        one, two = note - costs.repeat[t] * same, wrong - unparted
        three, four = gap - unparted, extra - unparted
        upper, lower = np.maximum(one, two), np.maximum(three, four)
        out = np.maximum(upper, lower)
        leave[t] = np.where(lower > upper, 2 + (four > three), two > one)
        advance[1:] = out[:-1]
        # past notes: the best of all places further back, each note between costing the same
        rising = out + cheap
        best = np.maximum.accumulate(rising)
        past[2:] = best[:-2] - cheap[1:-1] - SKIP
        far = int(out.argmax())
        jump[t] = far
        leap = out[far] - costs.jump[t] + afresh
        entered = np.maximum(advance, past)
        code = enter[t]
        code[:] = 1
        leapt = past > advance
        if leapt.any():
            top = np.maximum.accumulate(np.where(rising == best, index, 0))
            # place p is reached from place q: p - 1 - q notes were passed
            at = np.flatnonzero(leapt)
            code[at] = 4 + np.minimum(at - 1 - top[at - 2], WIDEST_SKIP)
        jumped = entered < leap
        code[jumped] = 3
        entered[jumped] = leap[jumped]
        going_on, resumed = note - costs.lasting[t], gap - RESUME
        begun = note_head[-1] > going_on
        going_on = np.maximum(going_on, note_head[-1])
        again = resumed > going_on
        new_note = np.maximum(going_on, resumed) + note_seen
        headed = wrong_head[-1] > wrong
        new_wrong = np.maximum(wrong, wrong_head[-1]) + wrong_seen
        note_head[1:] = note_head[:-1] + note_seen
        note_head[0] = entered + note_seen
        wrong_head[1:] = wrong_head[:-1] + wrong_seen
        wrong_head[0] = advance - (WRONG + costs.begun[t]) + wrong_seen
        played, was_wrong = np.maximum(note, wrong), wrong > note
        quiet, odd = np.maximum(played, gap), np.maximum(gap, extra)
        silent = np.where(odd > played, 2 + (extra > gap), was_wrong)
        fresh = quiet - (EXTRA + costs.begun[t])
        source = np.where(extra >= fresh, 3, np.where(gap > played, 2, was_wrong))
        other[t] = np.where(again, 2, begun) | (headed << 2) | (silent << 3) | (source << 5)
        note, wrong = new_note, new_wrong
        gap, extra = (
            np.maximum(played, odd) + seen.gap[t],
            np.maximum(extra, fresh) + seen.extra[t],
        )
    ends = np.stack([note, wrong, gap, extra])
    # notes not played at the end cost as skipped ones do
    ends -= cheap[-1] - cheap + np.where(index < n, SKIP, 0)
    state, place = np.unravel_index(int(ends.argmax()), ends.shape)
    return enter, leave, other, jump, int(state), int(place)


def _back(enter: Any, leave: Any, other: Any, jump: Any, state: int, place: int) -> list[Stretch]:
    """Follow the codes back and gather equal frames; a note re-entered starts a new stretch."""
    found: list[Stretch] = []
    t = last = len(jump)
    while t > 0:
        t -= 1
        packed = int(other[t, place])
        fresh = False
        came = (state, place)
        if state == 0 and packed & 3 == 2:
            came = (2, place)
        elif (state == 0 and packed & 3 == 1) or (state == 1 and packed & 4):
            t = max(0, t - HEAD)
            code = int(enter[t, place]) if state == 0 else 1
            past = code - 4 if code > 3 else 0
            source = int(jump[t]) if code == 3 else place - 1 - past
            came, fresh = (int(leave[t, source]), source), True
        elif state == 2:
            came = ((packed >> 3) & 3, place)
        elif state == 3:
            came = ((packed >> 5) & 3, place)
        if fresh or came != (state, place) or t == 0:
            number = place - 1 if state < 2 else place
            found.append(Stretch(State(state), number, t, last))
            last = t
        state, place = came
    found.reverse()
    return found
