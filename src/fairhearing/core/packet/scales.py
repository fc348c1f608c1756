"""Scale sheets: what the student reads, with the concert name beside it.

Conventions: a key is its number on the line of fifths (C 0, F −1, G 1). Written key = concert key
+ :func:`written_shift`. The chromatic scale rises in sharps and falls in flats. A scale starts
on the tonic that lies nearest to the middle of the player's range and stays inside the *scale
range*, which is wider than a beginner's because an octave of every key must fit in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal
from xml.etree.ElementTree import Element, SubElement

from fairhearing.core.errors import TableError
from fairhearing.core.packet.instruments import Instrument
from fairhearing.core.packet.notating import DIVISIONS, Written, beam, new_tree, note_elements
from fairhearing.core.packet.score import STEPS, Spelling
from fairhearing.core.packet.transposing import key_shift, spelled, write_accidentals

Mode = Literal["major", "natural minor", "harmonic minor", "melodic minor"]
MODES: tuple[Mode, ...] = ("major", "natural minor", "harmonic minor", "melodic minor")

# Concert keys by level. Beginner: the four keys of Georgia's published middle-school requirement;
# advanced: all twelve, as in Florida's published high-school requirement. Intermediate: chosen
# here between the two. A director's packet.toml may name others.
CONCERT_KEYS = {
    "beginner": (-1, -2, -3, -4),
    "intermediate": (0, -1, -2, -3, -4, -5, 1, 2),
    "advanced": (0, -1, -2, -3, -4, -5, -6, 5, 4, 3, 2, 1),
}
OCTAVES = {"beginner": 1, "intermediate": 1, "advanced": 2}
CHROMATIC_BREAK = 12
BARS_A_LINE = 2

_NAMES = {
    -7: "Cb", -6: "Gb", -5: "Db", -4: "Ab", -3: "Eb", -2: "Bb", -1: "F", 0: "C",
    1: "G", 2: "D", 3: "A", 4: "E", 5: "B", 6: "F#", 7: "C#", 8: "G#", 9: "D#", 10: "A#",
}  # fmt: skip
_FIFTHS_BY_NAME = {name: fifths for fifths, name in _NAMES.items()}
_EIGHTH = Fraction(1, 2)


@dataclass(frozen=True, slots=True, eq=False)
class ScaleLine:
    """One scale on a sheet.

    Attributes
    ----------
    kind : str
        "chromatic" or a mode.
    tonic, concert_tonic : str
        For example "D" and "C" on a trumpet; "" for the chromatic scale.
    octaves : int
    spellings : tuple of Spelling
        Written notes in playing order.
    tree : Element
        MusicXML of this line.
    """

    kind: str
    tonic: str
    concert_tonic: str
    octaves: int
    spellings: tuple[Spelling, ...]
    tree: Element


def scale_range(instrument: Instrument, level: str) -> tuple[int, int]:
    """Return the written range within which scales are printed.

    The table's own scale range, or else the level's range joined with the intermediate one.
    """
    if instrument.scale_range is not None:
        return instrument.scale_range
    ranges = [instrument.ranges[name] for name in (level, "intermediate")]
    return min(low for low, _ in ranges), max(high for _, high in ranges)


def written_shift(instrument: Instrument) -> int:
    """Return what to add to a concert key on the line of fifths to get the written key."""
    return key_shift(-instrument.sounding_minus_written, [0])


def parse_key(name: str) -> int:
    """Return the place of a major key such as ``"Bb"`` or ``"F#"`` on the line of fifths.

    Raises
    ------
    TableError
        If it is not the name of a key.
    """
    plain = name.strip().replace("♭", "b").replace("♯", "#")
    plain = plain.replace("-flat", "b").replace("-sharp", "#")
    plain = plain[:1].upper() + plain[1:]
    if plain not in _FIFTHS_BY_NAME or abs(_FIFTHS_BY_NAME[plain]) > 7:
        raise TableError(f'"{name}" is not a key; write it like "Bb" or "F#"')
    return _FIFTHS_BY_NAME[plain]


def chromatic_line(instrument: Instrument, level: str) -> ScaleLine:
    """Return the chromatic scale through the level's range and back."""
    low, high = instrument.ranges[level]
    up = [_chromatic_spelling(midi, sharps=True) for midi in range(low, high + 1)]
    down = [_chromatic_spelling(midi, sharps=False) for midi in range(high - 1, low - 1, -1)]
    up[0] = down[-1]  # the scale ends on the note it began with, under one name
    tree, part = new_tree()
    bars = [*_chunks(up), *_chunks(down)]
    for index, bar in enumerate(bars):
        last = index == len(bars) - 1
        measure = _bar(part, bar, 0, instrument, final=last, first=index == 0)
        if index and index % BARS_A_LINE == 0:
            measure.insert(0, Element("print", {"new-system": "yes"}))
        if not last:
            barline = SubElement(measure, "barline", {"location": "right"})
            SubElement(barline, "bar-style").text = "none"
    write_accidentals(part, courtesy=False)
    return ScaleLine("chromatic", "", "", 0, (*up, *down), tree)


