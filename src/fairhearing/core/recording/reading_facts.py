"""The container's facts, by the reader that fits the container."""

from __future__ import annotations

from typing import BinaryIO

from fairhearing.core.recording.facts import NO_FACTS, ContainerFacts
from fairhearing.core.recording.iso_facts import read_iso
from fairhearing.core.recording.matroska_facts import read_matroska


def read_facts(file: BinaryIO, demuxer: str) -> ContainerFacts:
    """Read the facts of an open file; its position is changed.

    Parameters
    ----------
    file : binary file
        Seekable.
    demuxer : str
        "mov" or "matroska"; other containers have no such tables.
    """
    if demuxer == "mov":
        return read_iso(file)
    if demuxer == "matroska":
        return read_matroska(file)
    return NO_FACTS
