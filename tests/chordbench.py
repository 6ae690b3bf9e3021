"""How well takes of chords are judged, in figures: ``python tests/chordbench.py`` prints them all.

Tunes of chords (one of ``songs/`` and passages invented here) are played by two sound fonts and by
the package's own voice, as written and with slips planted: another chord, the same holes on the
other breath, one note of a chord, a chord for a note, a chord left out or put in. For each
condition: slips named and planted, and notes falsely told as missing, wrong or extra.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import takes
from takes import Manner, Played, Take

from tabtool.events import NoteEvent, Score
from tabtool.harp import Breath, Technique
from tabtool.load import load
from tabtool.takes import pitchtrack, recording
from tabtool.takes.gate import Unjudged
from tabtool.takes.take import Take as Judged
from tabtool.takes.take import judged

SONG = Path(__file__).parent.parent / "songs" / "the-night-mail.harptab"

TUNES = {
    "night mail": SONG.read_text(),
    "low": """harp: G
tempo: 100
| 1+2+3v! 1+2+3v 2v1 3v2 | 2+3+4^ 2+3+4v 3^ 2v | 1+2+3^ 1+2^ 1+2+3v - | 4v 3+4v 3v1 2v |
| 1+2v,1+2v 1+2v! 2+3v 2v | 4^ 3+4^ 2+3^ 1+2^ | 2v1+3+4v - 2v 3v | 1+2+3v - - - |
""",
    "middle": """harp: C
tempo: 112
| 4+5^ 4+5v 5^ 5v | 3+4v,4+5v 4v1 3+4+5v 4v | 4+5+6^ - 6^ 5^ | 4+5v 4+5^ 3+4v - |
| 4^,4+5^ 4^,4+5^ 4v,4+5v 4v,4+5v | 6^ 5+6^ 6v 5+6v | 1+4^ 2+5^ 1+4v 3+6^ | 4+5^! - - . |
""",
    "high": """harp: D
tempo: 96
| 7+8^ 7^ 7+8v 8v | 8+9^ 8^ 7+8^ 6+7^ | 7+8v . 7+8v . | 6+7^,7^ 6+7^,7^ 6v 6+7v |
| 5+6+7^ - 5+6v 6v | 7+8+9^ - 7+8+9v - | 8^ 8v 8+9v 9v | 7+8^ - - . |
""",
}

TUNES["single"] = """harp: A
tempo: 120
| 4^ 5^ 5v 4v | 3v2 2v 3v 4^ | 6^ 5v,5^ 4v 4^ | 2v1 2v 1v 2v | 3^,4^ 5^ 6^ 6v | 7^ - 8v - |
"""

PLANTED = {"breath": 1, "neighbour": 1, "one": 1, "more": 1, "left out": 1, "put in": 1}

CONDITIONS = {
    "clean": Manner(),
    "legato": Manner(gap=0.02),
    "quick": Manner(tempo=1.25, rubato=0.1),
    "room 0.4 s": Manner(room=0.4),
    "noise 15 dB": Manner(noise_db=15.0),
    "phone, A=446": Manner(coding="aac", tuning=23.45),
    "A=432, room, noise": Manner(tuning=-31.77, room=0.4, noise_db=15.0),
    "dull reeds": Manner(tilt=-6.0),
    "bright reeds": Manner(tilt=3.0),
}

VOICES = ("fluid", "musescore", "voice")


@dataclass
class Figures:
    """What was counted over some takes."""

    counts: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    seconds: float = 0.0
    spent: float = 0.0


def sounding(event: NoteEvent) -> tuple[float, ...]:
    """The pitches of a note as the harp is tuned."""
    return tuple(float(pitchtrack.midi(event.setting.hz(p))) for p in event.pitches)


def reeds(event: NoteEvent, holes: list[int], breath: Breath) -> tuple[float, ...]:
    """The pitches of some holes of a note's harp, those that it has."""
    harp = event.setting.harp
    keys = [harp.reed(hole, breath) for hole in holes]
    return tuple(float(pitchtrack.midi(event.setting.hz(key))) for key in keys if key is not None)


