"""What papers need in templates: a QR code and a drawn signature as inline pictures."""

from typing import Any

import segno
from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

register = template.Library()


@register.simple_tag
def qr(*parts: str) -> SafeString:
    """`{% qr "CASE/" number %}`: a QR code of the joined parts; its title is its content."""
    content = "".join(parts)
    code = segno.make(content, error="q", micro=False)
    size = code.symbol_size(border=0)[0]
    # The lines come from segno's own numbers, never from the content.
    path = mark_safe(_path(code))  # noqa: S308
    return format_html(
        '<svg class="qr" viewBox="-4 -4 {0} {0}" xmlns="http://www.w3.org/2000/svg" role="img">'
        '<title>QR code: {1}</title><path d="{2}" fill="#000"/></svg>',
        size + 8,
        content,
        path,
    )


@register.simple_tag
def drawn(ink: dict[str, Any], name: str) -> SafeString:
    """`{% drawn ink name %}`: a drawn signature from its lines; sizes in hundredths of a mm."""
    edge = 60
    lines = "".join(sign for sign in str(ink["path"]) if sign in "ML0123456789 l")
    return format_html(
        '<svg class="drawn-lines" viewBox="-{0} -{0} {1} {2}" xmlns="http://www.w3.org/2000/svg" '
        'role="img"><title>Signature drawn by {3}</title><path d="{4}" fill="none" stroke="#000" '
        'stroke-width="50" stroke-linecap="round" stroke-linejoin="round"/></svg>',
        edge,
        int(ink["width"]) + 2 * edge,
        int(ink["height"]) + 2 * edge,
        name,
        lines,
    )


def _path(code: segno.QRCode) -> str:
    """Draw each dark run of a row as one rectangle."""
    parts = []
    for y, row in enumerate(code.matrix):
        x = 0
        while x < len(row):
            start = x
            while x < len(row) and row[x]:
                x += 1
            if x > start:
                parts.append(f"M{start} {y}h{x - start}v1h-{x - start}z")
            x += 1
    return "".join(parts)
