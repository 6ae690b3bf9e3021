"""Pages to files: the format is the file's suffix, whose library is loaded only then."""

from __future__ import annotations

import os
from collections.abc import Sequence

from tabtool.diagnostics import TabError
from tabtool.sheet.drawing import Page

FORMATS = (".pdf", ".svg", ".png", ".html")
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
    stem = os.path.splitext(out)[0]
    return tuple((f"{stem}-{number}{suffix}", data) for number, data in enumerate(written, 1))