def slipped(rng: np.random.Generator, event: NoteEvent, kind: str) -> tuple[float, ...] | None:
    """What sounds in place of a note that is played wrong so; None where it cannot be."""
    tones = event.figure.tones
    holes, breath = [tone.hole for tone in tones], tones[0].breath
    natural = all(tone.technique is Technique.NATURAL for tone in tones)
    chord = len(tones) > 1
    if kind in ("left out", "put in"):
        return () if chord else None
    if not natural or chord == (kind == "more"):
        return None
    if kind == "one":
        return (sounding(event)[int(rng.integers(0, len(tones)))],)
    if kind == "more":
        hole = holes[0]
        near = [h for h in ([hole - 1, hole], [hole, hole + 1]) if h[0] >= 1 and h[-1] <= 10]
        return reeds(event, near[int(rng.integers(0, len(near)))], breath)
    step = 0 if kind == "breath" else int(rng.choice([-1, 1]))
    if holes[0] + step < 1 or holes[-1] + step > 10:
        step = -step
    other = breath.other if kind == "breath" else breath
    return reeds(event, [hole + step for hole in holes], other)


PutIn = tuple[float, float, tuple[float, ...]]  # start and end in seconds, pitches


def perform(
    rng: np.random.Generator, score: Score, manner: Manner, slips: dict[str, int]
) -> tuple[Take, dict[int, str], list[PutIn]]:
    """The take (no sound yet), the slips by note, and the chords put in."""
    events = score.events
    planted: dict[int, tuple[str, tuple[float, ...]]] = {}
    for kind, count in slips.items():
        for i in rng.permutation(np.arange(1, len(events) - 2)).tolist():
            if sum(k == kind for k, _ in planted.values()) == count:
                break
            sound = slipped(rng, events[i], kind)
            if sound is not None and all(abs(i - j) > 3 for j in planted):
                planted[i] = kind, sound
    played: list[Played] = []
    put_in: list[PutIn] = []
    now, phase = 0.6, rng.random() * 6.28

    def strike(pitches: tuple[float, ...], length: float, index: int | None, loud: int) -> None:
        end = now + length - min(manner.gap * length, 0.08) * (0.5 + rng.random())
        loud += int(rng.integers(-6, 7))
        for pitch in pitches:
            key = round(pitch)
            played.append(
                Played(now, end, key, 100 * (pitch - key), index, velocity=min(loud, 127))
            )

    for i, event in enumerate(events):
        pace = manner.tempo * (1 + manner.rubato * np.sin(phase + now * 0.9))
        kind, sound = planted.get(i, ("", ()))
        length = (event.end_s - event.start_s) / pace
        short = 0.5 if event.figure.marks.staccato else 1.0
        loud = 108 if event.figure.marks.accent else 88
        if kind != "left out":
            strike(sound if sound else sounding(event), length * short, i, loud)
        after = events[i + 1] if i + 1 < len(events) else None
        now += length
        if kind == "put in" and after is not None:
            tone = event.figure.tones[0]
            hole = tone.hole + (3 if tone.hole < 6 else -3)
            chord = reeds(event, [hole, hole + 1], tone.breath)
            put_in.append((now, now + 0.3, chord))
            strike(chord, 0.3, None, 88)
            now += 0.3
        now += (after.start_s - event.end_s) / pace if after is not None else 0.0
    take = Take([], played, np.zeros(0), takes.RATE, manner)
    return take, {i: kind for i, (kind, _) in planted.items()}, put_in


def measured(
    tune: str, manner: Manner, slips: dict[str, int], start: int, figures: Figures
) -> None:
    """Play one take, judge it, and count what came of it."""
    rng = np.random.default_rng(start)
    score = load(TUNES[tune], tune).score
    take, planted, put_in = perform(rng, score, manner, slips)
    take = takes.render(take, rng)
    before = time.process_time()
    heard = recording.thin(take.samples, take.rate)
    name = f"{tune}, {manner.font}, {start}"
    try:
        found = judged(score, pitchtrack.track(heard.samples, heard.rate), heard.seconds)
    except Unjudged as reason:
        figures.faults.append(f"{name}: {reason}")
        figures.counts["refused"] += 1
        return
    finally:
        figures.spent += time.process_time() - before
        figures.seconds += heard.seconds
    _count(name, take, found, planted, put_in, figures)


