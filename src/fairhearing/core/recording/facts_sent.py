"""Container facts on their way from the child to the parent: to plain JSON and, checked, back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from fractions import Fraction
from typing import Literal, cast

from fairhearing.core.recording.facts import (
    ContainerFacts,
    Edit,
    Run,
    TrackFacts,
    plain_text,
)
from fairhearing.core.recording.wire import BadMessage

_MOST_TRACKS = 32
_MOST_ROWS = 1_000_000
_MOST = 1 << 62


def facts_to_json(facts: ContainerFacts) -> dict[str, object]:
    """Plain lists and numbers; a track whose numbers make no sense is left out."""
    tracks = [json.loads(json.dumps(_track_to_json(track))) for track in facts.tracks]
    return {
        "container": facts.container,
        "brands": list(facts.brands),
        "order": list(facts.order),
        "created": facts.created,
        "writers": list(facts.writers),
        "fragmented": facts.fragmented,
        "tracks": [track for track in tracks if _makes_sense(track)],
    }


def _makes_sense(track: Mapping[str, object]) -> bool:
    try:
        _track(track)
    except BadMessage:
        return False
    return True


def _track_to_json(track: TrackFacts) -> dict[str, object]:
    return {
        "kind": track.kind,
        "codec": track.codec,
        "timescale": track.timescale,
        "handler": track.handler,
        "created": track.created,
        "durations": track.durations,
        "offsets": track.offsets,
        "key_frames": track.key_frames,
        "edits": [
            (edit.lasts_s.numerator, edit.lasts_s.denominator, edit.media_time)
            for edit in track.edits
        ],
        "new_descriptions": track.new_descriptions,
        "starts_at": track.starts_at,
    }


def facts_from_json(sent: object) -> ContainerFacts:
    """Check and rebuild.

    Raises
    ------
    BadMessage
        Something is missing, of another type, or out of range.
    """
    facts = _mapping(sent)
    tracks = _rows(facts, "tracks", _MOST_TRACKS)
    return ContainerFacts(
        container=_container(facts.get("container")),
        brands=_texts(facts, "brands"),
        order=_texts(facts, "order"),
        created=_created(facts),
        writers=_texts(facts, "writers", 400),
        fragmented=facts.get("fragmented") is True,
        tracks=tuple(_track(_mapping(track)) for track in tracks),
    )


def _track(track: Mapping[str, object]) -> TrackFacts:
    keys = None if track.get("key_frames") is None else _numbers(track, "key_frames")
    return TrackFacts(
        kind=_kind(track.get("kind")),
        codec=_text(track.get("codec")),
        timescale=_number(track.get("timescale"), 1, 1 << 32),
        handler=_text(track.get("handler")),
        created=_created(track),
        durations=_runs(track, "durations"),
        offsets=_runs(track, "offsets"),
        key_frames=keys,
        edits=tuple(_edit(row) for row in _rows(track, "edits", 1000)),
        new_descriptions=_numbers(track, "new_descriptions"),
        starts_at=_number(track.get("starts_at"), -_MOST, _MOST),
    )


def _edit(row: object) -> Edit:
    if not isinstance(row, list) or len(row) != 3:
        raise BadMessage("no edit")
    lasts = Fraction(_number(row[0], 0, _MOST), _number(row[1], 1, _MOST))
    return Edit(lasts, _number(row[2], -_MOST, _MOST))


def _runs(track: Mapping[str, object], key: str) -> tuple[Run, ...]:
    runs = []
    for row in _rows(track, key, _MOST_ROWS):
        if not isinstance(row, list) or len(row) != 2:
            raise BadMessage(f"no run in {key}")
        runs.append((_number(row[0], 1, 1 << 32), _number(row[1], -(1 << 48), 1 << 48)))
    return tuple(runs)


def _numbers(track: Mapping[str, object], key: str) -> tuple[int, ...]:
    return tuple(_number(value, 0, 1 << 32) for value in _rows(track, key, _MOST_ROWS))


def _rows(facts: Mapping[str, object], key: str, most: int) -> list[object]:
    rows = facts.get(key)
    if not isinstance(rows, list) or len(rows) > most:
        raise BadMessage(f"{key} is no list")
    return cast(list[object], rows)


def _mapping(sent: object) -> Mapping[str, object]:
    if not isinstance(sent, dict):
        raise BadMessage("no facts")
    return cast(Mapping[str, object], sent)


def _texts(facts: Mapping[str, object], key: str, most: int = 200) -> tuple[str, ...]:
    return tuple(_text(value, most) for value in _rows(facts, key, 64))


def _text(value: object, most: int = 200) -> str:
    if not isinstance(value, str):
        raise BadMessage("no text")
    return plain_text(value, most)


def _number(value: object, least: int, most: int) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
        raise BadMessage("no number, or out of range")
    return value


def _created(facts: Mapping[str, object]) -> int | None:
    value = facts.get("created")
    return None if value is None else _number(value, -(1 << 40), 1 << 40)


def _container(value: object) -> Literal["iso", "matroska", "other"]:
    if value == "iso":
        return "iso"
    return "matroska" if value == "matroska" else "other"


def _kind(value: object) -> Literal["video", "audio", "other"]:
    if value == "video":
        return "video"
    return "audio" if value == "audio" else "other"
