"""Facts of mp4, mov and m4a files, from their raw boxes.

Source: ISO/IEC 14496-12 (movie, track and sample tables §8, fragments §8.8); Apple's *QuickTime
File Format* for ``©`` entries of user data and for metadata keys.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import BinaryIO, Literal

from fairhearing.core.recording.boxes import (
    Box,
    boxes_between,
    first,
    inside,
    payload,
    table,
)
from fairhearing.core.recording.facts import ContainerFacts, Edit, Run, TrackFacts, plain_text
from fairhearing.core.recording.fragments import fragment_samples

# Seconds from 1904-01-01, where these files count from, to 1970-01-01.
_EPOCH_1904_S = 2_082_844_800
_MOST_RUNS = 500_000
_MOST_TRACKS = 32
_MOST_WRITERS = 40
_KINDS: dict[bytes, Literal["video", "audio"]] = {b"vide": "video", b"soun": "audio"}


def read_iso(file: BinaryIO) -> ContainerFacts:
    """Read the facts of an mp4, mov or m4a file.

    Parameters
    ----------
    file : binary file
        Seekable; its position is changed.

    Returns
    -------
    ContainerFacts
        What could be read; a broken table counts as absent.
    """
    end = file.seek(0, 2)
    outer = list(boxes_between(file, 0, end))
    order: list[str] = []
    for box in outer:
        kind = plain_text(box.kind.decode("latin-1"), 4)
        if kind not in order and len(order) < 32:
            order.append(kind)
    movie = next((box for box in outer if box.kind == b"moov" and box.end <= end), None)
    brands = next((payload(file, box) for box in outer if box.kind == b"ftyp"), b"")
    if movie is None:
        return ContainerFacts("iso", _brands(brands), tuple(order), None, (), False, ())
    head = payload(file, first(file, movie, b"mvhd"))
    movie_scale = _movie_timescale(head)
    fragments = [box for box in outer if box.kind == b"moof" and box.end <= end]
    in_fragments = fragment_samples(file, movie, fragments) if fragments else {}
    tracks: list[TrackFacts] = []
    for box in inside(file, movie):
        if box.kind == b"trak" and len(tracks) < _MOST_TRACKS:
            track = _track(file, box, movie_scale, in_fragments)
            if track is not None:
                tracks.append(track)
    return ContainerFacts(
        container="iso",
        brands=_brands(brands),
        order=tuple(order),
        created=_created(head),
        writers=tuple(_writers(file, movie)),
        fragmented=bool(fragments),
        tracks=tuple(tracks),
    )


def _brands(content: bytes) -> tuple[str, ...]:
    names = [content[:4], *(content[n : n + 4] for n in range(8, min(len(content), 136), 4))]
    return tuple(text for name in names if (text := plain_text(name.decode("latin-1"), 4)))


def _movie_timescale(head: bytes) -> int:
    place = 20 if head[:1] == b"\1" else 12
    return int.from_bytes(head[place : place + 4]) or 1000


def _created(head: bytes) -> int | None:
    """Creation time of a movie, track or media header."""
    raw = int.from_bytes(head[4:12] if head[:1] == b"\1" else head[4:8])
    return raw - _EPOCH_1904_S if 0 < raw < 1 << 34 else None


def _track(
    file: BinaryIO, box: Box, movie_scale: int, in_fragments: dict[int, TrackFacts]
) -> TrackFacts | None:
    head = payload(file, first(file, box, b"tkhd"))
    number = int.from_bytes(head[20:24] if head[:1] == b"\1" else head[12:16])
    media = first(file, box, b"mdia")
    if media is None:
        return None
    media_head = payload(file, first(file, media, b"mdhd"))
    place = 20 if media_head[:1] == b"\1" else 12
    timescale = int.from_bytes(media_head[place : place + 4])
    handler = payload(file, first(file, media, b"hdlr"))
    samples = first(file, media, b"minf", b"stbl")
    if timescale == 0 or samples is None:
        return None
    fragment = in_fragments.get(number)
    durations = _runs(file, samples, b"stts")
    offsets = _runs(file, samples, b"ctts", signed=True)
    keys = _key_frames(file, samples)
    starts_at = 0
    if fragment is not None:
        durations, offsets = fragment.durations, fragment.offsets
        keys, starts_at = fragment.key_frames, fragment.starts_at
    return TrackFacts(
        kind=_KINDS.get(handler[8:12], "other"),
        codec=_codec(file, samples),
        timescale=timescale,
        handler=_handler_name(handler),
        created=_created(media_head),
        durations=durations,
        offsets=offsets if any(ticks for _, ticks in offsets) else (),
        key_frames=keys,
        edits=_edits(file, box, movie_scale),
        new_descriptions=_new_descriptions(file, samples),
        starts_at=starts_at,
    )


def _handler_name(content: bytes) -> str:
    """The name, with (mov) or without (mp4) a leading length byte."""
    name = content[24:]
    if name[:1] and name[0] == len(name) - 1:
        name = name[1:]
    return plain_text(name.split(b"\0")[0])


def _codec(file: BinaryIO, samples: Box) -> str:
    content = payload(file, first(file, samples, b"stsd"))
    return plain_text(content[12:16].decode("latin-1"), 4)


def _runs(file: BinaryIO, samples: Box, kind: bytes, *, signed: bool = False) -> tuple[Run, ...]:
    rows = table(payload(file, first(file, samples, kind)), 2)[:_MOST_RUNS]
    if signed:
        # Version 0 is unsigned by the letter, but writers put negative offsets in it, too.
        rows[:, 1] = (rows[:, 1] + (1 << 31)) % (1 << 32) - (1 << 31)
    return tuple((int(count), int(ticks)) for count, ticks in rows if count > 0)


def _key_frames(file: BinaryIO, samples: Box) -> tuple[int, ...] | None:
    box = first(file, samples, b"stss")
    if box is None:
        return None
    return tuple(int(n) - 1 for n in table(payload(file, box), 1)[:_MOST_RUNS, 0] if n > 0)


def _edits(file: BinaryIO, track: Box, movie_scale: int) -> tuple[Edit, ...]:
    content = payload(file, first(file, track, b"edts", b"elst"))
    if len(content) < 8:
        return ()
    long = content[0] == 1
    width = 20 if long else 12
    edits = []
    for n in range(min(int.from_bytes(content[4:8]), (len(content) - 8) // width, 1000)):
        row = content[8 + n * width : 8 + (n + 1) * width]
        half = 8 if long else 4
        lasts = int.from_bytes(row[:half])
        media_time = int.from_bytes(row[half : 2 * half], signed=True)
        edits.append(Edit(Fraction(lasts, movie_scale), media_time))
    return tuple(edits)


def _new_descriptions(file: BinaryIO, samples: Box) -> tuple[int, ...]:
    """Sample numbers at which the sample-to-chunk table goes to another description."""
    chunks = table(payload(file, first(file, samples, b"stsc")), 3)
    changes: list[int] = []
    sample, previous = 0, None
    for n, (chunk, per_chunk, description) in enumerate(chunks[:_MOST_RUNS]):
        if previous is not None and description != previous:
            changes.append(int(sample))
        previous = description
        if n + 1 < len(chunks):
            sample += int(chunks[n + 1][0] - chunk) * int(per_chunk)
    return tuple(changes[:1000])


def _writers(file: BinaryIO, movie: Box) -> Iterator[str]:
    """Short texts in user data and metadata: software, device, and the names of metadata keys."""
    found: list[str] = []
    for holder in (first(file, movie, b"udta"), movie):
        if holder is None:
            continue
        for box in inside(file, holder):
            if box.kind == b"meta":
                found += _metadata(file, box)
            elif box.kind[:1] == b"\xa9":
                content = payload(file, box)
                if len(content) >= 4:
                    found.append(_labelled(box.kind, content[4:]))
    yield from list(dict.fromkeys(text for text in found if text))[:_MOST_WRITERS]


def _metadata(file: BinaryIO, meta: Box) -> list[str]:
    # A full box in mp4 (four bytes of version first), a plain one in mov.
    file.seek(meta.content)
    skip = 0 if file.read(8)[4:8] == b"hdlr" else 4
    keys: list[str] = []
    texts: list[str] = []
    for box in inside(file, meta, skip):
        if box.kind == b"keys":
            keys = [
                plain_text(payload(file, key))
                for key in boxes_between(file, box.content + 8, box.end)
                if key.end <= box.end
            ][:_MOST_WRITERS]
        elif box.kind == b"ilst":
            for entry in list(inside(file, box))[:_MOST_WRITERS]:
                content = payload(file, first(file, entry, b"data"))
                number = int.from_bytes(entry.kind)
                if 0 < number <= len(keys):
                    texts.append(f"{keys[number - 1]}: {plain_text(content[8:])}")
                elif entry.kind[:1] == b"\xa9":
                    texts.append(_labelled(entry.kind, content[8:]))
    return texts


def _labelled(kind: bytes, text: bytes) -> str:
    return f"{plain_text(kind[1:].decode('latin-1'))}: {plain_text(text)}"
