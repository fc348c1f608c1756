"""What the program was tuned on and what it is tested on: banks, instruments and seeds apart.

Tuning (and training of the note beginnings) uses Debian's fluid-soundfont-gm, instruments that
the test does not have. The test uses real recorded notes from npm. Seeds do not overlap.
"""

from __future__ import annotations

from dataclasses import dataclass

TUNING_SEEDS = range(1000, 2000)
TEST_SEEDS = range(1, 100)


@dataclass(frozen=True)
class Voice:
    """An instrument of a bank and its limits (sounding MIDI); ``program`` is General MIDI."""

    name: str
    low: int
    high: int
    kind: str = "melodic"
    program: int | None = None
    octaves_down: int = 0


TUNING = (
    Voice("oboe", 58, 91, program=68),
    Voice("English horn", 52, 81, program=69),
    Voice("piccolo", 74, 103, program=72),
    Voice("recorder", 67, 91, program=74),
    Voice("soprano saxophone", 56, 88, program=64),
    Voice("tenor saxophone", 44, 75, program=66),
    Voice("baritone saxophone", 36, 69, program=67),
    Voice("muted trumpet", 52, 86, program=59),
    Voice("brass section, an octave down", 28, 62, program=61, octaves_down=1),
    Voice("contrabass", 28, 60, program=43),
    Voice("cello", 36, 76, program=42),
    Voice("marimba", 45, 96, "mallet", program=12),
    Voice("vibraphone", 53, 89, "mallet", program=11),
    Voice("glockenspiel", 79, 108, "mallet", program=9),
)

TEST = (
    Voice("flute", 60, 96),
    Voice("clarinet", 50, 91),
    Voice("saxophone", 49, 81),
    Voice("trumpet", 53, 84),
    Voice("french-horn", 41, 77),
    Voice("trombone", 40, 74),
    Voice("tuba", 29, 60),
    Voice("bassoon", 34, 72),
    Voice("xylophone", 65, 108, "mallet"),
)
