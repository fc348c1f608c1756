"""How times, levels and notes are written for a person.

Conventions: seconds in, ``m:ss`` out; MIDI numbers in, note names as a teacher says them out
(C4 is the octave from middle C).
"""

from __future__ import annotations

from collections.abc import Sequence

_SHARPS = ("C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B")
_FLATS = ("C", "D♭", "D", "E♭", "E", "F", "G♭", "G", "A♭", "A", "B♭", "B")
# What band parts show most often: flats, but F♯ rather than G♭ and C♯ rather than D♭.
_USUAL = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")


def clock(seconds: float | None, *, tenths: bool = False) -> str:
    """Return a time in the take as ``"1:02"`` or, with `tenths`, ``"1:02.4"``."""
    if seconds is None:
        return "–"
    if tenths:
        whole = round(max(seconds, 0.0) * 10)
        return f"{whole // 600}:{whole // 10 % 60:02d}.{whole % 10}"
    whole = int(max(seconds, 0.0))
    return f"{whole // 60}:{whole % 60:02d}"


def note_name(midi: int, *, prefer: str = "usual", octave: bool = True) -> str:
    """Return the name of a MIDI number, for example ``"B♭3"``.

    Parameters
    ----------
    prefer : {"usual", "sharps", "flats"}
        How the black keys are spelled.
    """
    names = {"usual": _USUAL, "sharps": _SHARPS, "flats": _FLATS}[prefer]
    return names[midi % 12] + (str(midi // 12 - 1) if octave else "")


def tonic_name(spelled: str) -> str:
    """Return ``"B-flat"`` as ``"B♭"``, ``"F-sharp"`` as ``"F♯"``."""
    return spelled.replace("-flat", "♭").replace("-sharp", "♯")


def in_words(parts: Sequence[str], *, last: str = "and") -> str:
    """Return ``"a, b and c"``."""
    parts = list(parts)
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def counted(number: int, one: str, many: str | None = None) -> str:
    """Return ``"1 note"``, ``"3 notes"``, ``"no notes"``."""
    noun = one if number == 1 else (many or f"{one}s")
    return f"{number if number else 'no'} {noun}"
