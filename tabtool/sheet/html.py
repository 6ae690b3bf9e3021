"""Pages as one HTML file that needs nothing else: to scroll on a screen, and to print."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from tabtool.sheet import svg
from tabtool.sheet.drawing import Page


def write(pages: Sequence[Page], title: str) -> bytes:
    """All pages below each other, as wide as the window; printed, a page each."""
    width, height = pages[0].width, pages[0].height
    css = (
        f"{svg.styles(pages)}"
        f"@page{{size:{width:g}mm {height:g}mm;margin:0}}"
        "body{margin:0;background:#777}"
        "main{display:flex;flex-direction:column;align-items:center;gap:1rem;padding:1rem 0}"
        "svg{width:min(100%,60rem);height:auto;display:block}"
        "@media print{body{background:none}main{display:block;padding:0}"
        f"svg{{width:{width:g}mm;height:{height:g}mm;break-after:page}}"
        "svg:last-child{break-after:auto}}"
    )
    drawn = "\n".join(
        svg.element(page, f"{title}, page {number}" if len(pages) > 1 else title)
        for number, page in enumerate(pages, start=1)
    )
    return (
        "<!DOCTYPE html>\n"
        '<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{escape(title)}</title><style>{css}</style></head>\n"
        f"<body><main>\n{drawn}\n</main></body></html>\n"
    ).encode()
