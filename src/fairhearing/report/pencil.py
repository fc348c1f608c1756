"""The part as a musician marks it: the engraved notes in ink, what was heard in pencil.

Notes stay as printed; a ring, an arrow, a caret, a question mark, a plus, a wavy line each have
one meaning (:data:`fairhearing.report.pencil_marks.MEANINGS`). Below every system a ribbon shows
the tempo. Everything that has a place in the take carries it as ``data-t`` in seconds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, register_namespace, tostring

from fairhearing.core.packet.engraving import Engraving, engrave
from fairhearing.core.packet.musicxml_reading import score_from_tree
from fairhearing.core.packet.parts import source_tree
from fairhearing.core.packet.score import ScoreNote as Printed
from fairhearing.core.playing.alignment import (
    Alignment,
    BarSummary,
    NoteResult,
    Outcome,
    Score,
    TempoPoint,
)
from fairhearing.report import pencil_marks as marks
from fairhearing.report.engraved import SVG, Box, Page, Place, read_system
from fairhearing.report.words import clock, note_name

WIDTH_MM = 170.0
SHARP_FROM_CENTS = 25.0
"""Smaller deviations say nothing about a student in a room (measured: up to 37 cents of error)."""
TEMPO_MOVES_FROM = 0.08
"""A bar this much faster or slower than the piece as a whole gets a wavy line."""

_MARGIN = 250.0
_ABOVE, _BELOW, _RIBBON = 420.0, 420.0, 420.0
_RIBBON_RANGE = 0.2

_STYLE = """
:root.marked-part{color-scheme:light dark}
.marked-part{color:var(--ink,light-dark(#1e1a16,#eee8dc))}
.marked-part .pencil{fill:none;stroke:var(--pencil,light-dark(#54514c,#cbc5ba));stroke-width:30;
stroke-linecap:round;stroke-linejoin:round}
.marked-part{fill:currentColor}
.marked-part text{fill:currentColor;font-family:var(--head,Georgia,serif)}
.marked-part .staff-line{stroke:var(--quiet,light-dark(#62594d,#b7ac9c))}
.marked-part text.word{fill:var(--pencil,light-dark(#54514c,#cbc5ba));
font:italic 260px var(--head,Georgia,serif)}
.marked-part text.faint{fill:var(--quiet,light-dark(#62594d,#b7ac9c));
font:200px var(--work,system-ui,sans-serif)}
.marked-part .hair{fill:none;stroke:var(--hair,light-dark(#d8cebd,#40392f));stroke-width:12}
.marked-part .ribbon{fill:var(--wash,light-dark(#f2e8ee,#36252f));stroke:none}
.marked-part .before{fill:none;stroke:var(--quiet,light-dark(#62594d,#b7ac9c));stroke-width:12}
.marked-part .pace{fill:none;stroke:var(--accent,light-dark(#5a294d,#d6aac8));stroke-width:24;
stroke-linejoin:round}
.marked-part [data-t]{cursor:pointer}
"""

register_namespace("", SVG)


@dataclass(frozen=True, slots=True)
class _Context:
    """What every system is drawn from."""

    score: Score
    alignment: Alignment
    note_ids: Sequence[str | None]
    written_minus_sounding: int


def pencil_from_file(
    path: Path | str, score: Score, alignment: Alignment, *, name: str = "part"
) -> str:
    """Engrave the first part of a score file and mark it.

    Parameters
    ----------
    path : Path or str
        MusicXML or MIDI, the file that `score` was read from.
    score, alignment
        What was compared, and the result.
    name : str
        Makes ids unique when several parts stand in one page ("etude", "honors").

    Raises
    ------
    ScoreFileError
        If the file cannot be read or drawn.
    """
    tree = _first_part(source_tree(path))
    printed = score_from_tree(tree, Path(path).name)
    engraving = engrave(tree, width_mm=WIDTH_MM, label=Path(path).name)
    return pencil_svg(
        score,
        alignment,
        engraving,
        match_printed(score, printed.notes),
        written_minus_sounding=-printed.parts[0].sounding_minus_written,
        name=name,
    )


def match_printed(score: Score, printed: Sequence[Printed]) -> list[str | None]:
    """Find the engraved note of each score note: same pitch, nearest onset, each once.

    Returns
    -------
    list of str or None
        Ids in the order of ``score.notes``; None for a note that is not in the picture.
    """
    free = list(printed)
    ids: list[str | None] = []
    for note in score.notes:
        fits = [
            (abs(one.onset - note.onset), one.grace != note.grace, k)
            for k, one in enumerate(free)
            if note.midi is None or one.sounding == note.midi
        ]
        nearest = min(fits, default=None)
        if nearest is None or nearest[0] > 0.25:
            ids.append(None)
        else:
            ids.append(free.pop(nearest[2]).id)
    return ids


def pencil_svg(
    score: Score,
    alignment: Alignment,
    engraving: Engraving,
    note_ids: Sequence[str | None],
    *,
    written_minus_sounding: int = 0,
    name: str = "part",
) -> str:
    """Draw the marks into an engraved part.

    Parameters
    ----------
    score, alignment
        What was compared, and the result.
    engraving : Engraving
        The part as pictures.
    note_ids : sequence of str or None
        The engraved note of each score note.
    written_minus_sounding : int
        Semitones from the sounding to the written note, for the names of other notes heard.
    name : str
        Makes ids unique in a page.

    Returns
    -------
    str
        One self-contained SVG; colours follow the page's custom properties when it has them.
    """
    context = _Context(score, alignment, note_ids, written_minus_sounding)
    pages = [read_system(system, prefix=name) for system in engraving.systems]
    root = Element(f"{{{SVG}}}svg", {"class": "marked-part", "role": "img"})
    SubElement(root, f"{{{SVG}}}title").text = _title(alignment)
    SubElement(root, f"{{{SVG}}}style").text = _STYLE
    glyphs = {key: glyph for page in pages for key, glyph in page.glyphs.items()}
    SubElement(root, f"{{{SVG}}}defs").extend(glyphs[key] for key in sorted(glyphs))
    y, used = 0.0, set[str]()
    drawn: list[str] = []
    for page in pages:
        _label_notes(page, context)
        system = _System(page, context, used)
        drawn.append(system.markup())
        y += system.above()
        group = SubElement(root, f"{{{SVG}}}g", {"transform": f"translate(0 {y:.0f})"})
        group.append(page.drawing)
        # Inside the drawing, whose own margins thus hold for the marks too.
        SubElement(page.drawing, f"{{{SVG}}}g").text = f"MARKS{len(drawn) - 1}"
        y += page.height + _BELOW + _RIBBON + 260
    key, key_height = _key(used, y + 160)
    width = max((page.width for page in pages), default=17000.0)
    root.set("viewBox", f"{-_MARGIN:.0f} 0 {width + _MARGIN + 60:.0f} {y + key_height:.0f}")
    svg = tostring(root, encoding="unicode", short_empty_elements=True)
    for k, markup in enumerate(drawn):
        svg = svg.replace(f">MARKS{k}<", f">{markup}<", 1)
    return svg.removesuffix("</svg>") + key + "</svg>"


def _first_part(tree: Element) -> Element:
    """Keep the first part of a tree only, the student's, without its name in the margin."""
    for part in tree.findall("part")[1:]:
        tree.remove(part)
    names = tree.find("part-list")
    if names is not None:
        for entry in names.findall("score-part")[1:]:
            names.remove(entry)
        for entry in names.findall("part-group"):
            names.remove(entry)
        for entry in names.iter("score-part"):
            for label in entry:
                if label.tag in ("part-name", "part-abbreviation"):
                    label.text = ""
            for shown in ("part-name-display", "part-abbreviation-display"):
                for label in entry.findall(shown):
                    entry.remove(label)
    return tree


def _title(alignment: Alignment) -> str:
    """What someone hears who cannot see the picture."""
    if not alignment.recognised:
        return " ".join(alignment.says)
    count = alignment.count
    return (
        f"The part with pencil marks: {count(Outcome.RIGHT)} notes as written, "
        f"{count(Outcome.WRONG)} wrong, {count(Outcome.MISSED)} not heard, "
        f"{count(Outcome.NOT_SURE)} not sure."
    )


def _label_notes(page: Page, context: _Context) -> None:
    """Give every engraved note its second in the take, and a title where it is marked."""
    at: dict[str, NoteResult] = {}
    for result in context.alignment.results:
        name = context.note_ids[result.score_index]
        if name is not None and (name not in at or result.round == 1):
            at[name] = result
    for name, group in page.groups.items():
        found = at.get(name)
        if found is not None and found.onset_s is not None:
            group.set("data-t", f"{found.onset_s:.3f}")


class _System:
    """Writes the marks of one system; remembers which shapes were used."""

    def __init__(self, page: Page, context: _Context, used: set[str]) -> None:
        self.page = page
        self.context = context
        self.used = used
        self.parts: list[str] = []
        self.top = page.staff[0]
        self.bottom = page.staff[1]
        self.lane_below = page.height + 150.0
        self.taken: list[Box] = list(page.taken)

    def markup(self) -> str:
        left_out = self._left_out()
        for result in self.context.alignment.results:
            if result.score_index not in left_out:
                self._note(result)
        self._extras()
        self._restarts()
        self._tempo_words()
        self._ribbon()
        return "".join(self.parts)

    def above(self) -> float:
        """How much room the marks need over the system."""
        return max(_ABOVE, 80 - min((box[1] for box in self.taken), default=0.0))

    def _use(self, shape: str, *parts: str, says: str, at_s: float | None = None) -> None:
        self.used.add(shape)
        self.parts.append(marks.titled(says, *parts, at_s=at_s))

    def _room(self, x: float, y: float, *, half: float, height: float, way: int) -> float:
        """Find room for a mark that ends at (x, y), further up (−1) or down (+1) if need be."""
        for _ in range(60):
            top, bottom = (y - height, y) if way < 0 else (y, y + height)
            box = (x - half, top, x + half, bottom)
            if not any(_overlap(box, other) for other in self.taken):
                break
            y += way * 45
        self.taken.append(box)
        return y

    def _place(self, score_index: int) -> Place | None:
        name = self.context.note_ids[score_index]
        return None if name is None else self.page.notes.get(name)

    def _note(self, result: NoteResult) -> None:
        place = self._place(result.score_index)
        if place is None:
            return
        high, low = min(self.top, place.top) - 110, max(self.bottom, place.bottom) + 80
        again = f" (time {result.round})" if result.round > 1 else ""
        says = (result.reason or "") + again
        if result.outcome is Outcome.WRONG:
            name = self._heard_name(result)
            y = self._room(place.x, high, half=150, height=220, way=-1)
            self._use(
                "ring",
                marks.ring(place.x, place.y),
                marks.word(place.x, y, name, middle=True),
                says=f"{says} Heard: {name}.",
                at_s=result.onset_s,
            )
        elif result.outcome is Outcome.NOT_SURE:
            y = self._room(place.x, high, half=80, height=270, way=-1)
            self._use("question", marks.question(place.x, y), says=says, at_s=result.onset_s)
        elif result.outcome is Outcome.MISSED:
            y = self._room(place.x, high, half=90, height=190, way=-1)
            self._use("caret", marks.caret(place.x, y), says=says, at_s=result.onset_s)
        elif result.cents_off is not None and abs(result.cents_off) >= SHARP_FROM_CENTS:
            up = result.cents_off > 0
            way = "sharp" if up else "flat"
            y = self._room(place.x, low, half=70, height=230, way=1)
            self._use(
                "arrow",
                marks.arrow(place.x, y + 110, up=up),
                says=f"About {abs(result.cents_off):.0f} cents {way} in this take{again}.",
                at_s=result.onset_s,
            )

    def _heard_name(self, result: NoteResult) -> str:
        if result.heard_midi is None:
            return ""
        midi = result.heard_midi - self.context.alignment.shift
        return note_name(midi + self.context.written_minus_sounding, octave=False)

    def _left_out(self) -> set[int]:
        """Bracket whole bars that were left out or never reached; their notes need no caret."""
        alignment, gone = self.context.alignment, set[int]()
        bars = {
            b.bar for b in alignment.bars if b.missed and not (b.right or b.wrong or b.not_sure)
        }
        for result in alignment.results:
            if result.bar in bars:
                gone.add(result.score_index)
        for run in _runs(sorted(bars & self.page.bars.keys())):
            left, right = self.page.bars[run[0]][0] + 60, self.page.bars[run[-1]][1] - 60
            y = self._room(
                (left + right) / 2, self.top - 90, half=(right - left) / 2, height=400, way=-1
            )
            y -= 110
            self._use(
                "bracket",
                marks.bracket(left, right, y),
                marks.word((left + right) / 2, y - 60, "not played", middle=True),
                says="These bars were not heard.",
            )
        return gone

    def _extras(self) -> None:
        """A plus between the notes around an extra one."""
        places = {
            note: place
            for note, written in self.context.alignment.pairs
            if (place := self._place(written)) is not None
        }
        for extra in self.context.alignment.extras:
            before = [note for note in places if note < extra.note_index]
            if not extra.sure or not before:
                continue
            last = places[max(before)]
            edge = self.page.bars.get(extra.bar)
            after = [p.x for p in places.values() if p.x > last.x + 1]
            if edge is None or not edge[0] <= last.x <= edge[1]:
                continue
            x = (last.x + min([*after, edge[1]])) / 2
            y = self._room(x, self.top - 110, half=90, height=170, way=-1)
            self._use(
                "plus",
                marks.plus(x, y - 85),
                says="A note was heard that is not on the page.",
                at_s=extra.onset_s,
            )

    def _restarts(self) -> None:
        for restart in self.context.alignment.restarts:
            broke, again = self._place(restart.from_index), self._place(restart.to_index)
            when = clock(restart.at_s)
            if broke is not None:
                self._use(
                    "strokes",
                    marks.strokes(broke.x + 180, self.top),
                    says=f"Broke off here; went on at {when}.",
                    at_s=restart.at_s,
                )
            if again is not None:
                y = self._room(
                    again.x + 320, min(self.top, again.top) - 40, half=330, height=380, way=-1
                )
                self._use(
                    "hook",
                    marks.hook(again.x, y),
                    marks.word(again.x + 300, y - 150, when),
                    says=f"Went on from here at {when}.",
                    at_s=restart.at_s,
                )

    def _tempo_words(self) -> None:
        """A wavy line under bars that are clearly faster or slower than the piece."""
        whole = self.context.alignment.tempo_bpm
        if not whole:
            return
        here = {bar.bar: bar for bar in self.context.alignment.bars if bar.bar in self.page.bars}

        def moves(bar: BarSummary) -> int:
            if bar.tempo_bpm is None:
                return 0
            change = bar.tempo_bpm / whole - 1
            return 0 if abs(change) < TEMPO_MOVES_FROM else 1 if change > 0 else -1

        for way, says in ((1, "moves ahead"), (-1, "holds back")):
            for run in _runs([number for number, bar in sorted(here.items()) if moves(bar) == way]):
                left, right = self.page.bars[run[0]][0] + 120, self.page.bars[run[-1]][1]
                # The words behind the wave stand under the last bar too.
                end = max(left + 600, right - 1700)
                tempi = [here[k].tempo_bpm for k in run]
                mean = sum(t for t in tempi if t) / len(run)
                self._use(
                    "wave",
                    marks.wave(left, end, self.lane_below),
                    marks.word(end + 110, self.lane_below + 60, says),
                    says=f"The tempo {says}: about {mean:.0f} a minute.",
                    at_s=here[run[0]].start_s,
                )

    def _ribbon(self) -> None:
        """The tempo along the system, around the tempo of the whole piece."""
        alignment, whole = self.context.alignment, self.context.alignment.tempo_bpm
        if not whole or not self.page.bars:
            return
        middle = self.lane_below + 200 + _RIBBON / 2
        at = self._beat_to_x()
        left = min(edge[0] for edge in self.page.bars.values())
        right = max(edge[1] for edge in self.page.bars.values())
        points = [
            (x, middle - _pace(point, whole) * _RIBBON / 2, point)
            for point in alignment.tempo
            if (x := at(point.beat)) is not None
        ]
        self.parts.append(f'<path class="hair" d="M{left:.0f} {middle:.0f}H{right:.0f}"/>')
        lines = _unbroken(points)
        for k, run in enumerate(lines):
            line = "L".join(f"{x:.0f} {y:.0f}" for x, y, _ in run)
            if any(
                later[0][0] < run[-1][0] and run[0][0] < later[-1][0] for later in lines[k + 1 :]
            ):
                self.parts.append(f'<path class="before" d="M{line}"/>')
                continue
            area = f"M{run[0][0]:.0f} {middle:.0f}L{line}L{run[-1][0]:.0f} {middle:.0f}z"
            self.parts.append(f'<path class="ribbon" d="{area}"/><path class="pace" d="M{line}"/>')
        start = min((point.at_s for _, _, point in points), default=None)
        label = f"♩ = {whole:.0f}" + ("" if start is None else f" · {clock(start)}")
        self.parts.append(
            f'<text class="faint" x="0" y="{middle + 290:.0f}">{escape(label)}</text>'
        )

    def _beat_to_x(self) -> Callable[[float], float | None]:
        """Places of the struck notes of this system, and straight lines between them."""
        known = sorted(
            (float(note.onset), place.x)
            for index, note in enumerate(self.context.score.notes)
            if not note.grace and (place := self._place(index)) is not None
        )

        def at(beat: float) -> float | None:
            for (b0, x0), (b1, x1) in pairwise(known):
                if b0 <= beat <= b1:
                    return x0 + (x1 - x0) * ((beat - b0) / (b1 - b0) if b1 > b0 else 0.0)
            return known[0][1] if len(known) == 1 and beat == known[0][0] else None

        return at


def _overlap(a: Box, b: Box) -> bool:
    """Whether two boxes touch."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _pace(point: TempoPoint, whole: float) -> float:
    """How far up the ribbon a tempo stands, −1 … 1."""
    return max(-1.0, min(1.0, (point.bpm / whole - 1) / _RIBBON_RANGE))


def _unbroken(
    points: Sequence[tuple[float, float, TempoPoint]],
) -> list[list[tuple[float, float, TempoPoint]]]:
    """Cut where the player went back or left something out."""
    runs: list[list[tuple[float, float, TempoPoint]]] = []
    for point in points:
        if runs and 0 <= point[0] - runs[-1][-1][0] < 4000:
            runs[-1].append(point)
        else:
            runs.append([point])
    return [run for run in runs if len(run) > 1]


def _runs(numbers: Sequence[int]) -> list[list[int]]:
    """Group consecutive numbers."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs


def _key(used: set[str], y: float) -> tuple[str, float]:
    """The meanings of the shapes that occur, in words, and how much room they take."""
    words = [f"{shape}: {says}" for shape, says in marks.MEANINGS.items() if shape in used]
    rows = [" · ".join(words[k : k + 4]) for k in range(0, len(words), 4)]
    text = "".join(
        f'<text class="faint" x="0" y="{y + 300 * k:.0f}">{escape(row)}</text>'
        for k, row in enumerate(rows)
    )
    return text, 300.0 * len(rows) + 60
