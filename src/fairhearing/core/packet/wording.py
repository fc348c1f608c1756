"""What the packet says, in the family's language; a director may replace any line."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any

from fairhearing.core.errors import TableError

TABLE = Path(__file__).with_name("wording.toml")
LANGUAGES = ("en", "es")

_NOTE_NAMES_ES = {"C": "do", "D": "re", "E": "mi", "F": "fa", "G": "sol", "A": "la", "B": "si"}


class Wording:
    """The texts of one language.

    Parameters
    ----------
    language : str
        "en" or "es".
    own : mapping, optional
        The director's lines, which replace ours.

    Raises
    ------
    TableError
        If the language or a line's name is unknown.
    """

    def __init__(self, language: str, own: Mapping[str, str] | None = None):
        if language not in LANGUAGES:
            raise TableError(f'the packet is written in "en" or "es", not in "{language}"')
        self.language = language
        self._lines = dict(_load()[language])
        for name, text in (own or {}).items():
            if not isinstance(self._lines.get(name), str):
                raise TableError(f'the packet has no line called "{name}"; see docs/packet.md')
            self._lines[name] = text

    def __call__(self, name: str, **values: object) -> str:
        """Return a line with its blanks filled in."""
        text = str(self._lines[name])
        for blank, value in values.items():
            text = text.replace("{" + blank + "}", str(value))
        return text

    def level(self, level: str) -> str:
        """Return the level's name."""
        return str(self._lines["levels"][level])

    def key(self, name: str, *, article: bool = False) -> str:
        """Return a key or note name as musicians of the language write it: "B♭", "si bemol"."""
        letter, sign = name[0], name[1:]
        if self.language == "es":
            return _NOTE_NAMES_ES[letter] + {"b": " bemol", "#": " sostenido", "": ""}[sign]
        return letter + {"b": "♭", "#": "♯", "": ""}[sign]

    def day(self, when: date | datetime) -> str:
        """Return a date, with the time and zone if there is one."""
        values: dict[str, Any] = {
            "weekday": self._lines["weekdays"][when.weekday()],
            "month": self._lines["months"][when.month - 1],
            "day": when.day,
            "year": when.year,
        }
        if not isinstance(when, datetime):
            return self("date", **values)
        return self(
            "date_time",
            **values,
            hour24=when.hour,
            hour12=(when.hour - 1) % 12 + 1,
            minute=f"{when.minute:02d}",
            ampm="a.m." if when.hour < 12 else "p.m.",
            zone=f"({when.tzname()})" if when.tzname() else "",
        ).strip()

    def lines(self) -> dict[str, Any]:
        """Return every line, for pages that fill them in themselves."""
        return dict(self._lines)


@cache
def _load() -> dict[str, dict[str, Any]]:
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))
