"""The band's instruments, read from a table that a director may edit.

Conventions: written pitch is what the student reads, sounding (concert) pitch what is heard;
``sounding = written + sounding_minus_written``, in semitones. MIDI numbers count C4 as 60.
Sources stand in ``instruments.toml`` beside the numbers.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, Literal

from fairhearing.core.errors import TableError

Kind = Literal["melodic", "mallet", "timpani", "drum"]
LEVELS = ("beginner", "intermediate", "advanced")
TABLE = Path(__file__).with_name("instruments.toml")

_PITCHED = ("chromatic", "scales", "etude", "honors")
_ASKS: dict[str, tuple[str, ...]] = {
    "melodic": _PITCHED,
    "mallet": _PITCHED,
    "timpani": ("etude", "honors"),
    "drum": ("rudiments", "etude", "honors"),
}
_STEP = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass(frozen=True, slots=True)
class Instrument:
    """One instrument of the band.

    Attributes
    ----------
    id : str
        Short name used in files ("alto-saxophone").
    names : dict of str to str
        The name in each language ("en", "es").
    also : tuple of str
        Other spellings that a roster may use, lower case.
    family : str
        "woodwind", "brass" or "percussion".
    kind : {"melodic", "mallet", "timpani", "drum"}
        How it sounds; decides how a take is listened to.
    clef : str
        "treble", "bass" or "percussion".
    sounding_minus_written : int
        Semitones from the written to the sounding note.
    midi_program : int
        General MIDI program, from 0.
    ranges : dict of str to (int, int)
        Lowest and highest *written* MIDI number by level; empty for drums.
    reach : (int, int) or None
        Lowest and highest written MIDI number that a good player reaches.
    source : {"published", "chosen"}
        Whether the ranges follow a published list or were chosen here.
    scale_range : (int, int) or None
        Lowest and highest written MIDI number of printed scales; None: the level's range joined
        with the intermediate one.
    asks : tuple of str
        What the packet brings: "chromatic", "scales", "rudiments", "etude", "honors".
    """

    id: str
    names: dict[str, str]
    also: tuple[str, ...]
    family: str
    kind: Kind
    clef: str
    sounding_minus_written: int
    midi_program: int
    ranges: dict[str, tuple[int, int]] = field(default_factory=dict)
    reach: tuple[int, int] | None = None
    source: str = "chosen"
    scale_range: tuple[int, int] | None = None
    asks: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The English name."""
        return self.names["en"]

    @property
    def sounding_reach(self) -> tuple[int, int] | None:
        """Lowest and highest *sounding* MIDI number, or None for drums."""
        if self.reach is None:
            return None
        low, high = self.reach
        return low + self.sounding_minus_written, high + self.sounding_minus_written


def midi_number(name: str) -> int:
    """Return the MIDI number of a note name such as ``"Bb3"`` or ``"F#5"`` (C4 = 60).

    Raises
    ------
    TableError
        If `name` is not a note name.
    """
    found = re.fullmatch(r"([A-G])(b|#)?(-?\d)", name)
    if not found:
        raise TableError(f'"{name}" is not a note name; write it like "Bb3" or "F#5"')
    letter, sign, octave = found.groups()
    return 12 * (int(octave) + 1) + _STEP[letter] + {"b": -1, "#": 1, None: 0}[sign]


@cache
def load(path: Path = TABLE) -> dict[str, Instrument]:
    """Read an instrument table.

    Returns
    -------
    dict of str to Instrument
        By id, in the order of the table.

    Raises
    ------
    TableError
        If an entry is missing or an instrument appears twice.
    """
    found: dict[str, Instrument] = {}
    for entry in tomllib.loads(path.read_text(encoding="utf-8")).get("instrument", []):
        instrument = _instrument(entry, path)
        if instrument.id in found:
            raise TableError(f'the instrument "{instrument.id}" stands twice', path=path)
        found[instrument.id] = instrument
    return found


def find(spelling: str, table: dict[str, Instrument] | None = None) -> Instrument:
    """Return the instrument that a person meant.

    Raises
    ------
    TableError
        If none fits; the nearest spelling is suggested.
    """
    table = load() if table is None else table
    wanted = _plain(spelling)
    spellings: dict[str, Instrument] = {}
    for instrument in table.values():
        for name in (instrument.id, *instrument.names.values(), *instrument.also):
            spellings.setdefault(_plain(name), instrument)
    if wanted in spellings:
        return spellings[wanted]
    near = difflib.get_close_matches(wanted, spellings, n=1, cutoff=0.6)
    hint = f'; did you mean "{spellings[near[0]].name}"?' if near else ""
    raise TableError(f'"{spelling.strip()}" is not an instrument of the table{hint}')


def _plain(text: str) -> str:
    folded = text.casefold().replace("♭", "b").replace("♯", "#").replace("b-flat", "bb")
    folded = folded.replace("e-flat", "eb")
    return re.sub(r"[\s_\-.()]+", " ", folded).strip()


def _instrument(entry: dict[str, Any], path: Path) -> Instrument:
    try:
        reach, scales = entry.get("reach"), entry.get("scale_range")
        return Instrument(
            id=entry["id"],
            names=dict(entry["names"]),
            also=tuple(entry.get("also", ())),
            family=entry["family"],
            kind=entry["kind"],
            clef=entry["clef"],
            sounding_minus_written=entry.get("sounding_minus_written", 0),
            midi_program=entry["midi_program"],
            ranges={
                level: (midi_number(low), midi_number(high))
                for level, (low, high) in entry.get("ranges", {}).items()
            },
            reach=(midi_number(reach[0]), midi_number(reach[1])) if reach else None,
            source=entry.get("source", "chosen"),
            scale_range=(midi_number(scales[0]), midi_number(scales[1])) if scales else None,
            asks=tuple(entry.get("asks", _ASKS[entry["kind"]])),
        )
    except KeyError as missing:
        raise TableError(
            f'instrument "{entry.get("id", "?")}" has no entry {missing}', path=path
        ) from None
