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

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tabtool.pitchtrack import FINE_S, PitchTrack

Floats = NDArray[np.float32]

SAME = 0.3
"""Semitones within which two pitches cannot be told apart by the model."""

SKIP, SKIP_EACH = 7.0, 4.0
WRONG, EXTRA = 6.0, 7.0
JUMP = 22.0
RESUME = 12.0
REPEAT = 7.0
"""Costs: of skipping (once, and each note), of a wrong or extra note, of going anywhere, of a note
that goes on after a gap, and of repeating a pitch without any dip."""

DIP_EACH, DIP_MOST = 1.6, 11.0
"""What a decibel of dip takes off REPEAT, and the most it can."""

DIP_FREE, DIP_LASTING, DIP_LASTING_MOST = 5.0, 0.8, 5.0
"""A note may dip so many decibels at no cost; then what each costs, and the most."""

OTHER = 0.75
"""Likelihood of a frame of a steady wrong or extra note, where one of the right note has 1."""

SCOOPED = 0.04
"""Likelihood of a frame up to 1.4 semitones under its note: reeds speak from below."""

MOVED = 4.0
"""Cost of a wrong or extra note that leaps to another pitch."""

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


def tuning_guess(track: PitchTrack, targets: Sequence[float]) -> float:
    """Semitones by which the recording as a whole stands above the targets, from −0.5 to 0.5.

    The commonest distance of a likely pitch from the nearest target (circular, by semitone).
    """
    wanted = np.unique(np.asarray(targets, np.float64))
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
    if len(track.level):
        loud = np.percentile(track.level, 95)
        audible = np.clip((track.level - (loud - 50)) / 10, 0, 1)
        weight = weight * audible
    return np.clip(1.15 * weight - 0.05, 0.01, 0.99).astype(np.float32)


def dips(track: PitchTrack) -> Floats:
    """Decibels by which the level falls and rises again around each frame, where it is lowest."""
    envelope = track.envelope
    reach = round(0.08 / FINE_S)
    if len(envelope) < 3:
        return np.zeros(len(track.level), np.float32)
    padded = np.concatenate([np.full(reach, -120, np.float32), envelope,
                             np.full(reach, -120, np.float32)])
    most = np.lib.stride_tricks.sliding_window_view(padded, reach + 1).max(axis=1)
    before, after = most[: len(envelope)], most[reach : reach + len(envelope)]
    depth = np.minimum(before, after) - envelope
    near = round(0.020 / FINE_S)
    padded = np.pad(envelope, near, constant_values=np.float32(120))
    least = np.lib.stride_tricks.sliding_window_view(padded, 2 * near + 1).min(axis=1)
    depth = np.where(envelope <= least, depth, 0)
    frames = np.zeros(len(track.level), np.float32)
    at = np.rint((np.arange(len(envelope)) * FINE_S - track.start_s) / track.hop_s).astype(int)
    inside = (at >= 0) & (at < len(frames))
    np.maximum.at(frames, at[inside], depth[inside].astype(np.float32))
    return frames


@dataclass(frozen=True, slots=True)
class _Evidence:
    """Log likelihoods, frames × different targets or frames alone."""

    note: Floats
    wrong: Floats
    gap: Floats
    extra: Floats


def _evidence(track: PitchTrack, wanted: NDArray[np.float64], sung: Floats) -> _Evidence:
    """A note is heard within half a semitone of its pitch, flat on top: how far off it is does
    not make it less that note.  A wrong or extra note may have any pitch but keeps it."""
    pitch = np.nan_to_num(track.pitch, nan=-100.0)
    share = track.weight**2 + 1e-9
    share = share / share.sum(axis=1, keepdims=True)
    note = np.zeros((len(pitch), len(wanted)), np.float32)
    apart = np.zeros_like(note)
    for k in range(pitch.shape[1]):
        off = pitch[:, k : k + 1] - wanted[None, :].astype(np.float32)
        away = np.abs(off)
        near = 1 / (1 + (away / 0.55) ** 8)
        near = np.where((away < 1.4) & (off < 0), np.maximum(near, SCOOPED), near)
        note += share[:, k : k + 1] * near
        apart += share[:, k : k + 1] * (1 - near)
    moved = np.zeros(len(pitch), np.float32)
    moved[1:] = np.abs(np.diff(pitch[:, 0])) > 0.4
    sung = sung[:, None]
    quiet = 1 - sung
    other = np.log(sung[:, 0] * OTHER * share[:, 0] + quiet[:, 0] * 0.01) - MOVED * moved
    return _Evidence(
        np.log(sung * note + quiet * 0.03 + 3e-4),
        np.log(sung * apart * OTHER + quiet * 0.01 + 3e-4) - MOVED * moved[:, None],
        np.log(quiet[:, 0] + sung[:, 0] * 0.006),
        other,
    )


def align(track: PitchTrack, targets: Sequence[float], tuning: float) -> list[Stretch]:
    """The likeliest reading of the recording; ``tuning`` in semitones is added to the targets."""
    frames, n = len(track.level), len(targets)
    if not frames or not n:
        return [Stretch(State.GAP, 0, 0, frames)] if frames else []
    wanted, which = np.unique(np.asarray(targets, np.float64), return_inverse=True)
    seen = _evidence(track, wanted + tuning, presence(track))
    depth = dips(track)
    repeat = np.minimum(DIP_EACH * depth, DIP_MOST) - REPEAT
    lasting = np.clip(DIP_LASTING * (depth - DIP_FREE), 0, DIP_LASTING_MOST)
    codes = _forward(seen, which, np.asarray(targets), repeat, lasting)
    return _back(*codes)


