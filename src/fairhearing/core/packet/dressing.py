"""The tree of a part: one part of a score, without its page layout, in a player's clef."""

from __future__ import annotations

import copy
from xml.etree.ElementTree import Element, SubElement

from fairhearing.core.packet.instruments import Instrument

_CLEF_SIGNS = {"treble": ("G", "2"), "bass": ("F", "4"), "percussion": ("percussion", "")}
_LAYOUT_TAGS = {"print", "defaults", "credit", "harmony", "figured-bass", "listening"}
_LAYOUT_ATTRIBUTES = {
    "default-x", "default-y", "relative-x", "relative-y", "width", "placement", "orientation",
    "bezier-x", "bezier-y", "font-family", "font-size", "color", "print-leger",
}  # fmt: skip
_OTHER_INSTRUMENTS_FINGERS = {"fingering", "string", "fret", "pluck", "open-string"}


def single_part(root: Element, index: int) -> Element:
    """Return a new tree with one part and nothing of the source's page layout."""
    part = copy.deepcopy(root.findall("part")[index])
    part.set("id", "P1")
    drums = part.find(".//unpitched") is not None
    concert = root.find("defaults/concert-score") is not None
    if index and part.find(".//metronome") is None:
        _lend_tempo(root.findall("part")[0], part)
    for parent in list(part.iter()):
        for attribute in _LAYOUT_ATTRIBUTES & set(parent.attrib):
            del parent.attrib[attribute]
        for child in list(parent):
            unwanted = (
                child.tag in _LAYOUT_TAGS
                or child.tag in {"stem", "measure-style"}
                or (concert and child.tag == "transpose")
                or (child.tag == "lyric" and not drums)
                or (child.tag in _OTHER_INSTRUMENTS_FINGERS and not drums)
                or (child.tag == "direction" and child.find(".//octave-shift") is not None)
            )
            if unwanted:
                parent.remove(child)
    tree = Element("score-partwise", {"version": "4.0"})
    entry = SubElement(SubElement(tree, "part-list"), "score-part", {"id": "P1"})
    SubElement(entry, "part-name").text = ""
    tree.append(part)
    return tree


def _lend_tempo(first: Element, part: Element) -> None:
    """Copy the tempo marks, which a full score prints over its first part only."""
    for source, target in zip(first.findall("measure"), part.findall("measure"), strict=False):
        for direction in source.findall("direction"):
            if direction.find(".//metronome") is not None:
                place = 1 if target.find("attributes") is not None else 0
                target.insert(place, copy.deepcopy(direction))


def dress(tree: Element, instrument: Instrument) -> None:
    """Give the part its clef and transposition, and take the source's away."""
    part = tree.find("part")
    assert part is not None
    for attributes in part.iter("attributes"):
        for tag in ("clef", "transpose", "staves", "part-symbol", "instruments", "staff-details"):
            if tag == "staff-details" and instrument.kind == "drum":
                continue
            for child in attributes.findall(tag):
                attributes.remove(child)
    for note in part.iter("note"):
        for staff in note.findall("staff"):
            note.remove(staff)
    first = part.find("measure")
    assert first is not None
    attributes_of_first = first.find("attributes")
    if attributes_of_first is None:
        attributes_of_first = Element("attributes")
        first.insert(0, attributes_of_first)
    sign, line = _CLEF_SIGNS[instrument.clef]
    clef = Element("clef")
    SubElement(clef, "sign").text = sign
    if line:
        SubElement(clef, "line").text = line
    attributes_of_first.insert(_place(attributes_of_first, "clef"), clef)
    if instrument.sounding_minus_written:
        attributes_of_first.insert(_place(attributes_of_first, "transpose"), _transpose(instrument))


def _transpose(instrument: Instrument) -> Element:
    shift = instrument.sounding_minus_written
    octaves, semitones = (int(shift / 12), shift - 12 * int(shift / 12))
    element = Element("transpose")
    diatonic = {0: 0, 2: 1, 3: 2, 5: 3, 7: 4, 9: 5, 10: 6}.get(abs(semitones), 0)
    SubElement(element, "diatonic").text = str(diatonic if semitones >= 0 else -diatonic)
    SubElement(element, "chromatic").text = str(semitones)
    if octaves:
        SubElement(element, "octave-change").text = str(octaves)
    return element


_ATTRIBUTE_ORDER = (
    "footnote", "level", "divisions", "key", "time", "staves", "part-symbol", "instruments",
    "clef", "staff-details", "transpose", "for-part", "directive", "measure-style",
)  # fmt: skip


def _place(attributes: Element, tag: str) -> int:
    order = _ATTRIBUTE_ORDER.index(tag)
    return sum(
        1
        for child in attributes
        if child.tag in _ATTRIBUTE_ORDER and _ATTRIBUTE_ORDER.index(child.tag) < order
    )
