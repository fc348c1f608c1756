"""``packet.toml``: how a director wants the packet, beside ``season.toml``; every line optional.

paper = "letter"                     # letter | a4
languages = ["en", "es"]             # one packet in each
address = "https://band.example.org/auditions"
logo = "logo.svg"
note = "Welcome! …"
[scales]
concert_keys = ["F", "Bb", "Eb", "Ab"]
modes = ["major"]
octaves = 1
[tracks]
tempi = [60, 72, 84]                 # beats a minute; default: 60, 75, 90 and 100 percent
clicks = "with"                      # with | without | both
sound = "piano"                      # piano | own (the instrument's)
count_in_bars = 1
tuning_hz = 440
[wording.en]
record_lead = "…"                    # any line of wording.toml
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fairhearing.core.errors import TableError
from fairhearing.core.packet.audio_files import KINDS, Kind
from fairhearing.core.packet.scales import parse_key
from fairhearing.core.packet.spec import PAPERS, ScaleWish
from fairhearing.core.packet.wording import LANGUAGES, Wording


@dataclass(frozen=True, slots=True)
class TrackWish:
    """Which practice tracks are made."""

    tempi: tuple[int, ...] = ()
    clicks: str = "with"
    sound: str = "piano"
    count_in_bars: int = 1
    tuning_hz: float = 440.0
    formats: tuple[Kind, ...] = KINDS


@dataclass(frozen=True, slots=True)
class Settings:
    """What ``packet.toml`` says; the defaults where it says nothing."""

    paper: str = "letter"
    languages: tuple[str, ...] = ()
    address: str = ""
    logo: Path | None = None
    note: str = ""
    scales: ScaleWish = field(default_factory=ScaleWish)
    tracks: TrackWish = field(default_factory=TrackWish)
    wording: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


def read_settings(path: Path) -> Settings:
    """Read a ``packet.toml``; a file that is not there means the defaults.

    Raises
    ------
    TableError
        For an unknown word, a wrong value, a missing logo; line or entry is named.
    """
    if not path.is_file():
        return Settings()
    try:
        top = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise TableError(f"this is not valid TOML ({error})", path=path) from None
    try:
        return _settings(top, path)
    except TableError as error:
        if error.path is not None:
            raise
        raise TableError(error.problem, path=path) from None


def _settings(top: dict[str, Any], path: Path) -> Settings:
    _known(
        top, "", {"paper", "languages", "address", "logo", "note", "scales", "tracks", "wording"}
    )
    scales = _table(top, "scales", {"concert_keys", "modes", "octaves"})
    keys = _words(scales, "concert_keys") if "concert_keys" in scales else None
    modes = _words(scales, "modes") if "modes" in scales else ("major",)
    wording = _table(top, "wording", set(LANGUAGES))
    for language, lines in wording.items():
        if not isinstance(lines, dict):
            raise TableError(f"[wording.{language}] is a table of lines")
        Wording(language, lines)
    return Settings(
        paper=_one_of(top, "paper", tuple(PAPERS), "letter"),
        languages=tuple(_chosen(word, "languages", LANGUAGES) for word in _words(top, "languages")),
        address=_text(top, "address"),
        logo=_logo(_text(top, "logo"), path),
        note=_text(top, "note"),
        scales=ScaleWish(
            None if keys is None else tuple(parse_key(key) for key in keys),
            modes,  # type: ignore[arg-type]  # ScaleWish checks them
            scales.get("octaves"),
        ),
        tracks=_tracks(top),
        wording=wording,
    )


def _tracks(top: dict[str, Any]) -> TrackWish:
    names = {"tempi", "clicks", "sound", "count_in_bars", "tuning_hz", "formats"}
    tracks = _table(top, "tracks", names)
    tempi = tracks.get("tempi", [])
    if not isinstance(tempi, list) or not all(
        isinstance(bpm, int) and 20 <= bpm <= 300 for bpm in tempi
    ):
        raise TableError("tempi are whole beats a minute from 20 to 300, like [60, 72, 84]")
    count_in = tracks.get("count_in_bars", 1)
    if count_in not in {1, 2, 3, 4}:
        raise TableError("count_in_bars is 1, 2, 3 or 4")
    tuning = tracks.get("tuning_hz", 440.0)
    if not isinstance(tuning, int | float) or not 400 <= tuning <= 480:
        raise TableError("tuning_hz is the frequency of A4, from 400 to 480")
    formats = [_chosen(word, "formats", KINDS) for word in _words(tracks, "formats")]
    return TrackWish(
        tempi=tuple(sorted(set(tempi))),
        clicks=_one_of(tracks, "clicks", ("with", "without", "both"), "with"),
        sound=_one_of(tracks, "sound", ("piano", "own", "accompaniment"), "piano"),
        count_in_bars=count_in,
        tuning_hz=float(tuning),
        formats=tuple(kind for kind in KINDS if not formats or kind in formats),
    )


def _known(table: dict[str, Any], where: str, names: set[str]) -> None:
    for name in table:
        if name not in names:
            place = f"[{where}] " if where else ""
            raise TableError(f'{place}has no entry "{name}"; known are {", ".join(sorted(names))}')


def _table(top: dict[str, Any], name: str, names: set[str]) -> dict[str, Any]:
    table = top.get(name, {})
    if not isinstance(table, dict):
        raise TableError(f'"{name}" is a table: write [{name}] on a line of its own')
    _known(table, name, names)
    return table


def _text(table: dict[str, Any], name: str) -> str:
    value = table.get(name, "")
    if not isinstance(value, str):
        raise TableError(f'"{name}" is a text in quotation marks')
    return value.strip()


def _words(table: dict[str, Any], name: str) -> tuple[str, ...]:
    value = table.get(name, [])
    if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
        raise TableError(f'"{name}" is a list of words, like ["…", "…"]')
    return tuple(value)


def _one_of(table: dict[str, Any], name: str, choices: tuple[str, ...], default: str) -> str:
    return _chosen(table.get(name, default), name, choices)


def _chosen(value: object, name: str, choices: tuple[str, ...]) -> str:
    if value not in choices:
        raise TableError(f'"{name}" is one of {", ".join(choices)}, not "{value}"')
    return str(value)


def _logo(name: str, path: Path) -> Path | None:
    if not name:
        return None
    logo = path.parent / name
    if not logo.is_file():
        raise TableError(f'the logo "{name}" is not there', path=path)
    return logo
