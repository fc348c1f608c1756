"""The marks of a musician's pencil as SVG: one shape for each meaning.

Units are hundredths of a millimetre on the page, y downwards. Every function gives markup with
the class ``pencil`` (a stroke) or ``word`` (handwriting); colours come from the page.
"""

from __future__ import annotations

from html import escape

MEANINGS = {
    "ring": "another note was heard",
    "arrow": "sharp or flat",
    "caret": "not heard",
    "question": "not sure",
    "plus": "an extra note",
    "wave": "the tempo moves",
    "strokes": "broke off here",
    "hook": "went on from here",
    "bracket": "left out",
}
"""What each shape means; the key below the music shows those that occur."""


def ring(x: float, y: float) -> str:
    """A ring round a note head, drawn in one go: it does not quite close."""
    return _stroke(
        f"M{x - 205:.0f} {y + 20:.0f}c-20-190 395-245 410-20c12 200-385 245-412 34c-4-40 8-66 26-88"
    )


def arrow(x: float, y: float, *, up: bool) -> str:
    """A small arrow with its middle at (x, y): up for sharp, down for flat."""
    way = -1 if up else 1
    tip = y + way * 110
    return _stroke(
        f"M{x:.0f} {y - way * 110:.0f}V{tip:.0f}m-62 {-way * 70}l62 {way * 70}l62 {-way * 70}"
    )


def caret(x: float, y: float) -> str:
    """A caret whose point is above (x, y): something is missing here."""
    return _stroke(f"M{x - 85:.0f} {y:.0f}l85-170l85 170")


def question(x: float, y: float) -> str:
    """A question mark that ends at (x, y)."""
    return _stroke(f"M{x - 55:.0f} {y - 170:.0f}c0-85 120-85 115 5c-3 60-62 50-60 108") + _stroke(
        f"M{x:.0f} {y:.0f}v6"
    )


def plus(x: float, y: float) -> str:
    """A plus sign around (x, y)."""
    return _stroke(f"M{x - 75:.0f} {y:.0f}h150M{x:.0f} {y - 75:.0f}v150")


def wave(left: float, right: float, y: float) -> str:
    """A wavy line."""
    count = max(2, round((right - left) / 300))
    step = (right - left) / count
    turn = f"q{step / 4:.0f}-110 {step / 2:.0f} 0t{step / 2:.0f} 0"
    return _stroke(f"M{left:.0f} {y:.0f}" + turn * count)


def strokes(x: float, top: float) -> str:
    """Two slanted strokes through the top of the staff: the music breaks off."""
    return _stroke(f"M{x:.0f} {top + 120:.0f}l90-300M{x + 110:.0f} {top + 120:.0f}l90-300")


def hook(x: float, top: float) -> str:
    """A hook that leads down to where the player went on."""
    return _stroke(f"M{x + 260:.0f} {top - 210:.0f}h-260v190m-62-70l62 70l62-70")


def bracket(left: float, right: float, y: float) -> str:
    """A bracket over bars that were left out."""
    return _stroke(f"M{left:.0f} {y + 110:.0f}V{y:.0f}H{right:.0f}V{y + 110:.0f}")


def word(x: float, y: float, text: str, *, middle: bool = False) -> str:
    """A word in pencil."""
    anchor = ' text-anchor="middle"' if middle else ""
    return f'<text class="word" x="{x:.0f}" y="{y:.0f}"{anchor}>{escape(text)}</text>'


def titled(says: str, *parts: str, at_s: float | None = None) -> str:
    """A mark with its meaning for those who point at it or hear the page read out."""
    second = "" if at_s is None else f' data-t="{at_s:.3f}"'
    return f"<g{second}><title>{escape(says)}</title>{''.join(parts)}</g>"


def _stroke(path: str) -> str:
    return f'<path class="pencil" d="{path}"/>'
