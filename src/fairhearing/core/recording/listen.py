"""Open an untrusted recording and let observers watch its one decoding pass.

The file is opened here and handed to a guarded child process, which decodes it and streams
sound and pictures back; the observers run in this process at the same time, on another core.
When they are slower, the pipe fills and the child waits: memory stays bounded.
"""

from __future__ import annotations

import dataclasses
import hashlib
import os
import stat
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

from fairhearing.core.recording.guard import GuardedChild
from fairhearing.core.recording.limits import Limits
from fairhearing.core.recording.opening import HEAD_BYTES, Kind, kind_of, looks_like_text
from fairhearing.core.recording.refusals import refusal
from fairhearing.core.recording.stated import Known, closed_probe, probe_of
from fairhearing.core.recording.types import Observer, Probe
from fairhearing.core.recording.wire import BadMessage, read_json, read_picture, read_sound


def listen(
    path: str | os.PathLike[str],
    observers: Sequence[Observer],
    *,
    limits: Limits | None = None,
    pictures: bool = True,
    sound_required: bool = True,
) -> Probe:
    """Decode a recording once, in a guarded child process, and feed every observer.

    Parameters
    ----------
    path : path-like
        The recording: mp4, mov, webm, m4a, wav or mp3, whatever its name says.
    observers : sequence of Observer
        They are called in this order for every block and picture.
    limits : Limits, optional
        Bounds on size, length, memory and time.
    pictures : bool
        False leaves the picture track undecoded (several times as fast).
    sound_required : bool
        True refuses a file without a sound track.

    Returns
    -------
    Probe
        As handed to the observers, but with the duration and the variability of the frame rate
        as found, and with warnings about missing or spoiled parts.

    Raises
    ------
    RecordingError
        The file cannot be heard, broke a limit, or its decoder ended; one plain sentence.
        What an observer raises ends the child and comes through unchanged.
    """
    asked = {"pictures": pictures, "sound_required": sound_required}
    return _listened(Path(path), observers, limits or Limits(), asked)


def screen(
    path: str | os.PathLike[str], *, limits: Limits | None = None, sound_required: bool = True
) -> Probe:
    """Look at a recording without decoding it: tracks, container facts, digest.

    A small fraction of the time of :func:`listen`; for a first look at a whole folder.

    Parameters
    ----------
    path, limits, sound_required
        As for :func:`listen`.

    Returns
    -------
    Probe
        What the file announces about itself.

    Raises
    ------
    RecordingError
        The file cannot be opened; what only decoding shows is not noticed.
    """
    asked = {"pictures": True, "sound_required": sound_required, "screen": True}
    return _listened(Path(path), (), limits or Limits(), asked)


def _listened(
    path: Path, observers: Sequence[Observer], limits: Limits, asked: dict[str, bool]
) -> Probe:
    name = path.name or str(path)
    with _opened(path, name, limits) as file:
        size = os.fstat(file.fileno()).st_size
        head = file.read(HEAD_BYTES)
        kind = _kind(head, name)
        file.seek(0)
        job = {"demuxer": kind.demuxer, "limits": dataclasses.asdict(limits), **asked}
        with GuardedChild(file, job, limits, name) as child:
            digest = _sha256(path)
            try:
                return _heard(child, Known(name, digest, size, kind.container), observers)
            except BadMessage as error:
                raise refusal("ended", name) from error


def _heard(child: GuardedChild, known: Known, observers: Sequence[Observer]) -> Probe:
    """Read the child's messages and call the observers."""
    kind, payload = child.next()
    if kind != b"P":
        raise BadMessage("something else before the probe")
    probe = probe_of(known, read_json(payload))
    for observer in observers:
        observer.begin(probe)
    channels = probe.audio.channels if probe.audio else 0
    while True:
        kind, payload = child.next()
        if kind == b"S" and channels:
            block = read_sound(payload, channels)
            child.moved_on(float(block.start))
            for observer in observers:
                observer.sound(block)
        elif kind == b"V" and probe.video:
            picture = read_picture(payload)
            child.moved_on(float(picture.time))
            for observer in observers:
                observer.picture(picture)
        elif kind == b"E":
            break
        else:
            raise BadMessage("message out of place")
    closed = closed_probe(probe, read_json(payload))
    for observer in observers:
        observer.finish()
    return closed


def _opened(path: Path, name: str, limits: Limits) -> BinaryIO:
    """Open the file, or say plainly why it cannot be."""
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise refusal("folder", name)
        if not stat.S_ISREG(status.st_mode):
            raise refusal("special", name)
        if status.st_size == 0:
            raise refusal("empty", name)
        if status.st_size > limits.file_bytes:
            raise refusal("too_big", name, limit=round(limits.file_bytes / 2**30, 1))
        return path.open("rb", buffering=0)
    except FileNotFoundError as error:
        raise refusal("missing", name) from error
    except (OSError, ValueError) as error:
        raise refusal("unreadable", name) from error


def _kind(head: bytes, name: str) -> Kind:
    kind = kind_of(head)
    if kind is not None:
        return kind
    raise refusal("text" if looks_like_text(head) else "not_recording", name)


def _sha256(path: Path) -> str:
    """Digest of the whole file; read apart from the child, which moves its own position."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
