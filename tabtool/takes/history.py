"""Takes over time: a small file of one JSON object a line, one line a take.

Each line: ``when`` (local time, ISO 8601), ``recording``, ``tune``, ``harp`` (its key),
``tuning`` (its layout), ``tuning_cents``, and ``bends``: for each hole and depth ``token``,
``judged``, ``landed``, ``good``, ``mean`` and ``deviation`` in cents (null where it was another
note each time). The file stays on this machine; lines may be deleted by hand.
"""

from __future__ import annotations

import json
import os
from datetime import datetime
from typing import Any, NamedTuple

from tabtool.diagnostics import TabError
from tabtool.files import read_text, write_file
from tabtool.takes.take import Take


class Point(NamedTuple):
    """One bend in one take: its figures are those of `take.ToneSummary`."""

    when: str
    harp: str
    token: str
    judged: int
    landed: int
    mean: float | None
    deviation: float | None


def append(path: str, take: Take, recording: str, when: datetime | None = None) -> None:
    """Add a take to the file, whole or not at all; the file is made if there is none."""
    before = read_text(path) if os.path.exists(path) else ""
    if before:
        points_of(before, path)  # a file that is something else is not written to
    if before and not before.endswith("\n"):
        before += "\n"
    write_file(path, (before + _line(take, recording, when or datetime.now()) + "\n").encode())


def _line(take: Take, recording: str, when: datetime) -> str:
    setting = take.notes[0].event.setting
    row = {
        "when": when.isoformat(timespec="seconds"),
        "recording": recording,
        "tune": take.score.tune.title or take.score.tune.file,
        "harp": setting.harp_key,
        "tuning": setting.tuning.name,
        "tuning_cents": round(take.verdict.tuning_cents, 2),
        "bends": [
            {
                "token": one.tone.token,
                "judged": one.judged,
                "landed": one.landed,
                "good": one.good,
                "mean": None if one.mean is None else round(one.mean, 2),
                "deviation": None if one.deviation is None else round(one.deviation, 2),
            }
            for one in take.tones(bends=True)
        ],
    }
    return json.dumps(row, ensure_ascii=False)


def read(path: str) -> tuple[Point, ...]:
    """All bends of all takes of a file, in its order; `TabError` names a line that is none."""
    return points_of(read_text(path), path)


def points_of(text: str, path: str) -> tuple[Point, ...]:
    """`read` of the text of such a file."""
    points: list[Point] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        try:
            row = json.loads(line)
            harp = str(row["harp"])
            if row["tuning"] != "Richter":
                harp += f" {row['tuning']}"
            for bend in row["bends"]:
                points.append(
                    Point(
                        str(row["when"]),
                        harp,
                        str(bend["token"]),
                        int(bend["judged"]),
                        int(bend["landed"]),
                        _cents(bend["mean"]),
                        _cents(bend["deviation"]),
                    )
                )
        except (ValueError, KeyError, TypeError) as error:
            raise TabError(
                f"{path}:{number}:1: no take of a history ({error}); "
                "name a file written by --history, or delete this line"
            ) from None
    return tuple(points)


def _cents(value: Any) -> float | None:
    return None if value is None else float(value)
