"""A loaded tune as the page draws it: its harps, its written bars, its notes.

Places are ``[line, column, end_column]``, counted as everywhere from 1 in characters.
Onsets and lengths are in beats. A bar or note that is played twice is drawn once.
"""

from __future__ import annotations

from typing import TypeAlias

from tabtool.diagnostics import Level, Span
from tabtool.events import NoteEvent, PlayedBar
from tabtool.harp import Harp, Technique, position
from tabtool.header import Setting
from tabtool.load import Loaded
from tabtool.music import degree
from tabtool.tune import Figure

Json: TypeAlias = dict[str, object]


def view(loaded: Loaded) -> Json:
    """All the page needs to draw a tune."""
    harps: list[Json] = []
    known: dict[int, int] = {}
    for stretch in loaded.score.stretches:
        setting = stretch.setting
        if id(setting) not in known and setting.harp is not None:
            known[id(setting)] = len(harps)
            harps.append(harp_view(setting.harp, setting))
    bars, seen = [], set[Span]()
    for bar in loaded.score.bars:
        if bar.bar.span not in seen:
            seen.add(bar.bar.span)
            bars.append(_bar(bar))
    notes, drawn = [], set[Span]()
    told: dict[tuple[int, int], Json] = {}
    for event in loaded.score.events:
        if event.note.span not in drawn:
            drawn.add(event.note.span)
            notes.append(_note(event, known.get(id(event.setting), -1), told))
    return {
        "title": loaded.tune.title,
        "seconds": round(loaded.score.seconds, 3),
        "harps": harps,
        "bars": bars,
        "notes": notes,
        "chords": [[float(s.onset), s.text, place(s.span)] for s in loaded.score.symbols],
    }


def place(span: Span) -> list[int]:
    """A span as the page knows it."""
    return [span.line, span.column, span.end_column]


def harp_view(harp: Harp, setting: Setting) -> Json:
    """A harp with every way to play it; pitches are named as the tune's key spells them."""
    key = setting.key
    return {
        "name": str(harp),
        "key": harp.key,
        "tuning": harp.tuning,
        "holes": harp.holes,
        "slide": harp.layout.has_slide,
        "position": position(harp, key) if key else 0,
        "ways": [
            {
                "token": way.tone.token,
                "hole": way.tone.hole,
                "breath": str(way.tone.breath),
                "technique": str(way.tone.technique),
                "depth": way.tone.depth,
                "slide": way.tone.slide,
                "midi": way.pitch,
                "name": setting.name(way.pitch),
                "hz": round(setting.hz(way.pitch), 2),
                "said": str(way.tone),
            }
            for way in harp.ways
        ],
    }


def _bar(bar: PlayedBar) -> Json:
    before, after = bar.bar.before, bar.bar.after
    return {
        "number": bar.number,
        "place": place(bar.bar.span),
        "onset": bar.onset,
        "beats": bar.beats,
        "meter": bar.stretch.setting.meter.text,
        "tempo": float(bar.stretch.setting.tempo),
        "section": bar.stretch.name,
        "stretch": bar.stretch.written,
        "before": before.token if before else "",
        "after": after.token if after else "",
    }


def _note(event: NoteEvent, harp: int, told: dict[tuple[int, int], Json]) -> Json:
    """A note; what follows from its figure and setting alone is worked out once in `told`."""
    key = id(event.figure), id(event.setting)
    if key not in told:
        told[key] = _figure(event)
    return {
        "place": place(event.note.span),
        "bar": event.bar,
        "onset": float(event.onset),
        "length": float(event.duration),
        **told[key],
        "lyric": event.lyric,
        "harp": harp,
    }


def _figure(event: NoteEvent) -> Json:
    setting, figure = event.setting, event.figure
    pitches = [pitch for pitch in event.pitches if pitch is not None]
    named = setting.harp is not None or setting.key is not None
    return {
        "token": figure.token,
        "tones": [
            [tone.token, pitch] for tone, pitch in zip(figure.tones, event.pitches, strict=True)
        ],
        "shake": figure.shake.token if figure.shake else "",
        "before": "".join(f"{{{grace.token}}}" for grace in figure.grace)
        + "/" * figure.marks.scoop,
        "after": figure.marks.after,
        "said": _said(figure),
        "pitch": " ".join(setting.name(pitch) for pitch in pitches) if named else "",
        "degree": " ".join(degree(pitch, setting.key) for pitch in pitches) if setting.key else "",
        "possible": event.possible,
    }


def _said(figure: Figure) -> str:
    """A figure as a player says it: ``2+3 draw``, ``4 draw shaken with 5 draw``."""
    tones = figure.tones
    if len(tones) > 1 and all(t.technique is Technique.NATURAL and not t.slide for t in tones):
        said = f"{'+'.join(str(tone.hole) for tone in tones)} {tones[0].breath}"
    else:
        said = " and ".join(map(str, tones))
    if figure.shake is not None:
        said += f" shaken with {figure.shake}"
    marks = figure.marks
    signs = [name for name in marks._fields if getattr(marks, name)]
    if figure.grace:
        signs.append("grace notes")
    return f"{said}, {', '.join(signs)}" if signs else said


def needs(loaded: Loaded) -> Json:
    """What a tune asks of the player, in one small object."""
    tones = [tone for event in loaded.score.events for tone in event.figure.all_tones]
    pitches = [p for event in loaded.score.events for p in event.pitches if p is not None]
    first = loaded.score.stretches[0].setting if loaded.score.stretches else None
    bends = {tone.depth for tone in tones if tone.technique is Technique.BEND}
    return {
        "title": loaded.tune.title,
        "composer": loaded.tune.header("composer"),
        "harp": str(first.harp) if first and first.harp else "",
        "key": str(first.key) if first and first.key else "",
        "position": position(first.harp, first.key) if first and first.harp and first.key else 0,
        "tempo": float(first.tempo) if first else 0,
        "meter": first.meter.text if first else "",
        "seconds": round(loaded.score.seconds, 1),
        "notes": sum(1 for _ in loaded.tune.notes()),
        "lowest": first.name(min(pitches)) if first and pitches else "",
        "highest": first.name(max(pitches)) if first and pitches else "",
        "deepest_bend": max(bends, default=0),
        "overbends": sum(tone.overbent for tone in tones),
        "slide": any(tone.slide for tone in tones),
        "chords": sum(len(event.figure.tones) > 1 for event in loaded.score.events),
        "errors": sum(d.level is Level.ERROR for d in loaded.diagnostics),
        "cautions": sum(d.level is Level.CAUTION for d in loaded.diagnostics),
    }
