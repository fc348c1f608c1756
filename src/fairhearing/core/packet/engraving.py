"""Engraving: MusicXML → one SVG picture a system, every note accounted for.

Conventions: lengths in millimetres. verovio draws; each system comes as its own picture, so that a
page can be broken between systems and a reader of the PDF hears "bars 5 to 8". The notes of the
picture are compared with the notes of the score one by one: verovio is known to leave notes out of
damaged files without saying so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from xml.etree.ElementTree import Element, tostring

import verovio

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet.musicxml_reading import label_notes, score_from_tree

STAFF_UNITS = 8  # a staff is eight of verovio's units (half staff spaces) high
TEXT_FONT = "Libertinus Serif"
MUSIC_FONT = "Leipzig"

_NOTE_ID = re.compile(r'id="(p\d+n\d+)"')
_SIZE = re.compile(r'<svg[^>]*?width="([\d.]+)mm"[^>]*?height="([\d.]+)mm"', re.S)
_MEASURE = re.compile(r'<g id="(bar\d+)" class="measure"')


@dataclass(frozen=True, slots=True)
class System:
    """One line of music.

    Attributes
    ----------
    svg : str
    width_mm, height_mm : float
    first_bar, last_bar : int
        Indices of the bars it shows.
    """

    svg: str
    width_mm: float
    height_mm: float
    first_bar: int
    last_bar: int


@dataclass(frozen=True, slots=True)
class Engraving:
    """A part as pictures, with the printed bar numbers for descriptions."""

    systems: tuple[System, ...]
    bar_numbers: tuple[str, ...]
    note_count: int


def engrave(
    tree: Element,
    *,
    width_mm: float,
    staff_mm: float = 7.2,
    label: str = "the score",
    bar_numbers: bool = True,
    full_width: bool = False,
    own_breaks: bool = False,
) -> Engraving:
    """Draw a one-part score.

    Parameters
    ----------
    tree : Element
        MusicXML; note and bar ids are set in place.
    width_mm : float
        Length of a system.
    staff_mm : float
        Height of the five lines. Players expect 7 to 7.5 mm (rastral 3 to 4).
    label : str
        How errors name the score.
    bar_numbers : bool
        Number every system.
    full_width : bool
        Stretch the last system too, however short.
    own_breaks : bool
        Break lines where the source says so (``<print new-system="yes"/>``) and nowhere else.

    Raises
    ------
    ScoreFileError
        If a note would be missing from the picture; the bars are named.
    """
    label_notes(tree)
    score = score_from_tree(tree, label)
    bars = [bar for part in tree.findall("part") for bar in part.findall("measure")]
    for index, bar in enumerate(bars):
        bar.set("id", f"bar{index}")
    hidden = {note.get("id") for note in tree.iter("note") if note.get("print-object") == "no"}
    toolkit = _toolkit(width_mm, staff_mm)
    toolkit.setOptions(
        {
            "mnumInterval": 0 if bar_numbers else 100_000,
            "minLastJustification": 0.0 if full_width else 0.7,
            "breaks": "encoded" if own_breaks else "auto",
        }
    )
    if not toolkit.loadData(tostring(tree, encoding="unicode")):
        raise ScoreFileError(f"{label}: the music could not be drawn; export the file again")
    systems: list[System] = []
    drawn: set[str] = set()
    for page in range(1, toolkit.getPageCount() + 1):
        svg = toolkit.renderToSVG(page)
        drawn.update(_NOTE_ID.findall(svg))
        systems.append(_system(svg))
    missing = [note for note in score.notes if note.id not in drawn and note.id not in hidden]
    if missing:
        bars_missing = list(dict.fromkeys(score.bars[note.bar].number for note in missing))
        raise ScoreFileError(
            f"{label}, bar {', '.join(bars_missing[:8])}: {len(missing)} of {len(score.notes)} "
            "notes would be missing in print; simplify these bars in the notation program and "
            "export again"
        )
    return Engraving(tuple(systems), tuple(bar.number for bar in score.bars), len(score.notes))


def _toolkit(width_mm: float, staff_mm: float) -> verovio.toolkit:
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    unit = staff_mm * 10 / STAFF_UNITS
    toolkit.setOptions(
        {
            "inputFrom": "musicxml",
            "font": MUSIC_FONT,
            "mmOutput": True,
            "scale": 100,
            "unit": unit,
            "pageWidth": int(width_mm * 10),
            "pageHeight": 100,  # too low for two systems: every system is a page
            "adjustPageHeight": True,
            "pageMarginTop": 0,
            "pageMarginBottom": 0,
            "pageMarginLeft": 30,  # room for the bar number, which stands over the clef
            "pageMarginRight": 0,
            "header": "none",
            "footer": "none",
            "spacingNonLinear": 0.6,
            "spacingLinear": 0.25,
            "smuflTextFont": "none",
            "xmlIdSeed": 1,
        }
    )
    return toolkit


def _system(svg: str) -> System:
    size = _SIZE.search(svg)
    assert size is not None
    bars = [int(name[3:]) for name in _MEASURE.findall(svg)]
    svg = svg.replace('font-family="Times,serif"', f'font-family="{TEXT_FONT}"')
    return System(
        svg,
        float(size.group(1)),
        float(size.group(2)),
        min(bars, default=0),
        max(bars, default=0),
    )
