"""Sample tables of fragmented films, as browsers and some phones record them.

Source: ISO/IEC 14496-12 §8.8 (``mvex``, ``moof``, ``tfhd``, ``tfdt``, ``trun``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import BinaryIO

import numpy as np

from fairhearing.core.recording.boxes import Box, first, inside, payload
from fairhearing.core.recording.facts import TrackFacts, in_runs

_MOST_SAMPLES = 1_000_000
_NOT_KEY = 0x10000  # sample_is_non_sync_sample


@dataclass(slots=True)
class _Samples:
    """What has been gathered of one track."""

    durations: list[int] = field(default_factory=list)
    offsets: list[int] = field(default_factory=list)
    keys: list[int] = field(default_factory=list)
    starts_at: int | None = None
    clock: int = 0


def fragment_samples(file: BinaryIO, movie: Box, fragments: Sequence[Box]) -> dict[int, TrackFacts]:
    """Sample tables by track number; only the table fields of the result are meaningful."""
    defaults: dict[int, tuple[int, int]] = {}
    extends = first(file, movie, b"mvex")
    if extends is not None:
        for box in inside(file, extends):
            content = payload(file, box)
            if box.kind == b"trex" and len(content) >= 24:
                number, _, duration, _, flags = np.frombuffer(content, ">u4", 5, 4).tolist()
                defaults[number] = (duration, flags)
    gathered: dict[int, _Samples] = {}
    for fragment in fragments:
        for track in inside(file, fragment):
            if track.kind == b"traf":
                _take(file, track, defaults, gathered)
    return {number: _facts(samples) for number, samples in gathered.items()}


def _facts(samples: _Samples) -> TrackFacts:
    every = len(samples.keys) == len(samples.durations)
    return TrackFacts(
        kind="other",
        codec="",
        timescale=1,
        handler="",
        created=None,
        durations=in_runs(samples.durations),
        offsets=in_runs(samples.offsets),
        key_frames=None if every else tuple(samples.keys),
        edits=(),
        new_descriptions=(),
        starts_at=samples.starts_at or 0,
    )


def _take(
    file: BinaryIO,
    track: Box,
    defaults: dict[int, tuple[int, int]],
    gathered: dict[int, _Samples],
) -> None:
    head = payload(file, first(file, track, b"tfhd"))
    if len(head) < 8:
        return
    flags, number = int.from_bytes(head[1:4]), int.from_bytes(head[4:8])
    duration, sample_flags = defaults.get(number, (0, 0))
    place = 8 + (8 if flags & 1 else 0) + (4 if flags & 2 else 0)
    if flags & 8:
        duration, place = int.from_bytes(head[place : place + 4]), place + 4
    if flags & 0x10:
        place += 4
    if flags & 0x20:
        sample_flags = int.from_bytes(head[place : place + 4])
    samples = gathered.setdefault(number, _Samples())
    time = payload(file, first(file, track, b"tfdt"))
    if len(time) >= 8:
        start = int.from_bytes(time[4:12] if time[0] == 1 else time[4:8])
        if samples.starts_at is None:
            samples.starts_at = start
        elif samples.durations:
            # A fragment's own start wins over the sum of what came before.
            samples.durations[-1] += start - samples.clock
        samples.clock = start
    for box in inside(file, track):
        if box.kind == b"trun":
            _run(payload(file, box), samples, duration, sample_flags)


def _run(content: bytes, samples: _Samples, duration: int, sample_flags: int) -> None:
    if len(content) < 8:
        return
    version, flags = content[0], int.from_bytes(content[1:4])
    count = int.from_bytes(content[4:8])
    place = 8 + (4 if flags & 1 else 0)
    first_flags = None
    if flags & 4:
        first_flags, place = int.from_bytes(content[place : place + 4]), place + 4
    columns = [bit for bit in (0x100, 0x200, 0x400, 0x800) if flags & bit]
    if columns:
        count = min(count, (len(content) - place) // (4 * len(columns)))
    count = min(count, _MOST_SAMPLES - len(samples.durations))
    if count <= 0:
        return
    rows = np.frombuffer(content, ">u4", count * len(columns), place)
    fields = dict(zip(columns, rows.reshape(count, len(columns)).T, strict=True))
    durations = fields[0x100].tolist() if 0x100 in fields else [duration] * count
    each = fields[0x400].tolist() if 0x400 in fields else [sample_flags] * count
    if first_flags is not None:
        each[0] = first_flags
    if 0x800 in fields:
        offsets = fields[0x800].astype(np.uint32)
        samples.offsets += (offsets.view(np.int32) if version else offsets).tolist()
    else:
        samples.offsets += [0] * count
    before = len(samples.durations)
    samples.durations += durations
    samples.keys += [before + n for n, flag in enumerate(each) if not flag & _NOT_KEY]
    samples.clock += sum(durations)
