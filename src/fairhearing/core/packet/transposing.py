"""Transposing on the line of fifths, so that every note keeps its meaning in the new key.

Conventions: the line of fifths counts … F −1, C 0, G 1, D 2 … (a sharp adds 7, a flat takes 7
away). Transposing by an interval adds one number to every note and every key signature; the octave
follows from the sounding pitch. Accidentals are set afresh (:func:`write_accidentals`), courtesy
accidentals included: after a sign in the bar before, or in another octave of the same bar.
Source of the rule for courtesy accidentals: common practice, no single source.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from fairhearing.core.packet.score import STEP_SEMITONES, Spelling

_FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
_STEPS = "FCGDAEB"
_SIGNS = {0: "natural", 1: "sharp", -1: "flat", 2: "double-sharp", -2: "flat-flat"}
# What MusicXML allows to stand before <accidental> inside a note.
_BEFORE_ACCIDENTAL = {
    "grace", "cue", "chord", "pitch", "unpitched", "rest", "duration", "tie", "instrument",
    "footnote", "level", "voice", "type", "dot",
}  # fmt: skip


def fifths_of(spelling: Spelling) -> tuple[int, Fraction]:
    """Return the place on the line of fifths and what remains of a microtone."""
    whole = int(spelling.alter)
    return _FIFTHS[spelling.step] + 7 * whole, spelling.alter - whole


def spelled(fifths: int, exact_midi: Fraction, microtone: Fraction = Fraction(0)) -> Spelling:
    """Return the spelling at a place on the line of fifths that sounds `exact_midi`.

    Triple signs are respelled to the nearest plain name.
    """
    while fifths > 19:
        fifths -= 12
    while fifths < -15:
        fifths += 12
    sharps, place = divmod(fifths + 1, 7)
    step = _STEPS[place]
    alter = Fraction(sharps) + microtone
    octave = (exact_midi - alter - STEP_SEMITONES[step]) / 12 - 1
    if octave.denominator != 1:
        raise ValueError(f"{step} with {alter} never sounds {exact_midi}")
    return Spelling(step, alter, int(octave))


def key_shift(semitones: int, keys: Iterable[int]) -> int:
    """Return what to add on the line of fifths to transpose up by `semitones`.

    Of the enharmonic choices the one with the fewest signs in the worst of the `keys`; on a tie,
    flats, which band players read more (common practice, no source).
    """
    signatures = list(keys) or [0]
    base = (7 * semitones) % 12
    return min(
        (base, base - 12, base + 12, base - 24),
        key=lambda shift: (max(abs(key + shift) for key in signatures), shift + signatures[0] > 0),
    )


def transpose_spelling(spelling: Spelling, semitones: int, fifths_shift: int) -> Spelling:
    """Return `spelling` moved by `semitones`, named by the shift on the line of fifths."""
    fifths, microtone = fifths_of(spelling)
    return spelled(fifths + fifths_shift, spelling.exact_midi + semitones, microtone)


def transpose_part(part: Element, semitones: int, fifths_shift: int) -> None:
    """Transpose every pitch and key signature of a part element in place."""
    for pitch in part.iter("pitch"):
        moved = transpose_spelling(read_pitch(pitch), semitones, fifths_shift)
        write_pitch(pitch, moved)
    for fifths in part.iter("fifths"):
        fifths.text = str(int(fifths.text or "0") + fifths_shift)
    for key in part.iter("key"):
        for cancel in key.findall("cancel"):
            key.remove(cancel)


def read_pitch(pitch: Element) -> Spelling:
    """Return the spelling that a ``<pitch>`` element holds."""
    return Spelling(
        (pitch.findtext("step") or "C").strip().upper(),
        Fraction((pitch.findtext("alter") or "0").strip()),
        int((pitch.findtext("octave") or "4").strip()),
    )


def write_pitch(pitch: Element, spelling: Spelling) -> None:
    """Fill a ``<pitch>`` element."""
    for child in list(pitch):
        pitch.remove(child)
    SubElement(pitch, "step").text = spelling.step
    if spelling.alter:
        alter = spelling.alter
        SubElement(pitch, "alter").text = (
            str(int(alter)) if alter.denominator == 1 else f"{float(alter):g}"
        )
    SubElement(pitch, "octave").text = str(spelling.octave)


class _Signs:
    """Which signs a reader has in mind while reading on."""

    def __init__(self) -> None:
        self.key: dict[str, Fraction] = {}
        self.bar: dict[tuple[str, int], Fraction] = {}
        self.bar_before: dict[str, Fraction] = {}

    def set_key(self, fifths: int) -> None:
        order = _STEPS if fifths >= 0 else _STEPS[::-1]
        sign = Fraction(1 if fifths >= 0 else -1)
        rounds, extra = divmod(abs(fifths), 7)
        self.key = {
            step: sign * (rounds + (1 if place < extra else 0)) for place, step in enumerate(order)
        }

    def next_bar(self) -> None:
        self.bar_before = {}
        for (step, _), alter in self.bar.items():
            if alter != self.key.get(step, Fraction(0)):
                self.bar_before[step] = alter
        self.bar = {}

    def needed(self, spelling: Spelling) -> str:
        """Return "sign", "courtesy" or ""."""
        place = (spelling.step, spelling.octave)
        by_key = self.key.get(spelling.step, Fraction(0))
        if spelling.alter != self.bar.get(place, by_key):
            return "sign"
        if place in self.bar:
            return ""
        other_octave = any(
            step == spelling.step and alter != spelling.alter
            for (step, _), alter in self.bar.items()
        )
        changed_before = self.bar_before.get(spelling.step, spelling.alter) != spelling.alter
        return "courtesy" if other_octave or changed_before else ""


def write_accidentals(part: Element, *, courtesy: bool = True) -> None:
    """Set the accidentals of a part afresh, in place, by default with courtesy accidentals.

    A sign that the source shows in brackets or as cautionary stays.
    """
    signs = _Signs()
    signs.set_key(0)
    for bar in part.findall("measure"):
        signs.next_bar()
        for element in bar:
            if element.tag == "attributes":
                fifths = element.findtext("key/fifths")
                if fifths is not None:
                    signs.set_key(int(fifths))
            elif element.tag == "note" and element.find("pitch") is not None:
                _set_sign(element, signs, courtesy)


def _set_sign(note: Element, signs: _Signs, courtesy: bool) -> None:
    pitch = note.find("pitch")
    assert pitch is not None
    spelling = read_pitch(pitch)
    kept = False
    for old in note.findall("accidental"):
        kept = kept or "yes" in {
            old.get("cautionary"),
            old.get("parentheses"),
            old.get("editorial"),
        }
        note.remove(old)
    tied_over = any(tie.get("type") == "stop" for tie in note.findall("tie"))
    need = signs.needed(spelling)
    if need == "courtesy" and not courtesy:
        need = ""
    place = (spelling.step, spelling.octave)
    if tied_over:
        return  # a tied note repeats no sign, and the sign holds for the tied note only
    signs.bar[place] = spelling.alter
    name = _SIGNS.get(int(spelling.alter)) if spelling.alter.denominator == 1 else None
    if name is None or not (need or kept):
        return
    accidental = Element("accidental")
    accidental.text = name
    if need != "sign":
        accidental.set("cautionary", "yes")
        accidental.set("parentheses", "yes")
    after = sum(1 for child in note if child.tag in _BEFORE_ACCIDENTAL)
    note.insert(after, accidental)
