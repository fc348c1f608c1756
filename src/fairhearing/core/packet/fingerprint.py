"""Fingerprints: plain data in, a text that changes whenever what would be made changes."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from functools import cache
from importlib.metadata import version
from pathlib import Path

from fairhearing.core.errors import ScoreFileError

_HERE = Path(__file__).parent


def file_fingerprint(path: Path) -> str:
    """Return the SHA-256 of a file.

    Raises
    ------
    ScoreFileError
        If it cannot be read.
    """
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise ScoreFileError(f"{path.name}: cannot be read ({error.strerror})") from error


def described(thing: object) -> object:
    """Return plain data that changes whenever what would be printed changes."""
    if isinstance(thing, Path):
        return [thing.name, file_fingerprint(thing)]
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        return {f.name: described(getattr(thing, f.name)) for f in dataclasses.fields(thing)}
    if isinstance(thing, dict):
        return {str(key): described(value) for key, value in thing.items()}
    if isinstance(thing, list | tuple):
        return [described(value) for value in thing]
    return thing if isinstance(thing, int | float | str | None) else str(thing)


def fingerprint(data: object) -> str:
    """Return the fingerprint of plain data together with that of the program."""
    text = json.dumps([_program(), data], sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


@cache
def _program() -> str:
    """Return a fingerprint of the code, the fonts and the libraries that draw and set."""
    digest = hashlib.sha256()
    for path in sorted(_HERE.rglob("*")):
        if path.is_file() and "__pycache__" not in path.parts:
            digest.update(path.name.encode("utf-8") + path.read_bytes())
    for library in ("verovio", "typst", "av", "midirenderer"):
        digest.update(version(library).encode("utf-8"))
    return digest.hexdigest()
