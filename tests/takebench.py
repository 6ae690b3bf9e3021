"""How well takes are judged, in figures: ``python tests/takebench.py`` prints them all.

Takes with a known truth (see takes.py) are rendered from two sound fonts, low F to high G, tempo
half to double, with slips planted; then in rooms, noise and phone coding. For each condition:
cents of error over all judged notes (median and 95th percentile, bent notes apart), notes found,
slips named, false reports, onsets, speed, and beside them the note transcription scores of
mir_eval (onset ±50 ms; onset and pitch ±50 cents; and offset too: its MIREX defaults).

``python tests/takebench.py trackers`` compares pitch trackers note by note: ours, praat's
autocorrelation (praat-parselmouth) and WORLD's (pyworld), those of them that are installed.
"""

from __future__ import annotations

import sys
import time
import warnings
from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np
import takes
from takes import Manner, Played, Take

from tabtool.takes import pitchtrack, recording
from tabtool.takes.judge import Expected, Verdict, hear_chords, judge

KEYS = (53, 57, 60, 64, 67)  # low F, A, C, E, high G: hole 1 blow
LENGTH = 60

CONDITIONS = {
    "clean": Manner(),
    "tuning A=446": Manner(tuning=23.45),
    "half tempo": Manner(tempo=0.5),
    "double tempo": Manner(tempo=2.0),
    "legato": Manner(gap=0.0),
    "slips": Manner(skips=2, wrongs=2, extras=2, false_start=3, rubato=0.2, tuning=12.0),
    "repeats": Manner(repeat=5, rubato=0.1, tuning=-7.9),
    "vibrato": Manner(vibratos=0.5),
    "scoops": Manner(scoops=0.5),
    "phone coding": Manner(coding="aac", tuning=20.0),
    "room 0.5 s": Manner(room=0.5),
    "noise 10 dB": Manner(noise_db=10.0),
    "noise, room, scoops": Manner(noise_db=10.0, room=0.4, scoops=0.4, skips=1, wrongs=1, extras=1),
}


