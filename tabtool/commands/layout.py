"""Print a whole harp: every reed, every bend, every overblow and overdraw."""

from __future__ import annotations

import argparse

from tabtool.cli import OK
from tabtool.commands import common
from tabtool.harp import Breath, Harp, Technique


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("key", metavar="KEY", help="the harp's key: C, Bb, low F …")
    common.add_tuning(parser)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    harp = common.harp_of(args.key, common.tuning_of(args))
    if args.json:
        common.print_json(as_json(harp))
    else:
        print(as_table(harp))
    return OK


def as_json(harp: Harp) -> dict[str, object]:
    """The layout; its schema is documented in the README."""

    def reed(hole: int, breath: Breath, slide: bool = False) -> dict[str, object]:
        pitch = harp.reed(hole, breath, slide)
        assert pitch is not None
        return {"pitch": harp.named(pitch), "midi": pitch}

    holes = []
    for hole in range(1, harp.holes + 1):
        over = harp.overbend(hole)
        row: dict[str, object] = {
            "hole": hole,
            "blow": reed(hole, Breath.BLOW),
            "draw": reed(hole, Breath.DRAW),
            "bends": [
                {
                    "breath": str(way.tone.breath),
                    "depth": int(way.tone.depth),
                    "pitch": harp.named(way.pitch),
                    "midi": int(way.pitch),
                }
                for way in harp.bends(hole)
            ],
            "overbend": None
            if over is None
            else {
                "kind": str(over.tone.technique),
                "pitch": harp.named(over.pitch),
                "midi": int(over.pitch),
            },
        }
        if harp.layout.has_slide:
            row["slide"] = {
                "blow": reed(hole, Breath.BLOW, True),
                "draw": reed(hole, Breath.DRAW, True),
            }
        holes.append(row)
    return {"key": harp.key, "tuning": harp.tuning, "holes": holes}


def as_table(harp: Harp) -> str:
    """Blow notes above the hole numbers, draw notes below, bends further out."""
    holes = range(1, harp.holes + 1)
    above: list[tuple[str, dict[int, str]]] = []
    below: list[tuple[str, dict[int, str]]] = []
    for breath, rows in ((Breath.BLOW, above), (Breath.DRAW, below)):
        named = {hole: harp.reed(hole, breath) for hole in holes}
        rows.append((str(breath), {h: harp.named(p) for h, p in named.items() if p is not None}))
        if harp.layout.has_slide:
            slid = {hole: harp.reed(hole, breath, True) for hole in holes}
            rows.append(
                (
                    f"{breath}, slide in",
                    {h: harp.named(p) for h, p in slid.items() if p is not None},
                )
            )
        deepest = max(harp.bend_limit(hole, breath) for hole in holes)
        for depth in range(1, deepest + 1):
            row = {
                way.tone.hole: harp.named(way.pitch)
                for way in harp.ways
                if way.tone.technique is Technique.BEND
                and way.tone.breath is breath
                and way.tone.depth == depth
                and not way.tone.slide
            }
            rows.append((f"{breath} bent {depth}", row))
        over = {
            way.tone.hole: harp.named(way.pitch)
            for way in harp.ways
            if way.tone.overbent and way.tone.breath is breath
        }
        if over:
            rows.append(("overblow" if breath is Breath.BLOW else "overdraw", over))
    numbers = ("hole", {hole: str(hole) for hole in holes})
    rows = [*reversed(above), numbers, *below]
    label = max(len(name) for name, _ in rows)
    width = max(len(cell) for _, row in rows for cell in row.values()) + 2
    lines = [f"{harp}", ""]
    for name, row in rows:
        cells = "".join(row.get(hole, "").ljust(width) for hole in holes)
        lines.append(f"{name.rjust(label)}  {cells}".rstrip())
    return "\n".join(lines)
