"""Pages as PNG: our own PDF drawn by pdfium, so that all formats show the same."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO

import pypdfium2

from tabtool.sheet import pdf
from tabtool.sheet.drawing import Page


def write(pages: Sequence[Page], title: str, dpi: int) -> list[bytes]:
    """One picture a page, `dpi` dots an inch."""
    document = pypdfium2.PdfDocument(pdf.write(pages, title))
    pictures = []
    for index in range(len(document)):
        picture = document[index].render(scale=dpi / 72, grayscale=True).to_pil()
        out = BytesIO()
        picture.save(out, "PNG", dpi=(dpi, dpi), optimize=True)
        pictures.append(out.getvalue())
    document.close()
    return pictures
