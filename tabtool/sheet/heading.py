"""The head of a sheet: title, who made it, how it goes, and which harp to take up."""

from __future__ import annotations

from tabtool.harp import position
from tabtool.header import Setting
from tabtool.sheet.drawing import (
    BLACK,
    CAP,
    DESCENT,
    Group,
    Metrics,
    Path,
    Text,
    around,
    line,
    rounded,
    words,
)
from tabtool.sheet.engrave import Block, pretty
from tabtool.sheet.style import Style
from tabtool.tune import Tune

_ORDINALS = ("", "1st", "2nd", "3rd", *(f"{n}th" for n in range(4, 13)))


def heading(tune: Tune, first: Setting, style: Style, metrics: Metrics) -> Block:
    """The head of the first page."""
    h = style.h
    badge, badge_width = _badge(first, style, metrics)
    room = style.usable - badge_width - h
    groups: list[Group] = []
    y = 0.0
    for size in (1.3 * h, 1.05 * h, 0.85 * h, 0.7 * h):  # a long title is set smaller
        title = wrapped(metrics, tune.title or "Untitled", size, room, bold=True)
        if len(title) <= 2:
            break
    for part in title:
        y += CAP * size
        text = words(metrics, part, style.margin, y, size, bold=True, room=room)
        groups.append(Group("title", "", (text,), around((text,))))
        y += 0.45 * size
    small = 0.62 * h
    for said in (tune.header("composer"), pace(first)):
        for part in wrapped(metrics, said, small, room):
            y += CAP * small
            text = words(metrics, part, style.margin, y, small, room=room)
            groups.append(Group("subtitle", "", (text,), around((text,))))
            y += 0.6 * small
    height = max(y, badge.box.bottom)
    return Block((*groups, badge), height + 0.3 * h, keep=True)


def wrapped(
    metrics: Metrics, text: str, size: float, room: float, *, bold: bool = False
) -> list[str]:
    """A text in lines no wider than `room`; a single word that is wider keeps its line."""
    lines: list[str] = []
    for word in text.split():
        if lines and metrics.width(f"{lines[-1]} {word}", bold) * size <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def pace(setting: Setting, before: Setting | None = None) -> str:
    """Key, tempo, feel and meter in words; after `before`, only what has changed."""
    said = []
    if setting.key and (before is None or setting.key != before.key):
        said.append(f"key {pretty(str(setting.key))}")
    if before is None or setting.meter != before.meter:
        free = setting.meter.beats is None
        said.append("free meter" if free else setting.meter.text)
    if before is None or setting.tempo != before.tempo:
        said.append(f"{float(setting.tempo):g} beats a minute")
    if setting.feel != (before.feel if before else "straight"):
        said.append(setting.feel)
    if setting.a4 != (before.a4 if before else 440.0):
        said.append(f"A = {setting.a4:g} Hz")
    return " · ".join(said)


def place_on_harp(setting: Setting) -> str:
    """``2nd position``; empty where harp or key is not known."""
    if setting.harp is None or setting.key is None:
        return ""
    return f"{_ORDINALS[position(setting.harp, setting.key)]} position"


def harp_words(setting: Setting) -> tuple[str, str]:
    """The harp's key, and its tuning where that is not Richter."""
    if setting.harp is None:
        return "?", ""
    tuning = "" if setting.harp.tuning == "Richter" else setting.harp.tuning
    return pretty(setting.harp.key), tuning


def _badge(setting: Setting, style: Style, metrics: Metrics) -> tuple[Group, float]:
    """The harp to take up, framed, at the right margin: what must be right before note one."""
    h = style.h
    key, tuning = harp_words(setting)
    big, small = 1.9 * h, 0.56 * h
    lines: list[tuple[str, float, bool]] = [("harp", small, False), (key, big, True)]
    lines += [(said, small, False) for said in (tuning, place_on_harp(setting)) if said]
    widths = [metrics.width(text, bold) * size for text, size, bold in lines]
    width = min(max([4 * h, *(w + 1.0 * h for w in widths)]), 0.36 * style.usable)
    left = style.width - style.margin - width
    items: list[Text | Path] = []
    y = 0.35 * h
    for text, size, bold in lines:
        y += CAP * size
        items.append(
            words(
                metrics, text, left + width / 2, y, size, bold=bold, anchor=0.5,
                room=width - 0.7 * h,
            )
        )  # fmt: skip
        y += 0.42 * h if size == small else 0.5 * h
    frame = rounded(left, 0, left + width, y, 0.4 * h, stroke=BLACK, width=0.12 * h)
    return Group("harp", f"{key} harp", (frame, *items), around((frame,))), width


def section_heading(
    name: str, setting: Setting, before: Setting | None, style: Style, metrics: Metrics
) -> Block:
    """A section's name and whatever it changes, a change of harp framed."""
    h = style.h
    size, small = 0.86 * h, 0.62 * h
    x, y = style.margin, CAP * size
    right = style.width - style.margin
    groups: list[Group] = []
    if name:
        text = words(metrics, name, x, y, size, bold=True, room=0.6 * style.usable)
        groups.append(Group("section", "", (text,), around((text,))))
        x += text.width + 0.7 * h
    if before is not None and setting.harp != before.harp:
        key, tuning = harp_words(setting)
        said = f"change to the {key} harp" + (f", {tuning}" if tuning else "")
        place = place_on_harp(setting)
        text = words(
            metrics, said + (f", {place}" if place else ""), x + 0.3 * h, y, small, bold=True,
            room=right - x - 0.6 * h,
        )  # fmt: skip
        frame = rounded(
            x,
            y - CAP * small - 0.22 * h,
            text.x + text.width + 0.3 * h,
            y + DESCENT * small + 0.1 * h,
            0.3 * h,
            stroke=BLACK,
            width=0.1 * h,
        )
        groups.append(Group("harp", said, (frame, text), around((frame,))))
        x = text.x + text.width + 0.9 * h
    changed = pace(setting, before) if before is not None else ""
    if changed and right - x < 0.3 * metrics.width(changed) * small:
        x, y = style.margin, y + 1.1 * h
    if changed:
        text = words(metrics, changed, x, y, small, room=right - x)
        groups.append(Group("section", "", (text,), around((text,))))
    return Block(tuple(groups), y + 0.55 * h, keep=True)


def running_head(
    tune: Tune, setting: Setting, page: int, pages: int, style: Style, metrics: Metrics
) -> Block:
    """One line on top of later pages: title, harp, and which page of how many."""
    size = 0.62 * style.h
    y = CAP * size
    right = style.width - style.margin
    count = words(metrics, f"{page} / {pages}", right, y, size, anchor=1.0)
    key, _ = harp_words(setting)
    harp = words(metrics, f"{key} harp", count.x - style.h, y, size, bold=True, anchor=1.0)
    title = words(
        metrics, tune.title or "Untitled", style.margin, y, size, bold=True,
        room=harp.x - style.h - style.margin,
    )  # fmt: skip
    under = y + 0.35 * style.h
    rule = line(style.margin, under, right, under, 0.05 * style.h)
    groups = tuple(Group("head", "", (text,), around((text,))) for text in (title, harp, count))
    return Block((*groups, Group("line", "", (rule,), around((rule,)))), under + 0.6 * style.h)
