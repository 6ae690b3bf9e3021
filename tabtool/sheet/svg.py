"""Pages as SVG 1.1, the glyphs used embedded; one file a page."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from tabtool.sheet.drawing import Group, Page, Path, Text
from tabtool.sheet.fonts import FAMILY, face


def write(pages: Sequence[Page], title: str) -> list[bytes]:
    """A whole SVG file for each page, its sizes in millimetres."""
    head = '<?xml version="1.0" encoding="UTF-8"?>\n'
    css = styles(pages)
    return [(head + element(page, title, css) + "\n").encode("utf-8") for page in pages]


def styles(pages: Sequence[Page]) -> str:
    """The CSS that embeds the fonts and says how text is set."""
    css = []
    for bold in (False, True):
        letters = "".join(
            sorted({c for p in pages for t in p.texts if t.bold == bold for c in t.text})
        )
        if letters:
            css.append(face(letters, bold))
    css.append(f"text{{font-family:'{FAMILY}',sans-serif;white-space:pre;font-kerning:none}}")
    return "".join(css)


def element(page: Page, title: str, css: str = "") -> str:
    """The ``svg`` element of one page; its fonts are embedded where `css` says so."""
    width, height = _n(page.width), _n(page.height)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}" role="img" stroke-linejoin="round">',
        f"<title>{escape(title)}</title>",
    ]
    if css:
        out.append(f"<style>{css}</style>")
    out.append(f'<rect width="{width}" height="{height}" fill="#fff"/>')
    out += [_group(group) for group in page.groups]
    out.append("</svg>")
    return "\n".join(out)


def _group(group: Group) -> str:
    named = f"<title>{escape(group.title)}</title>" if group.title else ""
    items = "".join(_text(i) if isinstance(i, Text) else _path(i) for i in group.items)
    return f'<g class="{group.role}">{named}{items}</g>'


def _text(text: Text) -> str:
    weight = ' font-weight="bold"' if text.bold else ""
    return (
        f'<text x="{_n(text.x)}" y="{_n(text.y)}" font-size="{_n(text.size)}"{weight} '
        f'fill="{_grey(text.ink)}" textLength="{_n(text.width)}" '
        f'lengthAdjust="spacingAndGlyphs">{escape(text.text, quote=False)}</text>'
    )


def _path(path: Path) -> str:
    d = "".join(letter + " ".join(map(_n, numbers)) for letter, numbers in path.commands)
    fill = "none" if path.fill is None else _grey(path.fill)
    stroke = ""
    if path.stroke is not None:
        stroke = f' stroke="{_grey(path.stroke)}" stroke-width="{_n(path.width)}"'
        if path.dash:
            stroke += f' stroke-dasharray="{" ".join(map(_n, path.dash))}"'
    return f'<path d="{d}" fill="{fill}"{stroke}/>'


def _grey(ink: float) -> str:
    return "#" + f"{round(ink * 255):02x}" * 3


def _n(number: float) -> str:
    """A number to a hundredth of a millimetre… and no more digits than it needs."""
    return f"{number:.3f}".rstrip("0").rstrip(".") or "0"