def scale_line(
    instrument: Instrument, level: str, concert_key: int, mode: Mode = "major", octaves: int = 1
) -> ScaleLine:
    """Return one scale up and down, as written for the instrument.

    Parameters
    ----------
    instrument : Instrument
    level : str
    concert_key : int
        The concert tonic's *major* key on the line of fifths (B-flat: −2), also for minor scales.
    mode : str
    octaves : int
        At most; fewer where the scale range does not hold them.

    Raises
    ------
    TableError
        If not even one octave fits the scale range.
    """
    fifths = concert_key + written_shift(instrument)
    signature = fifths - (0 if mode == "major" else 3)
    sharps = concert_key > 0  # six signs: sharps in sharp keys, flats in flat keys
    while signature < -6 or (signature == -6 and sharps):
        fifths, signature = fifths + 12, signature + 12
    while signature > 6 or (signature == 6 and not sharps):
        fifths, signature = fifths - 12, signature - 12
    low, high = scale_range(instrument, level)
    tonic_class = (7 * fifths) % 12
    fitting = [
        (tonic, count)
        for count in range(octaves, 0, -1)
        for tonic in range(low, high + 1)
        if tonic % 12 == tonic_class and tonic + 12 * count <= high
    ]
    if not fitting:
        raise TableError(
            f"no octave of {_NAMES[fifths]} fits the {level} range of {instrument.name}; "
            "widen its ranges in the instrument table"
        )
    most = fitting[0][1]
    level_low, level_high = instrument.ranges[level]
    middle = (level_low + level_high) / 2
    start = min(
        (tonic for tonic, count in fitting if count == most),
        key=lambda tonic: abs(tonic + 6 * most - middle),
    )
    spellings = _scale_spellings(fifths, start, mode, most)
    tree, part = new_tree()
    _bar(part, spellings, signature, instrument, final=True, first=True)
    write_accidentals(part, courtesy=False)
    return ScaleLine(mode, _NAMES[fifths], _concert_name(concert_key), most, spellings, tree)


def sheet_lines(
    instrument: Instrument,
    level: str,
    *,
    chromatic: bool = True,
    concert_keys: Sequence[int] | None = None,
    modes: Iterable[Mode] = ("major",),
    octaves: int | None = None,
) -> tuple[ScaleLine, ...]:
    """Return everything on an instrument's scale sheet, in order.

    Raises
    ------
    TableError
        If the instrument has no ranges (drums) or a scale does not fit.
    """
    if level not in instrument.ranges:
        raise TableError(f"{instrument.name} plays no scales: its table has no {level} range")
    keys = CONCERT_KEYS[level] if concert_keys is None else concert_keys
    most = OCTAVES[level] if octaves is None else octaves
    lines = [chromatic_line(instrument, level)] if chromatic else []
    lines.extend(scale_line(instrument, level, key, mode, most) for mode in modes for key in keys)
    return tuple(lines)


def _concert_name(fifths: int) -> str:
    while fifths > 5:
        fifths -= 12
    while fifths < -6:
        fifths += 12
    return _NAMES[fifths]


def _chromatic_spelling(midi: int, *, sharps: bool) -> Spelling:
    places = range(-1, 11) if sharps else range(-6, 6)
    fifths = next(place for place in places if (7 * place) % 12 == midi % 12)
    return spelled(fifths, Fraction(midi))


def _chunks(notes: list[Spelling]) -> list[list[Spelling]]:
    """Break at about twelve notes, the last bar never shorter than half of that."""
    count = max(1, round(len(notes) / CHROMATIC_BREAK))
    size, extra = divmod(len(notes), count)
    bars, at = [], 0
    for index in range(count):
        width = size + (1 if index < extra else 0)
        bars.append(notes[at : at + width])
        at += width
    return bars


def _scale_spellings(fifths: int, start: int, mode: Mode, octaves: int) -> tuple[Spelling, ...]:
    up_steps = {
        "major": (0, 2, 4, -1, 1, 3, 5),
        "natural minor": (0, 2, -3, -1, 1, -4, -2),
        "harmonic minor": (0, 2, -3, -1, 1, -4, 5),
        "melodic minor": (0, 2, -3, -1, 1, 3, 5),
    }
    down_mode: Mode = "natural minor" if mode == "melodic minor" else mode
    tonic = spelled(fifths, Fraction(start))

    def run(offsets: tuple[int, ...]) -> list[Spelling]:
        notes = []
        for octave in range(octaves):
            for place, offset in enumerate(offsets):
                step_index = STEPS.index(tonic.step) + place
                wanted = STEPS[step_index % 7]
                semitones = (7 * offset) % 12
                note = spelled(fifths + offset, Fraction(start + 12 * octave + semitones))
                assert note.step == wanted, (note, wanted)
                notes.append(note)
        return [*notes, spelled(fifths, Fraction(start + 12 * octaves))]

    down = run(up_steps[down_mode])[:-1][::-1]
    return (*run(up_steps[mode]), *down)


def _bar(
    part: Element,
    spellings: Sequence[Spelling],
    signature: int,
    instrument: Instrument,
    *,
    final: bool,
    first: bool,
) -> Element:
    number = str(len(part.findall("measure")) + 1)
    measure = SubElement(part, "measure", {"number": number, "implicit": "yes"})
    if first:
        attributes = SubElement(measure, "attributes")
        SubElement(attributes, "divisions").text = str(DIVISIONS)
        SubElement(SubElement(attributes, "key"), "fifths").text = str(signature)
        clef = SubElement(attributes, "clef")
        SubElement(clef, "sign").text = "F" if instrument.clef == "bass" else "G"
        SubElement(clef, "line").text = "4" if instrument.clef == "bass" else "2"
    run: list[Element] = []
    for index, spelling in enumerate(spellings):
        last = final and index == len(spellings) - 1
        length = Fraction(2) if last else _EIGHTH
        elements = note_elements(Written(length, (spelling,)))
        measure.extend(elements)
        if last or len(run) == 4:
            beam(run)
            run = []
        if not last:
            run.extend(elements)
    beam(run)
    if final:
        barline = SubElement(measure, "barline", {"location": "right"})
        SubElement(barline, "bar-style").text = "light-heavy"
    return measure
