"""Pages to files: the format is the file's suffix, whose library is loaded only then."""

from __future__ import annotations

import os
from collections.abc import Sequence

from tabtool.diagnostics import TabError
from tabtool.sheet.drawing import Page

FORMATS = (".pdf", ".svg", ".png", ".html")
PAGED = (".svg", ".png")  # a file holds one page
DPI = 150


def suffix_of(out: str) -> str:
    """The format of an output path; ``-`` is a PDF. `TabError` for any other suffix."""
    suffix = ".pdf" if out == "-" else os.path.splitext(out)[1].lower()
    if suffix not in FORMATS:
        raise TabError(f"{out}: a sheet is written as {', '.join(FORMATS)}; name the file so")
    return suffix


def render(
    pages: Sequence[Page], title: str, out: str, dpi: int = DPI
) -> tuple[tuple[str, bytes], ...]:
    """The files to write for `out`, each with its bytes.

    SVG and PNG hold one page: several become ``x-1.svg``, ``x-2.svg`` and so on.
    """
    suffix = suffix_of(out)
    if suffix == ".pdf":
        from tabtool.sheet import pdf

        return ((out, pdf.write(pages, title)),)
    if suffix == ".html":
        from tabtool.sheet import html

        return ((out, html.write(pages, title)),)
    if suffix == ".svg":
        from tabtool.sheet import svg

        written = svg.write(pages, title)
    else:
        from tabtool.sheet import png

        written = png.write(pages, title, dpi)
    if len(written) == 1:
        return ((out, written[0]),)
    return tuple((_page(out, number), data) for number, data in enumerate(written, 1))


def older(out: str, written: Sequence[str]) -> tuple[str, ...]:
    """Files that would be taken for pages of `out`, and are none of those written.

    An earlier run with more pages leaves them behind: the numbers that follow on, or the one
    file of a run with a single page. Whether they are its own nobody knows, so they stay.
    """
    if out == "-" or suffix_of(out) not in PAGED:
        return ()
    alone = len(written) == 1
    found = [] if alone or not os.path.exists(out) else [out]
    number = 1 if alone else len(written) + 1
    while os.path.exists(_page(out, number)):
        found.append(_page(out, number))
        number += 1
    return tuple(found)


def _page(out: str, number: int) -> str:
    """The file of one page of several, counted from 1."""
    stem, suffix = os.path.splitext(out)
    return f"{stem}-{number}{suffix.lower()}"
