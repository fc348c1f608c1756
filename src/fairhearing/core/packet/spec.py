"""What one instrument's packet is made of, as plain data (no season, no files opened)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from fairhearing.core.errors import TableError
from fairhearing.core.packet.instruments import Instrument
from fairhearing.core.packet.scales import MODES, Mode

PAPERS = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}


@dataclass(frozen=True, slots=True)
class Step:
    """One section of the audition as the student plays it.

    Attributes
    ----------
    kind : str
        "introduction", "chromatic", "scales", "etude", "honors" or "other".
    name : str
        The director's name for it; the kind where there is none.
    limit_s : float or None
    optional : bool
    piece : Piece or None
        What is played; None for scales and the like.
    on : Instrument or None
        The instrument it is played on, if not the student's own.
    """

    kind: str
    name: str
    limit_s: float | None = None
    optional: bool = False
    piece: Piece | None = None
    on: Instrument | None = None


@dataclass(frozen=True, slots=True)
class Piece:
    """A source: MusicXML or MIDI, or a PDF or picture that is printed as it is."""

    file: Path
    title: str = ""
    tempo_bpm: float | None = None

    @property
    def scanned(self) -> bool:
        """Whether it is a picture of notes, not notes."""
        return self.file.suffix.lower() in {".pdf", ".png", ".jpg", ".jpeg", ".svg"}


@dataclass(frozen=True, slots=True)
class ScaleWish:
    """Which scales are printed; None means the level's own (see `scales.CONCERT_KEYS`)."""

    concert_keys: tuple[int, ...] | None = None
    modes: tuple[Mode, ...] = ("major",)
    octaves: int | None = None

    def __post_init__(self) -> None:
        wrong = [mode for mode in self.modes if mode not in MODES]
        if wrong:
            raise TableError(f'"{wrong[0]}" is not a scale we print; write one of {MODES}')
        if self.octaves is not None and self.octaves not in {1, 2, 3}:
            raise TableError("scales have 1, 2 or 3 octaves")


@dataclass(frozen=True, slots=True)
class PacketSpec:
    """Everything one packet says.

    Attributes
    ----------
    title : str
        The season's name.
    schools : str
        Printed above the title.
    invented : bool
        Marked on every page.
    instrument : Instrument
    level : str
    steps : tuple of Step
        In playing order.
    dates : tuple of (str, date or datetime)
        Wording names ("opens", "due", "results", "delete_takes") and days.
    language, paper : str
    number : str
        The student's audition number, or "" for a packet that everybody shares.
    address : str
        The families' page; printed and drawn as a square code.
    logo : Path or None
        SVG, PNG or JPEG.
    note : str
        The director's own words on the cover.
    scales : ScaleWish
    wording : mapping
        Lines that replace ours.
    has_tracks : bool
        Whether practice tracks are handed out.
    """

    title: str
    schools: str
    invented: bool
    instrument: Instrument
    level: str
    steps: tuple[Step, ...]
    dates: tuple[tuple[str, date | datetime], ...] = ()
    language: str = "en"
    paper: str = "letter"
    number: str = ""
    address: str = ""
    logo: Path | None = None
    note: str = ""
    scales: ScaleWish = field(default_factory=ScaleWish)
    wording: Mapping[str, str] = field(default_factory=dict)
    has_tracks: bool = True

    def __post_init__(self) -> None:
        if self.paper not in PAPERS:
            raise TableError(f'the paper is "letter" or "a4", not "{self.paper}"')
