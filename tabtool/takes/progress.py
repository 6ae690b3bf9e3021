"""The bends of many takes drawn over time, as SVG or an HTML page: one panel a harp and bend.

In each panel the takes stand side by side in their order; a dot is the mean error of that take
in cents, its bar the standard deviation, the bands ±10 and ±25 cents, and under it stands how
many of the bend's notes landed. A take with another note each time has no dot.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from tabtool.takes.history import Point
from tabtool.takes.judge import ACCEPTABLE, GOOD
from tabtool.takes.raster import formed

PANEL_W, PANEL_H, ACROSS = 320.0, 150.0, 3
MOST_CENTS = 60.0


def write(points: Sequence[Point], name: str) -> bytes:
    """The picture in the form that the file's ``name`` asks for: .svg, .png or .html."""
    return formed(svg(points), "Bends over time", name)


def svg(points: Sequence[Point]) -> str:
    """The picture as SVG text."""
    panels: dict[tuple[str, str], list[Point]] = {}
    for point in points:
        panels.setdefault((point.harp, point.token), []).append(point)
    down = max(1, -(-len(panels) // ACROSS))
    width, height = ACROSS * PANEL_W, down * PANEL_H + 30
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" font-family="sans-serif" font-size="11">',
        "<title>Bends over time</title>",
        '<rect width="100%" height="100%" fill="#fff"/>',
        '<text x="8" y="18">mean error in cents of each take; bands are 10 and 25 cents</text>',
    ]
    for number, ((harp, token), taken) in enumerate(sorted(panels.items())):
        left, top = number % ACROSS * PANEL_W, number // ACROSS * PANEL_H + 30
        out += _panel(f"{harp} harp, {token}", taken, left, top)
    if not panels:
        out.append('<text x="8" y="60">no bends yet</text>')
    return "\n".join([*out, "</svg>"])


def _panel(title: str, taken: Sequence[Point], left: float, top: float) -> list[str]:
    inner_left, inner_top = left + 30, top + 20
    inner_w, inner_h = PANEL_W - 45, PANEL_H - 55

    def y(cents: float) -> float:
        held = min(max(cents, -MOST_CENTS), MOST_CENTS)
        return inner_top + inner_h * (MOST_CENTS - held) / (2 * MOST_CENTS)

    out = [
        f'<text x="{inner_left:.1f}" y="{top + 13:.1f}" font-weight="bold">{escape(title)}</text>'
    ]
    for cents, shade in ((ACCEPTABLE, "#dde7f3"), (GOOD, "#a9c4e4")):
        out.append(
            f'<rect x="{inner_left:.1f}" y="{y(cents):.1f}" width="{inner_w:.1f}" '
            f'height="{y(-cents) - y(cents):.1f}" fill="{shade}"/>'
        )
    for cents in (-50, 0, 50):
        out.append(
            f'<text x="{inner_left - 4:.1f}" y="{y(cents) + 4:.1f}" text-anchor="end">'
            f"{cents:+d}</text>"
        )
    step = inner_w / max(1, len(taken))
    for number, point in enumerate(taken):
        x = inner_left + (number + 0.5) * step
        if point.mean is not None:
            wide = point.deviation or 0.0
            high, low = y(point.mean + wide), y(point.mean - wide)
            out += [
                f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{high:.1f}" y2="{low:.1f}" stroke="#111"/>',
                f'<circle cx="{x:.1f}" cy="{y(point.mean):.1f}" r="3" fill="#111">'
                f"<title>{escape(point.when)}: {point.mean:+.0f} cents, {point.landed} of "
                f"{point.judged} landed</title></circle>",
            ]
        if step >= 24:
            out.append(
                f'<text x="{x:.1f}" y="{inner_top + inner_h + 13:.1f}" text-anchor="middle">'
                f"{point.landed}/{point.judged}</text>"
            )
    return out
