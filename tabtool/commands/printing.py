"""What the commands that print pages share: paper, formats, writing the files."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tabtool.commands import common
from tabtool.diagnostics import TabError
from tabtool.scores.staff import staff
from tabtool.sheet.engrave import Staves
from tabtool.sheet.layout import Options, sheet
from tabtool.sheet.output import DPI, FORMATS, older, render, suffix_of
from tabtool.sheet.style import PAPERS
from tabtool.tune import Tune
from tabtool.written import Written, as_written

if TYPE_CHECKING:
    from tabtool.sheet.drawing import Page
    from tabtool.sheet.fonts import FontMetrics


def add_output(parser: argparse.ArgumentParser, required: bool = True) -> None:
    """Where the pages go, on which paper, and how fine."""
    parser.add_argument(
        "-o",
        "--out",
        metavar="OUT",
        required=required,
        help="the file to write: .pdf, .svg, .png or .html (- for a PDF on standard output)",
    )
    add_paper(parser)


def add_paper(parser: argparse.ArgumentParser) -> None:
    """Paper size, and how fine a picture is."""
    named = {paper.lower(): paper for paper in PAPERS}
    parser.add_argument(
        "--paper",
        type=lambda text: named.get(text.lower(), text),
        choices=tuple(PAPERS),
        default="A4",
        help="A4 (the default) or Letter",
    )
    parser.add_argument(
        "--dpi", type=int, default=DPI, metavar="N", help=f"dots an inch of a .png ({DPI})"
    )


def is_page(out: str) -> bool:
    """Whether a path asks for pages, not for text."""
    return out.lower().endswith(FORMATS)


def check_output(args: argparse.Namespace) -> None:
    """`TabError` for what cannot be written, before any work is done."""
    suffix_of(args.out)
    if args.out == "-" and args.json:
        raise TabError("the pages and the JSON cannot both go to standard output; name a file")
    if not 30 <= args.dpi <= 1200:
        raise TabError(f"--dpi {args.dpi}: write a number from 30 to 1200")


def metrics() -> FontMetrics:
    """The fonts; `TabError` in one line where the extra is not installed."""
    try:
        from tabtool.sheet.fonts import FontMetrics
    except ImportError as error:
        raise _missing(error) from None
    return FontMetrics()


def staves(tune: Tune, written: Written) -> Staves:
    """The staff over a tune's rows; `TabError` without a harp, for then no pitch is known."""
    try:
        from tabtool.sheet.notation import Notation
    except ImportError as error:
        raise _missing(error) from None
    try:
        return Notation(staff(tune, written), written.first_number)
    except ValueError:
        raise TabError(
            f"{tune.file}: no harp is named, so no staff can be drawn; write harp: C (or its key)"
        ) from None


def print_tune(tune: Tune, args: argparse.Namespace) -> None:
    """Write a tune as a plain sheet."""
    check_output(args)
    fonts = metrics()
    pages = sheet(tune, as_written(tune), Options(args.paper), fonts)
    write_pages(pages, tune.title or "Untitled", args)


def write_pages(pages: Sequence[Page], title: str, args: argparse.Namespace) -> list[str]:
    """Write the pages, each file whole or not at all; the names of the files."""
    try:
        files = render(pages, title, args.out, args.dpi)
    except ImportError as error:
        raise _missing(error) from None
    from tabtool.sheet.fonts import missing

    unknown = missing(pages)
    if unknown:
        common.warn(
            f"the sheet's fonts have no picture for {' '.join(unknown)}: a box stands there instead"
        )
    for name, data in files:
        common.write_out(name, data)
    if len(files) > 1:
        common.warn(f"{len(files)} pages, a file each: {files[0][0]} to {files[-1][0]}")
    names = [name for name, _ in files]
    left = older(args.out, names)
    if left:
        listed = left[0] if len(left) == 1 else f"{', '.join(left[:-1])} and {left[-1]}"
        common.warn(f"left from before and no page of this: {listed}")
    return names


def _missing(error: ImportError) -> TabError:
    return TabError(f"sheets need {error.name}: pip install 'tabtool[sheet]'")