def _forward(
    seen: _Evidence, which: Any, targets: Any, repeat: Floats, lasting: Floats
) -> tuple[Any, ...]:
    """Viterbi's forward pass; returns what the way back needs.

    Codes of ``enter`` (how NOTE was reached): 0 stay, 1 from the place before, 2 resumed from a
    gap, 3 jump, 4 + d past d notes.  ``leave`` is the best state at each place.  ``other`` packs
    the sources of WRONG (bit 0: entered), GAP (bits 1–2) and EXTRA (bits 3–4).
    """
    frames, n = len(seen.gap), len(targets)
    enter = np.zeros((frames, n + 1), np.uint8)
    leave = np.zeros((frames, n + 1), np.uint8)
    other = np.zeros((frames, n + 1), np.uint8)
    jump = np.zeros(frames, np.int32)
    low = np.float32(-1e9)
    note = np.full(n + 1, low, np.float32)
    wrong = np.full(n + 1, low, np.float32)
    gap = np.full(n + 1, low, np.float32)
    extra = np.full(n + 1, low, np.float32)
    gap[0] = 0.0
    same = np.zeros(n + 1, np.float32)  # the next note has the same pitch
    same[1:n] = np.abs(np.diff(targets)) < SAME
    order = np.arange(n + 1, dtype=np.float32)
    index = np.arange(n + 1)
    cheap = order * np.float32(SKIP_EACH)
    note_seen = np.full((frames, n + 1), low, np.float32)
    note_seen[:, 1:] = seen.note[:, which]
    wrong_seen = np.full((frames, n + 1), low, np.float32)
    wrong_seen[:, 1:] = seen.wrong[:, which]
    four = np.empty((4, n + 1), np.float32)
    ways = np.empty((5, n + 1), np.float32)
    advance = np.full(n + 1, low, np.float32)
    for t in range(frames):
        four[0] = note + repeat[t] * same
        four[1], four[2], four[3] = wrong, gap, extra
        kind = four.argmax(axis=0)
        out = four.max(axis=0)
        leave[t] = kind
        advance[1:] = out[:-1]
        # past notes: the best of all places further back, each note between costing the same
        rising = out + cheap
        best = np.maximum.accumulate(rising)
        top = np.where(rising == best, index, 0)
        np.maximum.accumulate(top, out=top)
        far = int(out.argmax())
        jump[t] = far
        ways[0] = note - lasting[t]
        ways[1] = advance
        ways[2] = gap - RESUME
        ways[3] = out[far] - JUMP
        ways[4] = low
        ways[4, 2:] = best[:-2] - cheap[1:-1] - SKIP
        how = ways.argmax(axis=0)
        code = how.astype(np.uint8)
        past = how == 4
        if past.any():
            # place p is reached from place q: p - 1 - q notes were passed
            passed = index[past] - 1 - top[index[past] - 2]
            code[past] = 4 + np.minimum(passed, WIDEST_SKIP)
        enter[t] = code
        new_note = ways.max(axis=0) + note_seen[t]
        into = advance - WRONG > wrong
        new_wrong = np.maximum(wrong, advance - WRONG) + wrong_seen[t]
        four[0] = note
        silent = four.argmax(axis=0)
        new_gap = four.max(axis=0) + seen.gap[t]
        four[:3] -= EXTRA
        odd = four.argmax(axis=0)
        new_extra = four.max(axis=0) + seen.extra[t]
        other[t] = into | (silent << 1) | (odd << 3)
        note, wrong, gap, extra = new_note, new_wrong, new_gap, new_extra
    ends = np.stack([note, wrong, gap, extra])
    # notes not played at the end cost as skipped ones do
    ends -= SKIP_EACH * (n - order) + np.where(order < n, SKIP, 0)
    state, place = np.unravel_index(int(ends.argmax()), ends.shape)
    return enter, leave, other, jump, int(state), int(place)


def _back(enter: Any, leave: Any, other: Any, jump: Any, state: int, place: int) -> list[Stretch]:
    """Follow the codes back and gather equal frames; a note re-entered starts a new stretch."""
    frames = len(jump)
    found: list[Stretch] = []
    last = frames
    for t in range(frames - 1, -1, -1):
        came: tuple[int, int] = (state, place)
        fresh = False
        if state == 0:
            code = int(enter[t, place])
            if code == 1:
                came, fresh = (int(leave[t, place - 1]), place - 1), True
            elif code == 2:
                came, fresh = (2, place), True
            elif code == 3:
                far = int(jump[t])
                came, fresh = (int(leave[t, far]), far), True
            elif code >= 4:
                source = place - 1 - (code - 4)
                came, fresh = (int(leave[t, source]), source), True
        elif state == 1:
            if other[t, place] & 1:
                came, fresh = (int(leave[t, place - 1]), place - 1), True
        elif state == 2:
            came = (int(other[t, place] >> 1) & 3, place)
        else:
            came = (int(other[t, place] >> 3) & 3, place)
        if fresh or came != (state, place) or t == 0:
            number = place - 1 if state < 2 else place
            found.append(Stretch(State(state), number, t, last))
            last = t
        state, place = came
    found.reverse()
    return found
