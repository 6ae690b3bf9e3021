"""The fonts of the sheets: DejaVu Sans Condensed, book and bold, as shipped by its makers.

They may be passed on and embedded freely (fonts/LICENSE), and cover European scripts with
accidentals and arrows. Sole importer of fontTools.
"""

from __future__ import annotations

import base64
import os
from collections.abc import Iterable
from functools import cache
from io import BytesIO

from fontTools import subset
from fontTools.ttLib import TTFont

from tabtool.sheet.drawing import Page

FAMILY = "DejaVu Sans Condensed"
_FILES = {False: "DejaVuSansCondensed.ttf", True: "DejaVuSansCondensed-Bold.ttf"}


def path(bold: bool) -> str:
    """Where a font file lies."""
    return os.path.join(os.path.dirname(os.path.abspath(__file__)), "fonts", _FILES[bold])


@cache
def _widths(bold: bool) -> tuple[dict[int, float], float]:
    """Advance widths in ems by code point, and that of the box for what has no glyph."""
    font = TTFont(path(bold), lazy=True)
    em, metrics = font["head"].unitsPerEm, font["hmtx"]
    table = {code: metrics[name][0] / em for code, name in font.getBestCmap().items()}
    return table, metrics[".notdef"][0] / em


class FontMetrics:
    """`drawing.Metrics` of the shipped fonts, without kerning."""

    def width(self, text: str, bold: bool = False) -> float:
        table, missing = _widths(bold)
        return sum(table.get(ord(letter), missing) for letter in text)


def missing(pages: Iterable[Page]) -> str:
    """The characters on the pages that the fonts have no picture for, each once."""
    found: dict[str, None] = {}
    for page in pages:
        for text in page.texts:
            table, _ = _widths(text.bold)
            found |= {letter: None for letter in text.text if ord(letter) not in table}
    return "".join(found)


def face(text: str, bold: bool) -> str:
    """A CSS ``@font-face`` with the glyphs of `text` alone, so that the file needs no font."""
    options = subset.Options()
    options.layout_features = []  # widths were counted without kerning
    options.hinting = False
    options.drop_tables += ["FFTM"]  # the makers' time stamp
    options.name_IDs = [0, 1, 2, 13, 14]  # names and licence stay with the font
    font = TTFont(path(bold))
    cut = subset.Subsetter(options)
    cut.populate(text=text)
    cut.subset(font)
    font.flavor = "woff"
    out = BytesIO()
    font.save(out, reorderTables=None)
    data = base64.b64encode(out.getvalue()).decode("ascii")
    weight = "bold" if bold else "normal"
    return (
        f"@font-face{{font-family:'{FAMILY}';font-weight:{weight};"
        f"src:url(data:font/woff;base64,{data}) format('woff')}}"
    )
