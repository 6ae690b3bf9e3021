"""Pages as one PDF, fonts embedded. Sole importer of reportlab."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO

from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import FILL_NON_ZERO, Canvas

from tabtool.sheet import fonts
from tabtool.sheet.drawing import Page, Path, Text

ROUND = 1  # PDF's number for round line joins
_NAMES = {False: "SheetBook", True: "SheetBold"}


def write(pages: Sequence[Page], title: str) -> bytes:
    """All pages; the same pages always give the same bytes."""
    for bold, name in _NAMES.items():
        pdfmetrics.registerFont(TTFont(name, fonts.path(bold)))
    out = BytesIO()
    canvas = Canvas(out, invariant=1, pageCompression=1, initialFontName=_NAMES[False])
    canvas.setTitle(title)
    canvas.setCreator("tabtool")
    for page in pages:
        canvas.setPageSize((page.width * mm, page.height * mm))
        canvas.setLineJoin(ROUND)
        for group in page.groups:
            for item in group.items:
                if isinstance(item, Text):
                    _text(canvas, item, page.height)
                else:
                    _path(canvas, item, page.height)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _text(canvas: Canvas, text: Text, height: float) -> None:
    if not text.text.strip():
        return
    size = text.size * mm
    natural = pdfmetrics.stringWidth(text.text, _NAMES[text.bold], size)
    written = canvas.beginText(text.x * mm, (height - text.y) * mm)
    written.setFont(_NAMES[text.bold], size)
    written.setFillGray(text.ink)
    written.setHorizScale(100 * text.width * mm / natural if natural else 100)
    written.textOut(text.text)
    canvas.drawText(written)


def _path(canvas: Canvas, path: Path, height: float) -> None:
    drawn = canvas.beginPath()
    for letter, numbers in path.commands:
        points = [
            (height - number) * mm if index % 2 else number * mm
            for index, number in enumerate(numbers)
        ]
        if letter == "M":
            drawn.moveTo(*points)
        elif letter == "L":
            drawn.lineTo(*points)
        elif letter == "C":
            drawn.curveTo(*points)
        else:
            drawn.close()
    if path.fill is not None:
        canvas.setFillGray(path.fill)
    if path.stroke is not None:
        canvas.setStrokeGray(path.stroke)
        canvas.setLineWidth(path.width * mm)
        canvas.setDash([length * mm for length in path.dash])
    canvas.drawPath(
        drawn, stroke=path.stroke is not None, fill=path.fill is not None, fillMode=FILL_NON_ZERO
    )
