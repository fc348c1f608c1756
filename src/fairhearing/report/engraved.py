"""Where the notes of an engraved part stand on the page, so that something can be written there.

Works on the SVG that :func:`fairhearing.core.packet.engraving.engrave` gives: one picture a
system, in hundredths of a millimetre, y downwards, every note in a group with its id.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element, fromstring

from fairhearing.core.packet.engraving import System

SVG = "http://www.w3.org/2000/svg"
_LINK = "{http://www.w3.org/1999/xlink}href"
_PAIR = re.compile(r"(-?[\d.]+)[ ,]+(-?[\d.]+)")
_TRANSLATE = re.compile(r"translate\((-?[\d.]+),? *(-?[\d.]+)\)")
_HEAD_WIDTH, _HEAD_HEIGHT = 226.0, 180.0
# Verovio writes a tempo mark's note with private characters of its music font; plain text has
# characters of its own for them.
_TEXT_SIGNS = str.maketrans(
    {"\ueca2": "𝅝", "\ueca3": "𝅗𝅥", "\ueca5": "♩", "\ueca7": "♪", "\ueca9": "𝅘𝅥𝅯", "\uecb7": "."}
)


Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Place:
    """A note on the page: centre of its head, and the highest and lowest it reaches."""

    x: float
    y: float
    top: float
    bottom: float


@dataclass(slots=True)
class Page:
    """One system: its drawing (a group without ids), its glyphs, and where things stand.

    ``notes`` by id; ``bars`` left and right edge by place of the bar; ``staff`` top and bottom
    line; ``groups`` the note groups, to be labelled; ``taken`` boxes (left, top, right, bottom)
    in which something is printed.
    """

    drawing: Element
    glyphs: dict[str, Element]
    width: float
    height: float
    staff: tuple[float, float]
    notes: dict[str, Place] = field(default_factory=dict)
    groups: dict[str, Element] = field(default_factory=dict)
    bars: dict[int, tuple[float, float]] = field(default_factory=dict)
    taken: list[Box] = field(default_factory=list)


def read_system(system: System, *, prefix: str) -> Page:
    """Take a system apart.

    Parameters
    ----------
    system : System
        From ``engrave``.
    prefix : str
        Put in front of every glyph's id, so that several parts may stand in one page.
    """
    root = fromstring(system.svg)
    glyphs: dict[str, Element] = {}
    for glyph in root.iterfind(f"{{{SVG}}}defs/{{{SVG}}}g"):
        name = _glyph_name(glyph.get("id", ""), prefix)
        glyph.set("id", name)
        glyphs[name] = glyph
    inner = root.find(f"{{{SVG}}}svg")
    assert inner is not None
    _, _, width, height = (float(value) for value in inner.get("viewBox", "0 0 1 1").split())
    drawing = inner[0]
    page = Page(drawing, glyphs, width, height, _staff_lines(drawing))
    _find_notes(drawing, page)
    _find_bars(drawing, page)
    page.taken += [*_boxes_of_text(drawing), *_boxes_of_signs(drawing)]
    for staff in _of_class(drawing, "staff"):
        for path in staff.iterfind(f"{{{SVG}}}path"):
            path.set("data-line", "")
    for element in drawing.iter():
        # The engraver's classes and ids are its own; a page's rules must not catch them.
        element.attrib.pop("id", None)
        element.attrib.pop("class", None)
        if element.attrib.pop("data-line", None) is not None:
            element.set("class", "staff-line")
        if element.tag == f"{{{SVG}}}use":
            link = element.attrib.pop(_LINK)
            element.set("href", "#" + _glyph_name(link[1:], prefix))
        # Indentation would be shown as spaces within words. (A no-break space is meant.)
        if element.tail and not element.tail.strip(" \n"):
            element.tail = None
        if element.text:
            element.text = element.text.strip("\n ").translate(_TEXT_SIGNS)
    return page


def _glyph_name(name: str, prefix: str) -> str:
    """The glyph's code point is its name; the rest is the engraver's."""
    return f"{prefix}-{name.partition('-')[0]}"


def _of_class(element: Element, name: str) -> Iterator[Element]:
    for found in element.iter(f"{{{SVG}}}g"):
        if name in found.get("class", "").split():
            yield found


def _staff_lines(drawing: Element) -> tuple[float, float]:
    """Top and bottom line: the horizontal paths that stand directly in a staff."""
    heights = [
        float(pair[1])
        for staff in _of_class(drawing, "staff")
        for path in staff.iterfind(f"{{{SVG}}}path")
        for pair in _PAIR.findall(path.get("d", ""))
    ]
    return (min(heights), max(heights)) if heights else (0.0, 720.0)


def _find_notes(drawing: Element, page: Page) -> None:
    """Collect heads and how far stems reach; a beam belongs to each of its notes."""
    for group in _of_class(drawing, "note"):
        head = next(_of_class(group, "notehead"), None)
        use = None if head is None else head.find(f"{{{SVG}}}use")
        move = None if use is None else _TRANSLATE.search(use.get("transform", ""))
        if move is None:
            continue
        x, y = float(move.group(1)) + _HEAD_WIDTH / 2, float(move.group(2))
        reach = [y - _HEAD_HEIGHT / 2, y + _HEAD_HEIGHT / 2]
        for stem in _of_class(group, "stem"):
            for path in stem.iter(f"{{{SVG}}}path"):
                reach += [float(pair[1]) for pair in _PAIR.findall(path.get("d", ""))]
        name = group.get("id", "")
        page.notes[name] = Place(x, y, min(reach), max(reach))
        page.groups[name] = group


def _find_bars(drawing: Element, page: Page) -> None:
    """The right edge is the bar line, the left edge the one before (or the first note)."""
    left = None
    for measure in _of_class(drawing, "measure"):
        lines = [
            float(pair[0])
            for line in _of_class(measure, "barLine")
            for path in line.iter(f"{{{SVG}}}path")
            for pair in _PAIR.findall(path.get("d", ""))
        ]
        heads = [
            page.notes[name].x
            for group in _of_class(measure, "note")
            if (name := group.get("id", "")) in page.notes
        ]
        right = max(lines, default=page.width)
        start = left if left is not None else min(heads, default=0.0) - _HEAD_WIDTH
        number = re.fullmatch(r"bar(\d+)", measure.get("id", ""))
        if number:
            page.bars[int(number.group(1))] = (start, right)
        left = right


def _boxes_of_text(drawing: Element) -> Iterator[Box]:
    """Where words and numbers stand, roughly."""
    for text in drawing.iter(f"{{{SVG}}}text"):
        sizes = [float(span.get("font-size", "0px")[:-2]) for span in text.iter()]
        size, length = max(sizes, default=0.0), len(" ".join("".join(text.itertext()).split()))
        x, y = float(text.get("x", "0")), float(text.get("y", "0"))
        yield (x, y - 0.8 * size, x + 0.55 * size * length, y + 0.2 * size)


def _boxes_of_signs(drawing: Element) -> Iterator[Box]:
    """Where articulations, trills, fermatas, dynamics and tuplets stand, roughly."""
    for name in ("artic", "trill", "fermata", "dynam", "turn", "mordent", "tupletNum"):
        for group in _of_class(drawing, name):
            for use in group.iter(f"{{{SVG}}}use"):
                move = _TRANSLATE.search(use.get("transform", ""))
                if move is not None:
                    x, y = float(move.group(1)), float(move.group(2))
                    yield (x - 60, y - 260, x + 300, y + 60)
    for group in _of_class(drawing, "tupletBracket"):
        for line in group.iter():
            ends = _PAIR.findall(line.get("points") or line.get("d") or "")
            if ends:
                xs, ys = [float(x) for x, _ in ends], [float(y) for _, y in ends]
                yield (min(xs), min(ys), max(xs), max(ys))
