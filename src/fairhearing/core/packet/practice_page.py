"""The practice page: one HTML file with the sound of every tempo, the music and a moving cursor.

Nothing is fetched: sound (mp3), pictures, style and script are inside, so that the file works from
a mail, a school's learning platform or a memory stick. It starts softly (35 on a scale to 100,
squared) and asks for moderate headphones.
"""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader
from markupsafe import Markup

from fairhearing.core.packet.engraving import MUSIC_FONT, engrave
from fairhearing.core.packet.fonts import music_font_for_text
from fairhearing.core.packet.parts import Part
from fairhearing.core.packet.timing import Timeline, beat_length
from fairhearing.core.packet.wording import Wording

_HERE = Path(__file__).parent
PAGE_WIDTH_MM = 190.0


@dataclass(frozen=True, slots=True, eq=False)
class PageTrack:
    """The music at one tempo, without clicks: mp3 bytes and where everything stands."""

    bpm: int
    mp3: bytes
    timeline: Timeline


def practice_page(
    part: Part,
    tracks: Sequence[PageTrack],
    wording: Wording,
    *,
    title: str,
    over: str,
    tuning_hz: float = 440.0,
) -> str:
    """Return the page as HTML text.

    Parameters
    ----------
    part : Part
    tracks : sequence of PageTrack
        One per tempo, slowest first.
    wording : Wording
    title, over : str
        The piece, and the line above it.
    tuning_hz : float
        Frequency of the tuning note.
    """
    systems = _systems(part, wording, title)
    instrument = part.instrument.names.get(wording.language, part.instrument.name)
    first = part.score.bars[0]
    per_bar = max(1, int(first.time.bar_length / beat_length(first))) if first.time.beats else 1
    bars = tracks[0].timeline.bars
    numbers = [part.score.bars[bar.bar].number for bar in bars]
    piece = {
        "tracks": [_timing(index, track, part) for index, track in enumerate(tracks)],
        "beats_in_bar": per_bar,
        "count_in": per_bar if per_bar >= 3 else 2 * per_bar,
        "tuning_hz": tuning_hz,
        "texts": {name: wording(name) for name in ("start", "pause", "bar_now", "count_in_now")},
    }
    page: str = _template().render(
        lang=wording.language,
        title=title,
        over=over,
        instrument=instrument[:1].upper() + instrument[1:],
        level=wording.level(part.level),
        t=wording.lines(),
        css=Markup(_font_face(systems) + (_HERE / "practice.css").read_text(encoding="utf-8")),
        js=Markup((_HERE / "practice.js").read_text(encoding="utf-8")),
        tracks=[
            {"bpm": track.bpm, "base64": base64.b64encode(track.mp3).decode("ascii")}
            for track in tracks
        ],
        bars=[{"index": index, "number": number} for index, number in enumerate(numbers)],
        tuning_name=f"{tuning_hz:g} Hz",
        systems=systems,
        piece=_json(piece),
    )
    return page


def _timing(index: int, track: PageTrack, part: Part) -> dict[str, Any]:
    """Return what the script needs: notes as (second, id, bar number), bars, clicks."""
    bars = part.score.bars
    return {
        "index": index,
        "bpm": track.bpm,
        "end": round(track.timeline.end_s, 4),
        "notes": [
            [round(timed.at_s, 4), timed.note.ids[0], bars[timed.note.bar].number]
            for timed in track.timeline.notes
        ],
        "bars": [
            [bars[bar.bar].number, round(bar.start_s, 4), round(bar.end_s, 4)]
            for bar in track.timeline.bars
        ],
        "clicks": [
            [round(click.at_s, 5), click.first]
            for click in track.timeline.clicks
            if not click.count_in
        ],
    }


def _systems(part: Part, wording: Wording, title: str) -> list[dict[str, Any]]:
    made = engrave(part.tree, width_mm=PAGE_WIDTH_MM, staff_mm=7.2)
    systems = []
    for system in made.systems:
        first, last = made.bar_numbers[system.first_bar], made.bar_numbers[system.last_bar]
        alt = wording("alt_bars", title=title, first=first, last=last)
        systems.append({"alt": alt, "svg": Markup(_inline(system.svg))})
    return systems


def _inline(svg: str) -> str:
    """Make a picture part of a page: no declaration, sized by the page, ink of the page."""
    svg = re.sub(r"<\?xml[^>]*\?>|<!DOCTYPE[^>]*>", "", svg)
    size = re.search(r'<svg[^>]*?width="([\d.]+)mm"[^>]*?height="([\d.]+)mm"', svg)
    assert size is not None
    head_end = svg.index(">")
    head = re.sub(r' (?:width|height)="[\d.]+mm"', "", svg[:head_end])
    if "viewBox" not in head:
        head += f' viewBox="0 0 {size.group(1)} {size.group(2)}"'
    return head + ' aria-hidden="true" focusable="false"' + svg[head_end:]


def _font_face(systems: Sequence[dict[str, Any]]) -> str:
    """Return the style that brings the music signs used in text (private-use characters)."""
    signs = "".join(
        sorted({c for system in systems for c in str(system["svg"]) if "\ue000" <= c <= "\uf8ff"})
    )
    if not signs:
        return ""
    packed = music_font_for_text(signs)
    return (
        f'@font-face {{ font-family: "{MUSIC_FONT}"; '
        f'src: url("data:font/woff2;base64,{packed}") format("woff2") }}\n'
    )


def _json(value: object) -> Markup:
    # "</script>" in a bar number must not end the script element.
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c"))


@cache
def _template() -> Any:
    environment = Environment(loader=FileSystemLoader(_HERE), autoescape=True)
    return environment.get_template("practice.html")