def _count(
    name: str,
    take: Take,
    found: Judged,
    planted: dict[int, str],
    put_in: list[PutIn],
    figures: Figures,
) -> None:
    counts, events = figures.counts, [note.event for note in found.notes]
    status = [note.judged.status for note in found.notes]
    alike: dict[int, range] = {}
    for i, kind in planted.items():
        if kind == "left out":  # of equal ones in a row, which was left out none can tell
            a, b = i, i + 1
            while a and events[a - 1].pitches == events[i].pitches:
                a -= 1
            while b < len(events) and events[b].pitches == events[i].pitches:
                b += 1
            at = next((k for k in range(a, b) if status[k] == "missing"), None)
            if at is not None:
                status[at], status[i] = status[i], status[at]
            alike[i] = range(a, b)
    for i, kind in planted.items():
        counts[kind] += 1
        if kind == "put in":
            continue
        note = found.notes[i].judged
        if kind == "left out":
            good = status[i] == "missing"
        else:
            sounded = [p.pitch + p.cents / 100 for p in take.played if p.index == i]
            good = note.status == "wrong" and _same((note.pitch, *note.others), sounded)
        counts[f"{kind} named"] += good
        if not good:
            told = f"{status[i]} {note.pitch} {note.others}"
            figures.faults.append(f"{name}: note {i} {events[i].figure.token} {kind}: {told}")
    for i, event in enumerate(events):
        counts["notes"] += 1
        if planted.get(i, "put in") == "put in" and status[i] != "ok":
            counts[f"false {status[i]}"] += 1
            figures.faults.append(f"{name}: note {i} {event.figure.token} falsely {status[i]}")
    spare = list(found.extra)
    for start, end, chord in put_in:
        hits = [e for e in spare if e.start_s < end - 0.05 and e.end_s > start + 0.05]
        good = any(_same((e.pitch, *e.others), chord) for e in hits)
        counts["put in named"] += good
        if not good:
            figures.faults.append(f"{name}: {chord} put in at {start:.2f} s: {hits}")
        spare = [e for e in spare if e not in hits]
    counts["false extra"] += len(spare)
    figures.faults += [f"{name}: false extra {e.pitch:.1f} at {e.start_s:.2f} s" for e in spare]


def _same(heard: tuple[float | None, ...], sounded: Sequence[float]) -> bool:
    """Whether the pitches told are those that sounded, whatever the tuning; of a single pitch
    ``heard`` has None where it was not told."""
    if None in heard or len(heard) != len(sounded):
        return False
    return bool(np.abs(np.sort(heard) - np.sort(sounded)).max() < 0.6)


HEAD = (
    f"{'condition':24}{'notes':>6}  "
    + " ".join(f"{kind:>9}" for kind in PLANTED)
    + "  falsely missing wrong extra  × real time"
)


def line_of(name: str, f: Figures) -> str:
    """One line of the table."""
    named = " ".join(f"{f.counts[f'{k} named']:>6}/{f.counts[k]:<2}" for k in PLANTED)
    missing, wrong, extra = (f.counts[f"false {kind}"] for kind in ("missing", "wrong", "extra"))
    false = f"{missing:>15} {wrong:5} {extra:5}"
    return f"{name:24}{f.counts['notes']:6}  {named}  {false}  {f.seconds / f.spent:11.0f}"


def figures_of(name: str, voices: tuple[str, ...] = VOICES, rounds: int = 1) -> Figures:
    """One condition: every tune by every voice, as written and with slips."""
    figures = Figures()
    for number, tune in enumerate(TUNES):
        for voice in voices:
            manner = replace(CONDITIONS[name], font=voice)
            measured(tune, manner, {}, 10 + number, figures)
            for again in range(rounds):
                measured(tune, manner, PLANTED, 100 + number + 10 * again, figures)
    return figures


def main(names: list[str]) -> None:
    """Print the table."""
    if takes.missing_fonts():
        sys.exit(f"needs the Debian packages {', '.join(takes.missing_fonts())}")
    print(HEAD)
    whole = Figures()
    for name in names or CONDITIONS:
        figures = figures_of(name)
        print(line_of(name, figures), flush=True)
        for fault in figures.faults:
            print(f"    {fault}")
        whole.counts.update(figures.counts)
        whole.seconds += figures.seconds
        whole.spent += figures.spent
    print(line_of("all of these", whole))


if __name__ == "__main__":
    main(sys.argv[1:])
