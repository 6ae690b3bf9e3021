"""What is told of a take: for a player to read, and as JSON."""

from __future__ import annotations

from collections.abc import Sequence

from tabtool.report import many, table
from tabtool.takes.take import (
    Take,
    TakeNote,
    a4_of,
    advice,
    better_temperament,
    drills,
    harp_of,
)
from tabtool.temperament import NAMES, named


def as_json(take: Take, full: bool = False) -> dict[str, object]:
    """The JSON of a take, its schema in the text of the command; `full` says all measured."""
    notes: list[dict[str, object]] = []
    for note in take.notes:
        judged, span = note.judged, note.event.note.span
        row: dict[str, object] = {
            "index": judged.index,
            "line": span.line,
            "column": span.column,
            "status": judged.status,
            "cents": _round(judged.cents, 2),
            "spread": _round(judged.spread, 2),
            "start_s": _round(judged.start_s, 4),
            "end_s": _round(judged.end_s, 4),
        }
        if full:
            row |= {
                "written": note.event.figure.token,
                "pitch": _round(judged.pitch, 4),
                "others": [_round(pitch, 3) for pitch in judged.others],
                "landed": note.landed,
                "late_ms": _round(judged.late_ms, 1),
                "scoop": _round(judged.scoop, 1),
                "fall": _round(judged.fall, 1),
                "drift": _round(judged.drift, 1),
                "vibrato": _round(judged.vibrato, 1),
            }
        notes.append(row)
    extra: list[dict[str, object]] = []
    for one in take.extra:
        row = {
            "start_s": _round(one.start_s, 4),
            "end_s": _round(one.end_s, 4),
            "pitch": _round(one.pitch, 3),
        }
        if full:
            row |= {"again": one.again, "others": [_round(pitch, 3) for pitch in one.others]}
        extra.append(row)
    result: dict[str, object] = {
        "tuning_cents": _round(take.verdict.tuning_cents, 2),
        "notes": notes,
        "extra": extra,
    }
    if full:
        result["bends"] = [
            {
                "token": one.tone.token,
                "judged": one.judged,
                "landed": one.landed,
                "good": one.good,
                "mean": _round(one.mean, 2),
                "deviation": _round(one.deviation, 2),
            }
            for one in take.tones(bends=True)
        ]
        result["practise"] = [one.tone.token for one in drills(take)]
        result["advice"] = [
            {"token": one.tone.token, "kinds": list(one.kinds), "why": one.why}
            for one in advice(take)
        ]
    return result


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits)


def as_text(take: Take) -> str:
    """What a player reads: the whole, the notes that need a word, bends by hole, what is next."""
    harp = harp_of(take)
    tuning = take.verdict.tuning_cents
    naturals = [
        note.judged.cents
        for note in take.notes
        if note.judged.status == "ok"
        and note.judged.cents is not None
        and not note.melodic_bend
        and len(note.event.figure.all_tones) == 1
    ]
    lines = [
        f"{many(take.count('ok'), 'note')} of {len(take.notes)} found, "
        f"{take.count('wrong')} wrong, {take.count('missing')} missing, "
        f"{len(take.extra)} extra; {take.seconds:.1f} seconds"
        + (f" on {harp.called}" if harp else ""),
        f"tuning of harp and recording: {tuning:+.1f} cents against the tab "
        f"(A4 = {a4_of(take):.1f} Hz), set apart from the figures below",
    ]
    if naturals:
        middle = sorted(abs(c) for c in naturals)[len(naturals) // 2]
        lines.append(f"your natural notes: {middle:.0f} cents off on average, your own baseline")
    better = better_temperament(take, [named(name) for name in NAMES])
    if better is not None:
        lines.append(
            f"the natural notes fit {better.name} better than the tab's temperament: "
            f"try --temperament {better.name}"
        )
    rows = [_row(note, tuning) for note in take.notes]
    head = ("line", "note", "pitch", "cents", "spread", "late", "")
    lines += ["", table(head, rows)]
    if take.extra:
        lines.append("")
        for one in take.extra:
            name = _names(take.notes[0], (one.pitch, *one.others), tuning)
            what = "extra" if one.again is None else "played once more"
            lines.append(f"{what}: {name} at {one.start_s:.2f}-{one.end_s:.2f} s")
    bends = take.tones(bends=True)
    if bends:
        lines += ["", "bends by hole and depth (good within 10 cents, landed within 25):"]
        for bend in bends:
            if bend.mean is None:
                mean = "another note each time"
            else:
                way = "sharp" if bend.mean > 0 else "flat"
                mean = f"{abs(bend.mean):.0f} cents {way} on average"
            lines.append(
                f"{bend.tone}: {mean}, {bend.landed} of {bend.judged} landed, {bend.good} good"
            )
    weak = advice(take)[:3]
    if weak and harp is not None:
        from tabtool.drills import command

        lines += ["", f"practise next: {command(weak, harp)}"]
        lines += [f"{one.tone}: {one.why}" for one in weak]
    return "\n".join(lines)


def _row(note: TakeNote, tuning: float) -> tuple[str, ...]:
    judged, event = note.judged, note.event
    names = " ".join(event.setting.name(p) for p in event.pitches if p is not None)
    said = [] if event.possible else ["not on this harp"]
    if judged.status == "missing":
        said.append("missing")
    elif judged.status == "wrong":
        chord = len(event.figure.tones) > 1
        heard = (judged.pitch, *judged.others) if judged.pitch else ()
        also = f", {_names(note, heard, tuning)} heard" if heard else ""
        said.append(f"wrong {'chord' if chord else 'note'}{also}")
    elif len(event.figure.all_tones) > 1:
        said.append("found, not judged in cents")
    elif note.tone.depth % 1:
        said.append("found, expressive: not judged in cents")
    elif judged.cents is None:
        said.append("found, too short to judge")
    elif note.melodic_bend:
        said.append({"good": "good", "acceptable": "acceptable", "off": "off"}[note.landed])
    for what, value in (("scoop", judged.scoop), ("fall", judged.fall)):
        if value:
            said.append(f"{what} {value:+.0f}")
    if abs(judged.drift) > 15:
        said.append(f"drifts {judged.drift:+.0f}")
    if judged.vibrato:
        said.append(f"vibrato {judged.vibrato:.0f}")
    cents = "" if judged.cents is None else f"{judged.cents:+.1f}"
    spread = "" if judged.spread is None else f"{judged.spread:.1f}"
    late = "" if judged.late_ms is None else f"{judged.late_ms:+.0f} ms"
    span = event.note.span
    return (
        f"{span.line}:{span.column}",
        event.figure.token,
        names,
        cents,
        spread,
        late,
        ", ".join(said),
    )


def _names(note: TakeNote, pitches: Sequence[float], tuning: float) -> str:
    """The names of pitches heard, as a harp would sound them that is so many cents sharp."""
    return " ".join(note.event.setting.name(round(pitch - tuning / 100)) for pitch in pitches)
