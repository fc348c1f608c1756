"""How the child process hands sound and pictures to the parent: small framed messages.

Conventions
-----------
A message is one byte of kind, four bytes of payload length (little endian) and the payload.
``P`` (probe) and ``E`` (end) and ``X`` (refusal) carry JSON; ``S`` (sound) and ``V`` (picture)
carry a fixed head and raw numbers. The parent trusts none of it: every length, shape and number
is checked, because a decoder that a hostile file has taken over may send anything.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from fractions import Fraction
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.recording.types import Picture, SoundBlock

LONG_SIDE_PX = 320
MOST_SAMPLES = 1 << 18
MOST_JSON = 16 << 20

_HEAD = struct.Struct("<cI")
_SOUND = struct.Struct("<qqIB")
_PICTURE = struct.Struct("<qqHHB")
_TICKS = 1 << 62


class BadMessage(ValueError):  # noqa: N818 - it is a message that is bad, not our error
    """A message that the child cannot have meant."""


def pack_json(kind: bytes, content: Mapping[str, object]) -> bytes:
    """One message with JSON in it."""
    payload = json.dumps(content, separators=(",", ":")).encode()
    return _HEAD.pack(kind, len(payload)) + payload


def pack_sound(start: Fraction, samples: NDArray[np.float32]) -> bytes:
    """One message with a stretch of sound, shape (n, channels)."""
    count, channels = samples.shape
    head = _SOUND.pack(start.numerator, start.denominator, count, channels)
    body = np.ascontiguousarray(samples, dtype="<f4").tobytes()
    return _HEAD.pack(b"S", len(head) + len(body)) + head + body


def pack_picture(time: Fraction, luma: NDArray[np.uint8], key_frame: bool) -> bytes:
    """One message with a reduced picture, shape (height, width)."""
    height, width = luma.shape
    head = _PICTURE.pack(time.numerator, time.denominator, height, width, key_frame)
    body = np.ascontiguousarray(luma).tobytes()
    return _HEAD.pack(b"V", len(head) + len(body)) + head + body


def read_message(pipe: BinaryIO) -> tuple[bytes, bytearray] | None:
    """Read the next message, or None when the child has closed its end between two messages.

    Raises
    ------
    BadMessage
        The message is longer than its kind allows, or breaks off.
    """
    head = bytearray(_HEAD.size)
    got = _fill(pipe, head)
    if got == 0:
        return None
    if got < _HEAD.size:
        raise BadMessage("head breaks off")
    kind, length = _HEAD.unpack(head)
    if length > _most_bytes(kind):
        raise BadMessage("too long")
    payload = bytearray(length)
    if _fill(pipe, payload) < length:
        raise BadMessage("payload breaks off")
    return kind, payload


def read_json(payload: bytearray) -> dict[str, object]:
    """The JSON object of a message."""
    try:
        content = json.loads(payload)
    except (ValueError, RecursionError) as error:
        raise BadMessage("no JSON") from error
    if not isinstance(content, dict):
        raise BadMessage("no JSON object")
    return content


def read_sound(payload: bytearray, channels: int) -> SoundBlock:
    """The sound of a message whose track has the given number of channels."""
    if len(payload) < _SOUND.size:
        raise BadMessage("sound head breaks off")
    numerator, denominator, count, sent_channels = _SOUND.unpack_from(payload)
    if sent_channels != channels or len(payload) != _SOUND.size + 4 * count * channels:
        raise BadMessage("sound of another shape than announced")
    samples = np.frombuffer(payload, "<f4", offset=_SOUND.size).reshape(count, channels)
    samples.flags.writeable = False
    return SoundBlock(_time(numerator, denominator), samples)


def read_picture(payload: bytearray) -> Picture:
    """The picture of a message."""
    if len(payload) < _PICTURE.size:
        raise BadMessage("picture head breaks off")
    numerator, denominator, height, width, key_frame = _PICTURE.unpack_from(payload)
    if not (0 < height <= LONG_SIDE_PX and 0 < width <= LONG_SIDE_PX):
        raise BadMessage("picture of impossible size")
    if len(payload) != _PICTURE.size + height * width:
        raise BadMessage("picture of another shape than announced")
    luma = np.frombuffer(payload, np.uint8, offset=_PICTURE.size).reshape(height, width)
    luma.flags.writeable = False
    return Picture(_time(numerator, denominator), luma, bool(key_frame))


def _time(numerator: int, denominator: int) -> Fraction:
    if denominator <= 0 or abs(numerator) > _TICKS:
        raise BadMessage("impossible time")
    return Fraction(numerator, denominator)


def _most_bytes(kind: bytes) -> int:
    if kind == b"S":
        return _SOUND.size + 4 * 2 * MOST_SAMPLES
    if kind == b"V":
        return _PICTURE.size + LONG_SIDE_PX * LONG_SIDE_PX
    if kind in b"PEX":
        return MOST_JSON
    raise BadMessage("unknown kind")


def _fill(pipe: BinaryIO, target: bytearray) -> int:
    """Read until the target is full or the pipe ends; return how much came."""
    view = memoryview(target)
    got = 0
    while got < len(target):
        more = pipe.readinto(view[got:])  # type: ignore[attr-defined]
        if not more:
            break
        got += more
    return got
