"""Facts of webm and Matroska files, from their raw elements.

Source: RFC 8794 (EBML), RFC 9559 (Matroska). Only heads of blocks are read; the payload of
sound and pictures is stepped over.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import BinaryIO, Literal

from fairhearing.core.recording.facts import ContainerFacts, TrackFacts, in_runs, plain_text

_EBML, _SEGMENT, _INFO, _TRACKS, _CLUSTER = (
    0x1A45DFA3,
    0x18538067,
    0x1549A966,
    0x1654AE6B,
    0x1F43B675,
)
_TRACK_ENTRY, _TIMESTAMP, _SIMPLE_BLOCK, _BLOCK_GROUP, _BLOCK, _REFERENCE = (
    0xAE,
    0xE7,
    0xA3,
    0xA0,
    0xA1,
    0xFB,
)
_NAMES = {_INFO: "info", _TRACKS: "tracks", _CLUSTER: "clusters", 0x1C53BB6B: "cues"}
_KINDS: dict[int, Literal["video", "audio"]] = {1: "video", 2: "audio"}
# Seconds from 1970-01-01 to 2001-01-01, where Matroska dates count from.
_EPOCH_2001_S = 978_307_200
_MOST_ELEMENTS = 2_000_000
_MOST_PAYLOAD = 1 << 20
_MOST_TRACKS = 32


@dataclass(frozen=True, slots=True)
class _Element:
    name: int
    content: int
    end: int


@dataclass(slots=True)
class _Track:
    kind: Literal["video", "audio", "other"]
    codec: str
    name: str
    times: list[int] = field(default_factory=list)
    keys: list[int] = field(default_factory=list)


@dataclass(slots=True)
class _Reading:
    """What has been gathered so far."""

    file: BinaryIO
    brand: str = ""
    writers: list[str] = field(default_factory=list)
    created: int | None = None
    tick_ns: int = 1_000_000
    order: list[str] = field(default_factory=list)
    tracks: dict[int, _Track] = field(default_factory=dict)
    elements: int = 0


def read_matroska(file: BinaryIO) -> ContainerFacts:
    """Read the facts of a webm or Matroska file.

    Parameters
    ----------
    file : binary file
        Seekable; its position is changed.

    Returns
    -------
    ContainerFacts
        Durations are differences of the blocks' times in file order, so pictures that are
        shown in another order than they are stored appear with negative ones.
    """
    end = file.seek(0, 2)
    reading = _Reading(file)
    for element in _elements(reading, 0, end):
        if element.name == _EBML:
            kind = next((e for e in _elements(reading, *_span(element)) if e.name == 0x4282), None)
            reading.brand = plain_text(_content(reading, kind), 16) if kind else ""
        elif element.name == _SEGMENT:
            _segment(reading, element)
    return ContainerFacts(
        container="matroska",
        brands=(reading.brand,) if reading.brand else (),
        order=tuple(reading.order),
        created=reading.created,
        writers=tuple(dict.fromkeys(text for text in reading.writers if text)),
        fragmented=False,
        tracks=tuple(_facts(track, reading.tick_ns) for track in reading.tracks.values()),
    )


def _facts(track: _Track, tick_ns: int) -> TrackFacts:
    times = track.times
    steps = [after - before for before, after in pairwise(times)]
    if steps:
        steps.append(steps[-1])
    return TrackFacts(
        kind=track.kind,
        codec=track.codec,
        timescale=max(1, round(1_000_000_000 / tick_ns)),
        handler=track.name,
        created=None,
        durations=in_runs(steps),
        offsets=(),
        key_frames=None if len(track.keys) == len(times) else tuple(track.keys),
        edits=(),
        new_descriptions=(),
        starts_at=times[0] if times else 0,
    )


def _segment(reading: _Reading, segment: _Element) -> None:
    for element in _elements(reading, *_span(segment)):
        name = _NAMES.get(element.name)
        if name is not None and name not in reading.order:
            reading.order.append(name)
        if element.name == _INFO:
            _info(reading, element)
        elif element.name == _TRACKS:
            for entry in _elements(reading, *_span(element)):
                if entry.name == _TRACK_ENTRY and len(reading.tracks) < _MOST_TRACKS:
                    _track_entry(reading, entry)
        elif element.name == _CLUSTER:
            _cluster(reading, element)


def _info(reading: _Reading, info: _Element) -> None:
    for element in _elements(reading, *_span(info)):
        content = _content(reading, element)
        if element.name == 0x2AD7B1:
            reading.tick_ns = int.from_bytes(content[:8]) or 1_000_000
        elif element.name in (0x4D80, 0x5741):
            label = "muxing" if element.name == 0x4D80 else "writing"
            reading.writers.append(f"{label}: {plain_text(content)}")
        elif element.name == 0x4461 and len(content) == 8:
            reading.created = _EPOCH_2001_S + struct.unpack(">q", content)[0] // 10**9


def _track_entry(reading: _Reading, entry: _Element) -> None:
    number, track = 0, _Track("other", "", "")
    for element in _elements(reading, *_span(entry)):
        content = _content(reading, element)
        if element.name == 0xD7:
            number = int.from_bytes(content[:8])
        elif element.name == 0x83:
            track.kind = _KINDS.get(int.from_bytes(content[:8]), "other")
        elif element.name == 0x86:
            track.codec = plain_text(content, 32)
        elif element.name == 0x536E:
            track.name = plain_text(content)
    reading.tracks[number] = track


def _cluster(reading: _Reading, cluster: _Element) -> None:
    base = 0
    for element in _elements(reading, *_span(cluster)):
        if element.name == _TIMESTAMP:
            base = int.from_bytes(_content(reading, element)[:8])
        elif element.name == _SIMPLE_BLOCK:
            _block(reading, element, base, None)
        elif element.name == _BLOCK_GROUP:
            parts = list(_elements(reading, *_span(element)))
            depends = any(part.name == _REFERENCE for part in parts)
            for part in parts:
                if part.name == _BLOCK:
                    _block(reading, part, base, not depends)


def _block(reading: _Reading, block: _Element, base: int, key: bool | None) -> None:
    reading.file.seek(block.content)
    head = reading.file.read(min(12, block.end - block.content))
    number, used = _number(head, keep_marker=False)
    track = reading.tracks.get(number)
    if used == 0 or len(head) < used + 3 or track is None or base >= 1 << 48:
        return
    offset = int.from_bytes(head[used : used + 2], signed=True)
    if key is None:
        key = bool(head[used + 2] & 0x80)
    if key:
        track.keys.append(len(track.times))
    track.times.append(base + offset)


def _span(element: _Element) -> tuple[int, int]:
    return element.content, element.end


def _content(reading: _Reading, element: _Element) -> bytes:
    if element.end - element.content > _MOST_PAYLOAD:
        return b""
    reading.file.seek(element.content)
    return reading.file.read(element.end - element.content)


def _elements(reading: _Reading, start: int, end: int) -> Iterator[_Element]:
    """Walk the elements between two places; one of unknown size reaches to the end."""
    place = start
    while place < end and reading.elements < _MOST_ELEMENTS:
        reading.elements += 1
        reading.file.seek(place)
        head = reading.file.read(12)
        name, name_bytes = _number(head, keep_marker=True)
        size, size_bytes = _number(head[name_bytes:], keep_marker=False)
        if name_bytes == 0 or size_bytes == 0:
            return
        content = place + name_bytes + size_bytes
        unknown = size == (1 << 7 * size_bytes) - 1
        stop = end if unknown else min(end, content + size)
        if unknown and name == _CLUSTER:
            stop = _end_of_open_cluster(reading, content, end)
        yield _Element(name, content, stop)
        place = stop


def _end_of_open_cluster(reading: _Reading, start: int, end: int) -> int:
    """A cluster of unknown size, as live recordings have them, ends where the next begins."""
    place = start
    while place < end and reading.elements < _MOST_ELEMENTS:
        reading.elements += 1
        reading.file.seek(place)
        head = reading.file.read(12)
        _, name_bytes = _number(head, keep_marker=True)
        size, size_bytes = _number(head[name_bytes:], keep_marker=False)
        if name_bytes in (0, 4) or size_bytes == 0:
            return place
        place += name_bytes + size_bytes + size
    return min(place, end)


def _number(raw: bytes, *, keep_marker: bool) -> tuple[int, int]:
    """A variable-size number and the bytes it takes; 0 bytes when there is none."""
    if not raw or raw[0] == 0:
        return 0, 0
    length = 9 - raw[0].bit_length()
    if len(raw) < length:
        return 0, 0
    value = int.from_bytes(raw[:length])
    if not keep_marker:
        value &= (1 << 7 * length) - 1
    return value, length
