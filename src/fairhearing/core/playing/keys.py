"""Names of keys as a musician spells them, from pitch classes (0 = C).

The spelling with fewer accidentals in the key signature is taken; at six sharps or flats the
sharp one (circle of fifths, any theory text).
"""

from __future__ import annotations

from fairhearing.core.playing.types import Mode

_MAJOR = ("C", "D-flat", "D", "E-flat", "E", "F", "F-sharp", "G", "A-flat", "A", "B-flat", "B")
_MINOR = ("C", "C-sharp", "D", "E-flat", "E", "F", "F-sharp", "G", "G-sharp", "A", "B-flat", "B")


def tonic_name(pitch_class: int, mode: Mode = "major") -> str:
    """Return the name of a tonic, such as ``"B-flat"``.

    Parameters
    ----------
    pitch_class : int
        Any MIDI number or pitch class; taken modulo 12.
    mode : str
        "major" or one of the minors; they are spelled differently.
    """
    return (_MAJOR if mode == "major" else _MINOR)[pitch_class % 12]
