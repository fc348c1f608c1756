"""The snare drummer's sheet: rudiments with their sticking.

Conventions: one rudiment a line, strokes without pitch, R and L under the notes, a grace note as
"r" or "l" before its stroke. The names are those of the published list of international drum
rudiments (Percussive Arts Society, forty rudiments); the choice by level is ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from fairhearing.core.packet.instruments import LEVELS
from fairhearing.core.packet.notating import DIVISIONS, beam, new_tree

# Each stroke: hand, with ">" accented; small letters before it are its grace notes. A group of
# strokes is beamed; "|" separates groups. Lengths in quarters of one stroke.
_RUDIMENTS: tuple[tuple[str, str, str, Fraction, str], ...] = (
    ("beginner", "single stroke roll", "redoble de un golpe",
     Fraction(1, 4), "R L R L|R L R L|R L R L|R L R L"),
    ("beginner", "double stroke roll", "redoble de dos golpes",
     Fraction(1, 4), "R R L L|R R L L|R R L L|R R L L"),
    ("beginner", "single paradiddle", "paradiddle simple",
     Fraction(1, 4), ">R L R R|>L R L L|>R L R R|>L R L L"),
    ("beginner", "flam", "flam",
     Fraction(1, 1), "lR|rL|lR|rL"),
    ("intermediate", "flam tap", "flam tap",
     Fraction(1, 2), "l>R R|r>L L|l>R R|r>L L"),
    ("intermediate", "drag", "drag",
     Fraction(1, 1), "llR|rrL|llR|rrL"),
    ("intermediate", "double paradiddle", "paradiddle doble",
     Fraction(1, 4), ">R L >R L R R|>L R >L R L L"),
    ("advanced", "flamacue", "flamacue",
     Fraction(1, 4), "lR >L R L|lR|rL >R L R|rL"),
    ("advanced", "single drag tap", "drag tap simple",
     Fraction(1, 2), "llR >L|rrL >R|llR >L|rrL >R"),
    ("advanced", "single paradiddle-diddle", "paradiddle-diddle simple",
     Fraction(1, 4), ">R L R R L L|>R L R R L L|>L R L L R R|>L R L L R R"),
)  # fmt: skip
_TYPES = {Fraction(1): "quarter", Fraction(1, 2): "eighth", Fraction(1, 4): "16th"}


@dataclass(frozen=True, slots=True, eq=False)
class RudimentLine:
    """One rudiment: its names by language, the sticking as text, its MusicXML."""

    names: dict[str, str]
    sticking: str
    tree: Element


def rudiment_lines(level: str) -> tuple[RudimentLine, ...]:
    """Return the rudiments up to a level, in order."""
    lines = []
    for own_level, english, spanish, length, strokes in _RUDIMENTS:
        if LEVELS.index(own_level) <= LEVELS.index(level):
            tree = _tree(strokes, length)
            sticking = " ".join(c for c in strokes if c in "RL")
            lines.append(RudimentLine({"en": english, "es": spanish}, sticking, tree))
    return tuple(lines)


def _tree(strokes: str, length: Fraction) -> Element:
    tree, part = new_tree()
    measure = SubElement(part, "measure", {"number": "1", "implicit": "yes"})
    attributes = SubElement(measure, "attributes")
    SubElement(attributes, "divisions").text = str(DIVISIONS)
    clef = SubElement(attributes, "clef")
    SubElement(clef, "sign").text = "percussion"
    for group in strokes.split("|"):
        single = len(group.split()) == 1
        heads = []
        for stroke in group.split():
            for hand in stroke:
                if hand in "rl":
                    measure.append(_note(Fraction(0), hand.upper(), accent=False))
            note = _note(Fraction(1) if single else length, stroke[-1], accent=">" in stroke)
            measure.append(note)
            heads.append(note)
        beam(heads)
    barline = SubElement(measure, "barline", {"location": "right"})
    SubElement(barline, "bar-style").text = "light-heavy"
    return tree


def _note(length: Fraction, hand: str, *, accent: bool) -> Element:
    note = Element("note")
    if not length:
        SubElement(note, "grace", {"slash": "yes"})
    place = SubElement(note, "unpitched")
    SubElement(place, "display-step").text = "C"
    SubElement(place, "display-octave").text = "5"
    if length:
        SubElement(note, "duration").text = str(int(length * DIVISIONS))
    SubElement(note, "voice").text = "1"
    SubElement(note, "type").text = _TYPES[length] if length else "16th"
    SubElement(note, "stem").text = "up"
    if accent:
        SubElement(
            SubElement(SubElement(note, "notations"), "articulations"),
            "accent",
            {"placement": "above"},
        )
    lyric = SubElement(note, "lyric")
    SubElement(lyric, "syllabic").text = "single"
    SubElement(lyric, "text").text = hand if length else hand.lower()
    return note
