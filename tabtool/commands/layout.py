"""Print a whole harp: every reed, every bend, every overblow and overdraw.

With -o, as a page to hang up: .pdf, .svg, .png or .html.
"""

from __future__ import annotations

import argparse

from tabtool.cli import OK
from tabtool.commands import common, printing
from tabtool.harp import Breath, Harp, Technique
from tabtool.sheet.harpmap import harp_page
from tabtool.sheet.style import Style
from tabtool.temperament import A4_STANDARD, EQUAL, Temperament


def configure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("key", metavar="KEY", help="the harp's key: C, Bb, low F …")
    common.add_tuning(parser)
    common.add_temperament(parser)
    printing.add_output(parser, required=False)
    common.add_json(parser)


def run(args: argparse.Namespace) -> int:
    harp = common.harp_of(args.key, common.tuning_of(args))
    temperament = common.temperament_of(args) or EQUAL
    a4 = common.pitch_of(args) or A4_STANDARD
    if args.out:
        printing.check_output(args)
        metrics = printing.metrics()
        page = harp_page(harp, Style(args.paper), metrics)
        printing.write_pages((page,), str(harp), args)
    if args.json:
        common.print_json(as_json(harp, temperament, a4))
    elif args.out:
        pass
    else:
        print(as_table(harp, temperament))
        if args.temperament or args.pitch:
            print(f"\n{harp.named(harp.root)} at {temperament.hz(harp.root, harp.root, a4):.2f} Hz")
    return OK


def as_json(
    harp: Harp, temperament: Temperament = EQUAL, a4: float = A4_STANDARD
) -> dict[str, object]:
    """The layout; its schema is documented in the README."""

    def sounds(pitch: float) -> dict[str, object]:
        return {
            "pitch": harp.named(pitch),
            "midi": int(pitch),
            "hz": round(temperament.hz(pitch, harp.root, a4), 2),
            "cents": round(temperament.cents(pitch, harp.root), 2),
        }

    def reed(hole: int, breath: Breath, slide: bool = False) -> dict[str, object]:
        pitch = harp.reed(hole, breath, slide)
        assert pitch is not None
        return sounds(pitch)

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
                    **sounds(way.pitch),
                }
                for way in harp.bends(hole)
            ],
            "overbend": None
            if over is None
            else {"kind": str(over.tone.technique), **sounds(over.pitch)},
        }
        if harp.layout.has_slide:
            row["slide"] = {
                "blow": reed(hole, Breath.BLOW, True),
                "draw": reed(hole, Breath.DRAW, True),
            }
        holes.append(row)
    return {"key": harp.key, "tuning": harp.tuning, "holes": holes}


def as_table(harp: Harp, temperament: Temperament = EQUAL) -> str:
    """Blow notes above the hole numbers, draw notes below, bends further out.

    Where the temperament is not equal, each pitch carries its cents from equal temperament.
    """

    def named(pitch: float) -> str:
        cents = round(temperament.cents(pitch, harp.root))
        return harp.named(pitch) + (f" {cents:+}" if temperament is not EQUAL else "")

    holes = range(1, harp.holes + 1)
    above: list[tuple[str, dict[int, str]]] = []
    below: list[tuple[str, dict[int, str]]] = []
    for breath, rows in ((Breath.BLOW, above), (Breath.DRAW, below)):
        plain = {hole: harp.reed(hole, breath) for hole in holes}
        rows.append((str(breath), {h: named(p) for h, p in plain.items() if p is not None}))
        if harp.layout.has_slide:
            slid = {hole: harp.reed(hole, breath, True) for hole in holes}
            rows.append(
                (
                    f"{breath}, slide in",
                    {h: named(p) for h, p in slid.items() if p is not None},
                )
            )
        deepest = max(harp.bend_limit(hole, breath) for hole in holes)
        for depth in range(1, deepest + 1):
            row = {
                way.tone.hole: named(way.pitch)
                for way in harp.ways
                if way.tone.technique is Technique.BEND
                and way.tone.breath is breath
                and way.tone.depth == depth
                and not way.tone.slide
            }
            rows.append((f"{breath} bent {depth}", row))
        over = {
            way.tone.hole: named(way.pitch)
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
