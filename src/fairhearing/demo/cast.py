"""Who takes part in the demo season. Every person, school and mark is invented.

Family names are words from sheet music, so that nobody mistakes them for pupils.
A player's ``skill`` (0…1) shapes everything about the take and the marks; ``home`` says in which
room and with which phone it was recorded (:mod:`fairhearing.demo.rooms`).
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

#: Marks the data as invented; shown wherever the season is shown.
INVENTED = "Invented for demonstration: no person, school or recording in it is real."

INVENTED_ES = "Inventado para demostración: ninguna persona, escuela ni grabación es real."

CRITERIA = ("tone", "intonation", "rhythm", "technique", "articulation", "musicianship")


@dataclass(frozen=True, slots=True)
class School:
    """An invented school and its staff."""

    id: str
    name: str
    staff: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Player:
    """An invented student and how the take comes out.

    Attributes
    ----------
    number : str
        Audition number.
    name, school, instrument : str
        As in roster.csv; the instrument by id.
    grade : int
        School year.
    skill : float
        0…1, what a perfect panel would hear.
    voice : str
        Which of the bundled voices speaks ("a" to "f" English, "s" and "t" Spanish).
    scales : int
        How many major scales the player prepared.
    honors : bool
        Tries the honors excerpt.
    home : str
        Room and phone.
    film : str
        Kind of file ("mp4", "webm", "mov"); empty for a student whose take never came.
    restart_bar : int or None
        Bar of the etude in which the player stops and begins again.
    octaves : int
        Octaves of the first scales.
    would_switch : tuple of str
        Other instruments the player would take.
    """

    number: str
    name: str
    school: str
    grade: int
    instrument: str
    skill: float
    voice: str
    scales: int
    honors: bool = False
    home: str = "quiet"
    film: str = "mp4"
    restart_bar: int | None = None
    octaves: int = 1
    would_switch: tuple[str, ...] = ()

    @property
    def take(self) -> str | None:
        """File name of the take."""
        return f"{self.number}-{self.instrument}.{self.film}" if self.film else None

    @property
    def spanish(self) -> bool:
        """Whether the player announces in Spanish."""
        return self.voice in "st"

    def dice(self, purpose: str) -> np.random.Generator:
        """Return random numbers that depend on the player and the purpose alone."""
        return np.random.default_rng(zlib.crc32(f"{self.number}/{purpose}".encode()))

    def ability(self, criterion: str) -> float:
        """Return 0…1 for one criterion: the skill and a strength or weakness of the player's."""
        lean = self.dice(f"ability/{criterion}").normal(0, 0.05)
        return float(np.clip(self.skill + lean, 0.05, 0.98))


SCHOOLS = (
    School("double-bar", "Double Bar High School (invented)", ("R. Breve", "M. Longa")),
    School("quarter-rest", "Quarter Rest High School (invented)", ("T. Hemiola", "S. Neume")),
)

#: Severity in mark points (positive: gives less) and scatter, by judge.
JUDGES: dict[str, tuple[float, float]] = {
    "R. Breve": (0.1, 0.35),
    "M. Longa": (1.1, 0.40),
    "T. Hemiola": (-0.9, 0.35),
    "S. Neume": (0.3, 0.55),
    "A. Anacrusis (guest)": (-0.4, 0.40),
    "B. Clavis (guest)": (0.6, 0.45),
}

_D, _Q = "double-bar", "quarter-rest"

PLAYERS: tuple[Player, ...] = (
    Player("201", "Mina Fermata", _D, 11, "flute", 0.88, "a", 12, honors=True, octaves=2),
    Player("202", "Teodora Segno", _Q, 10, "flute", 0.66, "b", 10, home="bright"),
    Player("203", "Wendeline Ossia", _D, 9, "flute", 0.42, "c", 6, home="fan"),
    Player("204", "Ines Rubato", _Q, 11, "oboe", 0.80, "s", 11, honors=True),
    Player("205", "Noor Cadenza", _D, 12, "clarinet", 0.91, "a", 12, honors=True, octaves=2),
    Player("206", "Ari Tenuto", _D, 10, "clarinet", 0.70, "d", 10, film="webm"),
    Player("207", "Ari Tenuto", _Q, 10, "clarinet", 0.55, "e", 11, home="bright", restart_bar=7),
    Player(
        "208",
        "Lumi Portato",
        _Q,
        9,
        "clarinet",
        0.35,
        "b",
        5,
        home="far",
        would_switch=("bass clarinet",),
    ),
    Player("209", "Odell Basso-Continuo", _D, 11, "bassoon", 0.62, "e", 9, home="upright"),
    Player("210", "Kira Toccata", _Q, 12, "alto-saxophone", 0.85, "b", 12, honors=True),
    Player("211", "Dov Sforzando", _D, 10, "alto-saxophone", 0.60, "f", 12, home="loud"),
    Player(
        "212",
        "Yuna Legato",
        _Q,
        9,
        "alto-saxophone",
        0.50,
        "c",
        7,
        home="tiled",
        would_switch=("tenor saxophone",),
    ),
    Player("213", "Rafa Sordino", _D, 11, "horn", 0.75, "t", 12, home="bright"),
    Player("214", "Ebba Arpeggio", _Q, 10, "horn", 0.48, "c", 10, restart_bar=5),
    Player("215", "Jun Vivace", _D, 12, "trumpet", 0.93, "d", 12, honors=True, octaves=1),
    Player("216", "Sami Da-Capo", _Q, 11, "trumpet", 0.72, "e", 10, home="joined"),
    Player("217", "Tove Volta", _D, 10, "trumpet", 0.58, "a", 8, home="dark"),
    Player("218", "Bo Ostinato", _Q, 9, "trumpet", 0.38, "f", 5, home="hum"),
    Player(
        "219",
        "Zadie Glissando",
        _D,
        11,
        "trombone",
        0.78,
        "b",
        11,
        honors=True,
        film="mov",
    ),
    Player("220", "Ike Staccato", _Q, 9, "trombone", 0.52, "f", 7, home="near"),
    Player("221", "Pilar Caesura", _D, 10, "euphonium", 0.68, "c", 10, film="webm"),
    Player("222", "Hugo Pedal", _Q, 11, "tuba", 0.74, "d", 12),
    Player("223", "Nell Tremolo", _D, 10, "xylophone", 0.65, "a", 10, home="bright"),
    Player("224", "Gus Anacrusis-Young", _Q, 10, "snare-drum", 0.70, "e", 0, honors=True),
    Player("225", "Ferris Tacet", _Q, 9, "euphonium", 0.50, "f", 6, film=""),
)


def player(number: str) -> Player:
    """Return the player with this audition number.

    Raises
    ------
    KeyError
        If there is none.
    """
    for each in PLAYERS:
        if each.number == number:
            return each
    raise KeyError(number)
