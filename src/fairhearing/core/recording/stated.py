"""What a recording says about itself: the child's facts, checked and made into a Probe.

The child may have been taken over by a hostile file, so each fact is tested for its type and
range, and no text of the child is passed on.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

from fairhearing.core.recording.facts_sent import facts_from_json
from fairhearing.core.recording.types import AudioStream, Probe, VideoStream
from fairhearing.core.recording.wire import BadMessage

_MISSING_S = 1.5  # an announced end may be this far off by rounding and padding


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of the file without decoding it."""

    name: str
    sha256: str
    bytes: int
    container: str


def probe_of(known: Known, facts: dict[str, object]) -> Probe:
    """Make the probe from the child's first message.

    Raises
    ------
    BadMessage
        A fact is missing or impossible.
    """
    video, audio = facts.get("video"), facts.get("audio")
    return Probe(
        name=known.name,
        sha256=known.sha256,
        bytes=known.bytes,
        container=known.container,
        duration_s=_number(facts, "duration_s", 0.0, 1e9),
        video=_video(video) if isinstance(video, dict) else None,
        audio=_audio(audio) if isinstance(audio, dict) else None,
        facts=facts_from_json(facts.get("facts")),
    )


def closed_probe(probe: Probe, facts: dict[str, object]) -> Probe:
    """Complete the probe from the child's last message: true length, true rate, warnings."""
    ends = [_number(facts, key, 0.0, 1e9) for key in ("sound_end_s", "picture_end_s")]
    found = max((end for end in ends if end is not None), default=None)
    video = probe.video
    if video is not None:
        video = dataclasses.replace(video, variable_rate=facts.get("variable_rate") is True)
    warnings = []
    if found is None:
        return probe
    announced = probe.duration_s
    if announced is not None and probe.container != "mp3" and found < announced - _MISSING_S:
        warnings.append(
            f"The file ends at {_clock(found)} although it announces {_clock(announced)}; "
            "the rest is missing."
        )
    spoiled = _whole(facts, "spoiled", 0, 1 << 40)
    if spoiled:
        places = "place" if spoiled == 1 else "places"
        warnings.append(f"The file has {spoiled} spoiled {places}, which could not be played.")
    return dataclasses.replace(probe, duration_s=found, video=video, warnings=tuple(warnings))


def _video(facts: dict[str, object]) -> VideoStream:
    rotation = _whole(facts, "rotation_deg", 0, 270)
    if rotation % 90:
        raise BadMessage("crooked picture")
    return VideoStream(
        codec=_word(facts, "codec"),
        width=_whole(facts, "width", 1, 1 << 16),
        height=_whole(facts, "height", 1, 1 << 16),
        rotation_deg=rotation,
        frame_rate=_number(facts, "frame_rate", 0.0, 1e6),
        variable_rate=False,
    )


def _audio(facts: dict[str, object]) -> AudioStream:
    return AudioStream(
        codec=_word(facts, "codec"),
        sample_rate_hz=_whole(facts, "sample_rate_hz", 1000, 768_000),
        channels=_whole(facts, "channels", 1, 2),
    )


def _number(facts: dict[str, object], key: str, least: float, most: float) -> float | None:
    value = facts.get(key)
    if value is None:
        return None
    if not isinstance(value, (int, float)) or not math.isfinite(value):
        raise BadMessage(f"{key} is no number")
    return float(value) if least <= value <= most else None


def _whole(facts: dict[str, object], key: str, least: int, most: int) -> int:
    value = facts.get(key)
    if not isinstance(value, int) or not least <= value <= most:
        raise BadMessage(f"{key} is impossible")
    return value


def _word(facts: dict[str, object], key: str) -> str:
    value = facts.get(key)
    if not isinstance(value, str) or not value.replace("_", "").isalnum() or len(value) > 32:
        raise BadMessage(f"{key} is no word")
    return value


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}"