@dataclass
class Figures:
    """What was counted over some takes."""

    error: list[float] = field(default_factory=list)
    bent: list[float] = field(default_factory=list)
    onset: list[float] = field(default_factory=list)
    tuning: list[float] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    scores: list[tuple[float, float, float]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    seconds: float = 0.0
    spent: float = 0.0

    def share(self, found: str, of: str) -> float:
        return self.counts[found] / max(1, self.counts[of])


def measured(manner: Manner, key: int, seed: int, figures: Figures, length: int = LENGTH) -> None:
    """Render one take, judge it, and count what came of it."""
    if key > 57:
        manner = replace(manner, font="musescore")  # the other is silent above C7
    rng = np.random.default_rng(seed)
    take = takes.render(takes.perform(rng, takes.make_tune(rng, key, length), manner), rng)
    before = time.process_time()
    heard = recording.thin(take.samples, take.rate)
    track = pitchtrack.track(heard.samples, heard.rate)
    expected = [Expected(n.pitch, n.onset, n.end, not n.bent) for n in take.written]
    verdict = judge(hear_chords(track, expected, takes.holes_together(key)), expected)
    figures.spent += time.process_time() - before
    figures.seconds += heard.seconds
    _count(take, verdict, figures)
    figures.scores.append(_scores(take, verdict))


def _count(take: Take, verdict: Verdict, figures: Figures) -> None:
    manner, counts = take.manner, figures.counts
    played = {p.index: p for p in take.played if p.kind in ("ok", "wrong")}
    figures.tuning.append(verdict.tuning_cents - manner.tuning)
    alike = _ambiguous(take, verdict)
    for note in verdict.notes:
        if note.index in alike:
            continue
        truth = played.get(note.index)
        kind = "missing" if truth is None else truth.kind
        counts[kind] += 1
        good = note.status == kind
        if good and truth is not None:
            good = note.start_s < truth.end and note.end_s > truth.onset
        if not good:
            figures.faults.append(f"note {note.index} is {kind}, told as {note.status}")
            continue
        counts[f"{kind} named"] += 1
        if truth is None:
            continue
        figures.onset.append(1000 * (note.start_s - truth.onset))
        if kind == "ok" and note.cents is not None:
            error = note.cents + verdict.tuning_cents - manner.tuning
            error -= takes.true_cents(truth, manner.font)
            figures.error.append(error)
            if take.written[note.index].bent:
                figures.bent.append(error)
            counts["judged"] += 1
    spare = list(verdict.extra)
    for one in (p for p in take.played if p.kind in ("extra", "again")):
        counts[one.kind] += 1
        hits = [e for e in spare if e.start_s < one.end - 0.02 and e.end_s > one.onset + 0.02]
        right = [e for e in hits if abs(e.pitch - one.pitch - manner.tuning / 100) < 0.6]
        counts[f"{one.kind} named"] += bool(right)
        if not right:
            figures.faults.append(f"{one.kind} note {one.pitch:g} at {one.onset:.2f} s not told")
        spare = [e for e in spare if e not in hits]
    counts["false extra"] += len(spare)
    figures.faults += [f"false extra {e.pitch:.1f} at {e.start_s:.2f} s" for e in spare]


def _ambiguous(take: Take, verdict: Verdict) -> set[int]:
    """Runs of equal notes of which as many are missing as were left out: which, none can tell."""
    pitch = [note.pitch for note in take.written]
    told = {note.index for note in verdict.notes if note.status == "missing"}
    found: set[int] = set()
    for i in take.skipped:
        a, b = i, i + 1
        while a and pitch[a - 1] == pitch[i]:
            a -= 1
        while b < len(pitch) and pitch[b] == pitch[i]:
            b += 1
        run = set(range(a, b))
        if len(run) > 1 and len(run & told) == len(run & set(take.skipped)):
            found |= run
    return found


def _scores(take: Take, verdict: Verdict) -> tuple[float, float, float]:
    """F-measures of mir_eval: onsets; onsets and pitches; onsets, pitches and offsets."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from mir_eval import transcription
    up = take.manner.tuning / 100
    wanted = [(p.onset, p.end, p.pitch + p.cents / 100 + up) for p in take.played]
    heard = [
        (n.start_s, n.end_s, take.written[n.index].pitch + (n.cents + verdict.tuning_cents) / 100)
        if n.cents is not None
        else (n.start_s, n.end_s, take.written[n.index].pitch + up)
        for n in verdict.notes
        if n.start_s is not None
    ] + [(e.start_s, e.end_s, e.pitch) for e in verdict.extra]
    one, two = (np.array(sorted(each)) for each in (wanted, heard))
    pitches = [440 * 2 ** ((each[:, 2] - 69) / 12) for each in (one, two)]
    spans = one[:, :2], np.add(two[:, :2], np.array([[0, 1e-6]]))
    onsets = transcription.onset_precision_recall_f1(*spans)[2]
    pitch = transcription.precision_recall_f1_overlap(
        spans[0], pitches[0], spans[1], pitches[1], offset_ratio=None
    )[2]
    full = transcription.precision_recall_f1_overlap(spans[0], pitches[0], spans[1], pitches[1])[2]
    return float(onsets), float(pitch), float(full)


def figures_of(name: str, keys: tuple[int, ...] = KEYS, length: int = LENGTH) -> Figures:
    """One condition over some harps."""
    figures = Figures()
    for number, key in enumerate(keys):
        measured(CONDITIONS[name], key, 100 + number, figures, length)
    return figures


HEAD = (
    f"{'condition':20}  cents: all   (bent)        judged found   wrong  missing  extra  again "
    "false  onset ms     F: on  +pitch +end  × real time"
)


def line_of(name: str, f: Figures) -> str:
    """One line of the table."""

    def two(values: list[float]) -> str:
        sizes = np.abs(values)
        return f"{np.median(sizes):.2f}/{np.percentile(sizes, 95):.2f}"

    counts = f.counts

    def named(kind: str) -> str:
        return f"{counts[f'{kind} named']}/{counts[kind]}"

    scores = np.mean(f.scores, axis=0)
    return (
        f"{name:20}  {two(f.error):10} ({two(f.bent)})  {f.share('judged', 'ok named'):6.1%} "
        f"{f.share('ok named', 'ok'):6.2%} {named('wrong'):>6} {named('missing'):>8} "
        f"{named('extra'):>6} {named('again'):>6} {counts['false extra']:5}  "
        f"{np.median(f.onset):+5.1f}/{np.percentile(np.abs(f.onset), 95):4.1f}  "
        f"{scores[0]:5.3f} {scores[1]:6.3f} {scores[2]:5.3f}  {f.seconds / f.spent:5.0f}"
    )


def trackers() -> None:
    """Median cents of single notes, by tracker: clean, in noise, and in a room with noise."""
    rng = np.random.default_rng(2)
    keys = list(range(50, 96, 3))
    notes = [Played(0.3 + 0.5 * i, 0.7 + 0.5 * i, k, float(rng.normal() * 20))
             for i, k in enumerate(keys * 2)]  # fmt: skip
    for name, manner in {
        "clean": Manner(),
        "noise 10 dB": Manner(noise_db=10.0),
        "room, 20 dB": Manner(noise_db=20.0, room=0.4),
    }.items():
        take = takes.render(Take([], notes, np.zeros(0), takes.RATE, manner), rng)
        for tracker, times, pitch, spent in _tracked(take):
            errors = []
            for note in notes:
                inside = (times > note.onset + 0.16) & (times < note.end - 0.03)
                away = 100 * (pitch[inside] - note.pitch)
                away = away[np.isfinite(away)]
                errors.append(np.median(away) - takes.true_cents(note, manner.font)
                              if len(away) else np.nan)  # fmt: skip
            sizes = np.abs(errors)
            gross = np.mean(~(sizes < 50))
            fine = sizes[sizes < 50]
            middle, most = np.percentile(fine, [50, 95])
            print(
                f"{name:12} {tracker:28} {middle:5.2f}/{most:5.2f} cents, {gross:5.1%} gross "
                f"or missed, {len(take.samples) / take.rate / spent:4.0f} × real time"
            )


def _tracked(take: Take):
    start = time.process_time()
    heard = recording.thin(take.samples, take.rate)
    ours = pitchtrack.track(heard.samples, heard.rate)
    spent = time.process_time() - start
    pitch = np.where(ours.weight[:, 0] > 0.3, ours.pitch[:, 0], np.nan)
    yield "tabtool.takes.pitchtrack", ours.times, pitch, spent
    samples = take.samples.astype(np.float64)
    try:
        import parselmouth
    except ImportError:
        print("praat-parselmouth is not installed")
    else:
        start = time.process_time()
        found = parselmouth.Sound(samples, take.rate).to_pitch_ac(
            time_step=0.01, pitch_floor=75, pitch_ceiling=4000
        )
        spent = time.process_time() - start
        hz = found.selected_array["frequency"]
        yield "praat autocorrelation", found.xs(), _midi(hz), spent
    try:
        import pyworld
    except ImportError:
        print("pyworld is not installed")
    else:
        start = time.process_time()
        coarse, times = pyworld.dio(samples, take.rate, 75, 4000, frame_period=10.0)
        hz = pyworld.stonemask(samples, coarse, times, take.rate)
        yield "WORLD dio + stonemask", times, _midi(hz), time.process_time() - start


def _midi(hz: np.ndarray) -> np.ndarray:
    return pitchtrack.midi(np.where(hz > 0, hz, np.nan))


def main(names: list[str]) -> None:
    """Print the table, or that of the trackers."""
    if takes.missing_fonts():
        sys.exit(f"needs the Debian packages {', '.join(takes.missing_fonts())}")
    if names == ["trackers"]:
        trackers()
        return
    print(HEAD)
    whole = Figures()
    for name in names or CONDITIONS:
        figures = figures_of(name)
        print(line_of(name, figures), flush=True)
        for fault in figures.faults:
            print(f"    {fault}")
        for attribute in ("error", "bent", "onset", "tuning", "scores", "faults"):
            getattr(whole, attribute).extend(getattr(figures, attribute))
        whole.counts.update(figures.counts)
        whole.seconds += figures.seconds
        whole.spent += figures.spent
    print(line_of("all of these", whole))


if __name__ == "__main__":
    main(sys.argv[1:])
