"""Entries of a settings file, taken out one by one with their type checked.

An entry that nobody asks for is refused, never ignored: a misspelt setting must not be silent.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from fairhearing.core.errors import TableError
from fairhearing.core.packet.instruments import find, load

_KINDS = ("melodic", "mallet", "timpani", "drum")


@dataclass(frozen=True, slots=True)
class Entries:
    """One table of the file; takes entries out by name, with their type checked.

    Attributes
    ----------
    path : Path
    text : str
        The whole file, to find the line that a sentence should point at.
    what : str
        How the table is called in a sentence: 'ensemble "Wind Ensemble"'.
    values : dict
    """

    path: Path
    text: str
    what: str
    values: dict[str, Any]

    def error(self, problem: str, near: str | None = None) -> TableError:
        """Return an error; `near` is a text to look for in the file, to name its line."""
        line = None
        if near:
            found = re.search(rf"^.*{re.escape(near)}", self.text, re.MULTILINE)
            line = self.text.count("\n", 0, found.start()) + 1 if found else None
        return TableError(
            f"{self.what}: {problem}" if self.what else problem, path=self.path, line=line
        )

    def inner(self, what: str, values: dict[str, Any]) -> Entries:
        """Return a table inside this one."""
        return Entries(self.path, self.text, what, values)

    def only(self, *names: str) -> None:
        """Refuse an entry that is none of `names`, suggesting the nearest."""
        for name in self.values:
            if name not in names:
                near = get_close_matches(name, names, n=1, cutoff=0.5)
                hint = f'; did you mean "{near[0]}"?' if near else f"; known: {', '.join(names)}"
                raise self.error(f'"{name}" is not an entry here{hint}', near=name)

    def text_of(self, name: str, default: str | None = None) -> str:
        """Return a text that may not be empty."""
        value = self.values.get(name, default)
        if value is None:
            raise self.error(f'the entry "{name}" is missing')
        if not isinstance(value, str) or not value.strip():
            raise self.error(f'"{name}" must be a text in quotation marks', near=name)
        return value.strip()

    def yes(self, name: str, default: bool) -> bool:
        """Return true or false."""
        value = self.values.get(name, default)
        if not isinstance(value, bool):
            raise self.error(f'"{name}" must be true or false', near=name)
        return value

    def number(self, name: str, low: float, default: float | None = None) -> float | None:
        """Return a number not below `low`, or the default."""
        value = self.values.get(name, default)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not value >= low:
            raise self.error(f'"{name}" must be a number, {low:g} or more', near=name)
        return float(value)

    def texts(self, name: str) -> tuple[str, ...]:
        """Return a list of texts, empty where the entry is absent."""
        value = self.values.get(name, [])
        if isinstance(value, str):
            value = [value]
        if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
            raise self.error(f'"{name}" must be a list like ["one", "two"]', near=name)
        return tuple(one.strip() for one in value)

    def one_of(self, name: str, allowed: Iterable[str], default: str) -> str:
        """Return one of a few words."""
        value = self.values.get(name, default)
        if value not in allowed:
            raise self.error(f'"{name}" must be one of {", ".join(allowed)}', near=name)
        return str(value)

    def tables(self, name: str) -> list[dict[str, Any]]:
        """Return the ``[[name]]`` tables."""
        value = self.values.get(name, [])
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            raise self.error(f"write it as [[{name}]], once for each", near=name)
        return value


def whom(entries: Entries) -> tuple[frozenset[str], int]:
    """Return the instruments that ``for`` means, and how narrow it is (0 everyone … 3 by name).

    Raises
    ------
    TableError
        If a word is neither a kind, a family nor an instrument.
    """
    table = load()
    chosen: set[str] = set()
    narrow = 3
    for word in entries.texts("for") or ("everyone",):
        plain = word.casefold()
        families = {one.family for one in table.values()}
        if plain == "everyone":
            chosen |= set(table)
            narrow = 0
        elif plain in _KINDS and not (plain == "timpani" and plain in table):
            chosen |= {one.id for one in table.values() if one.kind == plain}
            narrow = min(narrow, 2)
        elif plain in families:
            chosen |= {one.id for one in table.values() if one.family == plain}
            narrow = min(narrow, 1)
        else:
            chosen.add(instrument_id(entries, word))
    return frozenset(chosen), narrow


def instrument_id(entries: Entries, word: str) -> str:
    """Return the id of an instrument, pointing at the line where it is not one."""
    try:
        return find(word).id
    except TableError as error:
        raise entries.error(error.problem, near=word) from None
