"""The pictures of this package as files: SVG as it is, HTML around it, or PNG.

PNG is drawn with Pillow and the fonts of the sheets.  It knows the shapes that these pictures are
made of (rect, line, polyline, circle, text), not SVG at large.
"""

from __future__ import annotations

from io import BytesIO
from xml.etree import ElementTree

from tabtool.diagnostics import TabError

SCALE = 2
"""Dots for a unit of the picture."""

HIGHEST = 20_000
"""Units: a picture of some two hours; Pillow holds four bytes a dot."""

SVG = "{http://www.w3.org/2000/svg}"


def png(picture: str) -> bytes:
    """A picture of this package drawn in dots; `TabError` without the `sheet` extra."""
    try:
        from PIL import Image, ImageDraw, ImageFont

        from tabtool.sheet import fonts
    except ImportError:
        raise TabError("pictures as .png need more parts: pip install 'tabtool[sheet]'") from None
    root = ElementTree.fromstring(picture)  # our own text
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    if height > HIGHEST:
        raise TabError("the picture is too long for a .png; write .svg or .html")
    image = Image.new("RGB", (round(width * SCALE), round(height * SCALE)), "#fff")
    draw = ImageDraw.Draw(image)
    size = float(root.attrib["font-size"]) * SCALE
    letters = {bold: ImageFont.truetype(fonts.path(bold), size) for bold in (False, True)}
    for shape in root:
        kind, at = shape.tag.removeprefix(SVG), shape.attrib

        def value(name: str, at: dict[str, str] = at) -> float:
            return float(at.get(name, 0)) * SCALE

        fill = None if at.get("fill") == "none" else at.get("fill", "#000")
        stroke = at.get("stroke")
        thick = max(1, round(float(at.get("stroke-width", 1)) * SCALE))
        if kind == "rect" and at["width"] != "100%":
            x, y = value("x"), value("y")
            draw.rectangle((x, y, x + value("width"), y + value("height")), fill, stroke)
        elif kind == "line":
            ends = (value("x1"), value("y1"), value("x2"), value("y2"))
            draw.line(ends, stroke or "#000", thick)
        elif kind == "polyline":
            points = [float(n) * SCALE for pair in at["points"].split() for n in pair.split(",")]
            draw.line(points, stroke or "#000", thick, joint="curve")
        elif kind == "circle":
            x, y, r = value("cx"), value("cy"), value("r")
            draw.ellipse((x - r, y - r, x + r, y + r), fill)
        elif kind == "text":
            anchor = {"end": "rs", "middle": "ms"}.get(at.get("text-anchor", ""), "ls")
            font = letters[at.get("font-weight") == "bold"]
            draw.text((value("x"), value("y")), shape.text or "", fill or "#000", font, anchor)
    out = BytesIO()
    image.save(out, "PNG", dpi=(96 * SCALE, 96 * SCALE), optimize=True)
    return out.getvalue()


def formed(picture: str, title: str, name: str) -> bytes:
    """A picture as the file ``name`` asks: .png, an .html page, else SVG."""
    if name.lower().endswith(".png"):
        return png(picture)
    return page(title, picture) if name.lower().endswith(".html") else picture.encode()


def page(title: str, body: str) -> bytes:
    """An HTML page around an SVG picture; ``title`` is already escaped."""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{title}</title><style>body{{margin:1em;background:#fff;color:#111}}"
        f"svg{{max-width:100%;height:auto}}</style></head><body>\n{body}\n</body></html>\n"
    ).encode()
