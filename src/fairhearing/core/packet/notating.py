"""Notes as numbers → MusicXML: for MIDI sources and for the scale sheets.

Conventions: lengths are quarter beats; one tick is 1/24 of a quarter. MIDI is rounded to
sixteenths or, beat by beat, to triplets; playing that is freer than that is refused with its bar,
because a guessed rhythm would be handed out to a whole band.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet.score import Bar, Score, Spelling
from fairhearing.core.packet.transposing import write_accidentals, write_pitch

DIVISIONS = 24
MAX_ROUNDING = Fraction(1, 9)

_VALUES: dict[Fraction, tuple[str, int]] = {
    Fraction(numerator, denominator): value
    for numerator, denominator, value in (
        (4, 1, ("whole", 0)), (3, 1, ("half", 1)), (2, 1, ("half", 0)),
        (3, 2, ("quarter", 1)), (1, 1, ("quarter", 0)),
        (3, 4, ("eighth", 1)), (1, 2, ("eighth", 0)), (1, 4, ("16th", 0)),
    )
}  # fmt: skip
_TRIPLETS = {
    Fraction(2, 3): "quarter",
    Fraction(1, 3): "eighth",
    Fraction(1, 6): "16th",
}
_FLAGS = {"eighth": 1, "16th": 2}


@dataclass(frozen=True, slots=True)
class Written:
    """A note (or, without spellings, a rest) to be written; ``pitches`` sound together."""

    length: Fraction
    pitches: tuple[Spelling, ...] = ()
    tie_start: bool = False
    tie_stop: bool = False


def new_tree(title: str = "") -> tuple[Element, Element]:
    """Return a one-part score and its empty part."""
    root = Element("score-partwise", {"version": "4.0"})
    if title:
        SubElement(SubElement(root, "work"), "work-title").text = title
    entry = SubElement(SubElement(root, "part-list"), "score-part", {"id": "P1"})
    SubElement(entry, "part-name").text = ""
    return root, SubElement(root, "part", {"id": "P1"})


def note_elements(written: Written) -> list[Element]:
    """Return the ``<note>`` elements of one note, chord or rest (no accidentals, no beams)."""
    elements = []
    for place, pitch in enumerate(written.pitches or (None,)):
        note = Element("note")
        if place:
            SubElement(note, "chord")
        if pitch is None:
            SubElement(note, "rest")
        else:
            write_pitch(SubElement(note, "pitch"), pitch)
        SubElement(note, "duration").text = str(int(written.length * DIVISIONS))
        for wanted, kind in ((written.tie_stop, "stop"), (written.tie_start, "start")):
            if wanted and pitch is not None:
                SubElement(note, "tie", {"type": kind})
        SubElement(note, "voice").text = "1"
        _value(note, written.length)
        if pitch is not None and (written.tie_start or written.tie_stop):
            notations = SubElement(note, "notations")
            for wanted, kind in ((written.tie_stop, "stop"), (written.tie_start, "start")):
                if wanted:
                    SubElement(notations, "tied", {"type": kind})
        elements.append(note)
    return elements


def _value(note: Element, length: Fraction) -> None:
    if length in _VALUES:
        name, dots = _VALUES[length]
        SubElement(note, "type").text = name
        for _ in range(dots):
            SubElement(note, "dot")
        return
    SubElement(note, "type").text = _TRIPLETS[length]
    ratio = SubElement(note, "time-modification")
    SubElement(ratio, "actual-notes").text = "3"
    SubElement(ratio, "normal-notes").text = "2"


def beam(notes: Sequence[Element]) -> None:
    """Beam a run of eighths and sixteenths together, in place (first note heads only)."""
    run = [note for note in notes if note.find("chord") is None]
    if len(run) < 2:
        return
    flags = [_FLAGS.get(note.findtext("type") or "", 0) for note in run]
    for level in (1, 2):
        for index, count in enumerate(flags):
            if count < level:
                continue
            before = index > 0 and flags[index - 1] >= level
            after = index + 1 < len(run) and flags[index + 1] >= level
            if not before and not after and level == 1:
                continue
            text = {
                (False, True): "begin",
                (True, True): "continue",
                (True, False): "end",
                (False, False): "backward hook" if index else "forward hook",
            }[before, after]
            element = Element("beam", {"number": str(level)})
            element.text = text
            place = sum(1 for child in run[index] if child.tag not in {"notations", "lyric"})
            run[index].insert(place, element)


def tree_from_score(score: Score, label: str) -> Element:
    """Notate a MIDI score of one part as MusicXML.

    Raises
    ------
    ScoreFileError
        Naming the bar, if the rhythm is not sixteenths or triplets, or has several parts.
    """
    if len(score.parts) != 1:
        raise ScoreFileError(
            f"{label}: the MIDI file has {len(score.parts)} parts; save the one that is meant"
        )
    if any(note.unpitched for note in score.notes):
        raise ScoreFileError(
            f"{label}: drum parts cannot be written out from MIDI; export MusicXML instead"
        )
    for note in score.notes:
        if note.grace:
            raise ScoreFileError(
                f"{label}, {score.where(note)}: a note without length (a grace note?) cannot be "
                "written down from MIDI; export MusicXML from the notation program instead"
            )
    spans = _rounded(score, label)
    root, part = new_tree(score.title)
    before: Bar | None = None
    for bar in score.bars:
        measure = SubElement(part, "measure", {"number": bar.number})
        _attributes(measure, bar, before)
        if before is None and score.tempo_marks:
            SubElement(measure, "sound", {"tempo": f"{score.tempo_marks[0].quarter_bpm:g}"})
        _fill(measure, bar, spans)
        before = bar
    write_accidentals(part)
    return root


Span = tuple[Fraction, Fraction, tuple[Spelling, ...]]


def _rounded(score: Score, label: str) -> list[Span]:
    """Round onsets and ends to the grid; notes struck together become chords."""
    chords: dict[Fraction, list[tuple[Fraction, Spelling]]] = {}
    for note in score.notes:
        onset = _to_grid(note.onset, score, label)
        assert note.spelling is not None
        end = max(_to_grid(note.onset + note.duration, score, label, free=True), onset)
        chords.setdefault(onset, []).append((end, note.spelling))
    onsets = sorted(chords)
    spans: list[Span] = []
    for index, onset in enumerate(onsets):
        end = max(end for end, _ in chords[onset])
        following = onsets[index + 1] if index + 1 < len(onsets) else None
        if following is not None and (end > following or following - end <= Fraction(1, 4)):
            end = following  # played a little short or a little over: written to the next note
        if end <= onset:
            end = onset + Fraction(1, 4)
        pitches = tuple(dict.fromkeys(spelling for _, spelling in chords[onset]))
        if len(pitches) != len(chords[onset]):
            raise ScoreFileError(
                f"{label}: two notes of the same pitch fall together at beat {float(onset):g}"
            )
        spans.append((onset, end, pitches))
    return spans


def _to_grid(position: Fraction, score: Score, label: str, free: bool = False) -> Fraction:
    beat = Fraction(position.numerator // position.denominator)
    inside = position - beat
    options = [Fraction(n, 4) for n in range(5)] + [Fraction(1, 3), Fraction(2, 3)]
    nearest = min(options, key=lambda option: abs(option - inside))
    if abs(nearest - inside) > MAX_ROUNDING and not free:
        bar = max((bar for bar in score.bars if bar.start <= position), key=lambda bar: bar.start)
        raise ScoreFileError(
            f"{label}, bar {bar.number}: the rhythm is too free to be written down; "
            "export MusicXML from the notation program instead"
        )
    return beat + nearest


def _attributes(measure: Element, bar: Bar, before: Bar | None) -> None:
    if before is not None and (before.key, before.time) == (bar.key, bar.time):
        return
    attributes = SubElement(measure, "attributes")
    if before is None:
        SubElement(attributes, "divisions").text = str(DIVISIONS)
    if before is None or before.key != bar.key:
        SubElement(SubElement(attributes, "key"), "fifths").text = str(bar.key.fifths or 0)
    if before is None or before.time != bar.time:
        time = SubElement(attributes, "time")
        SubElement(time, "beats").text = str(bar.time.beats)
        SubElement(time, "beat-type").text = str(bar.time.beat_type)


def _fill(measure: Element, bar: Bar, spans: Iterable[Span]) -> None:
    end_of_bar = bar.start + bar.length
    now = bar.start
    beats: dict[int, list[Element]] = {}
    inside = [span for span in spans if span[0] < end_of_bar and span[1] > bar.start]
    for onset, end, pitches in [*inside, (end_of_bar, end_of_bar, ())]:
        start = max(onset, bar.start)
        stretches: list[tuple[Fraction, Fraction, tuple[Spelling, ...], bool, bool]] = []
        if start > now:
            stretches.append((now, start, (), False, False))
        if pitches:
            stop = min(end, end_of_bar)
            stretches.append((start, stop, pitches, onset < bar.start, end > end_of_bar))
            now = stop
        for first, last, what, tied_from, tied_to in stretches:
            pieces = _pieces(first - bar.start, last - bar.start)
            for index, (at, length) in enumerate(pieces):
                written = Written(
                    length,
                    what,
                    tie_start=bool(what) and (tied_to or index + 1 < len(pieces)),
                    tie_stop=bool(what) and (tied_from or index > 0),
                )
                elements = note_elements(written)
                measure.extend(elements)
                if what and length < 1:
                    beats.setdefault(int(at), []).extend(elements)
    for run in beats.values():
        beam(run)
        _bracket_triplet(run)


def _pieces(start: Fraction, end: Fraction) -> list[tuple[Fraction, Fraction]]:
    """Split a stretch into note values, at the beats where one value does not do."""
    pieces: list[tuple[Fraction, Fraction]] = []
    while start < end:
        length = end - start
        next_beat = Fraction(int(start) + 1)
        on_beat = start.denominator == 1
        plain = (
            length in _VALUES
            and start.denominator in {1, 2, 4}
            and (on_beat or end <= next_beat or (start.denominator == 2 and length in {1, 2}))
        )
        if not plain and not (length in _TRIPLETS and end <= next_beat):
            if on_beat:
                length = max((v for v in _VALUES if v <= length), default=length)
                if (start + length) > next_beat and length not in {1, 2, 3, 4}:
                    length = Fraction(int(length))
            else:
                length = min(length, next_beat - start)
        if length not in _VALUES and length not in _TRIPLETS:
            length = Fraction(1, 12) if length < Fraction(1, 6) else Fraction(1, 6)
        pieces.append((start, length))
        start += length
    return pieces


def _bracket_triplet(run: Sequence[Element]) -> None:
    tuplet = [note for note in run if note.find("time-modification") is not None]
    heads = [note for note in tuplet if note.find("chord") is None]
    if len(heads) < 2:
        return
    for note, kind in ((heads[0], "start"), (heads[-1], "stop")):
        notations = note.find("notations")
        if notations is None:
            notations = SubElement(note, "notations")
        SubElement(
            notations, "tuplet", {"type": kind, "bracket": "yes" if kind == "start" else "no"}
        )
