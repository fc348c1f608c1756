"""The one decoding pass, inside the child process: packets in, messages out.

Nothing here trusts the file. The demuxer is named beforehand, decoders come from a list, no
protocol is open, and every limit is checked again on what really comes out of the decoders.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, BinaryIO

import av
import av.error
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.packet import Packet
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

from fairhearing.core.recording.boxes import has_movie_box
from fairhearing.core.recording.confine import allow_cpu
from fairhearing.core.recording.facts_sent import facts_to_json
from fairhearing.core.recording.limits import Limits
from fairhearing.core.recording.picture_track import PictureTrack
from fairhearing.core.recording.reading_facts import read_facts
from fairhearing.core.recording.sound_track import SoundTrack
from fairhearing.core.recording.wire import pack_json, pack_picture, pack_sound

VIDEO_CODECS = {"h264", "hevc", "vp8", "vp9", "av1", "libdav1d"}
AUDIO_CODECS = {
    *("aac", "mp3", "mp3float", "opus", "vorbis", "alac", "flac"),
    *("pcm_s16le", "pcm_s16be", "pcm_s24le", "pcm_s24be", "pcm_s32le", "pcm_f32le", "pcm_u8"),
}
_HELD_MESSAGES = 256
_SCREENED_PACKETS = 200
_CPU_STEP_S = 10


class Refused(Exception):  # noqa: N818 - a refusal, turned into the user's sentence by the parent
    """The recording cannot be heard, with the reason and figures for the parent's sentence."""

    def __init__(self, reason: str, **figures: object) -> None:
        super().__init__(reason)
        self.reason = reason
        self.figures = figures


@dataclass(frozen=True, slots=True)
class Job:
    """What the parent asks of the child."""

    demuxer: str
    limits: Limits
    pictures: bool
    sound_required: bool
    screen: bool = False


class _Source:
    """The open file as FFmpeg's input and output want it: seeking never raises."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file

    def read(self, size: int) -> bytes:
        return self._file.read(size) or b""

    def seek(self, position: int, whence: int = 0) -> int:
        try:
            return self._file.seek(position, whence)
        except (OSError, ValueError):
            return -1

    def tell(self) -> int:
        return self._file.tell()


def decode(file: BinaryIO, job: Job, send: Callable[[bytes], object]) -> None:
    """Decode an open file once and send what it holds.

    Parameters
    ----------
    file : binary file
        Open for reading, at its start.
    job : Job
        Kind and limits.
    send : callable
        Takes one packed message; blocks while the parent is busy.

    Raises
    ------
    Refused
        The recording cannot be heard, or broke a limit.
    """
    facts = facts_to_json(read_facts(file, job.demuxer))
    file.seek(0)
    try:
        with _open(file, job) as container:
            one_pass = _Pass(container, job, send, facts)
            if job.screen:
                one_pass.screen()
            else:
                one_pass.run()
    except MemoryError as error:
        raise Refused("memory") from error
    except av.error.FFmpegError as error:
        if job.demuxer == "mov" and not has_movie_box(file):
            raise Refused("cut_off") from error
        raise Refused("damaged", detail=type(error).__name__) from error


def _open(file: BinaryIO, job: Job) -> InputContainer:
    codecs = ",".join(sorted(VIDEO_CODECS | AUDIO_CODECS))
    options = {
        "format_whitelist": job.demuxer,
        "codec_whitelist": codecs,
        "protocol_whitelist": "",
        "max_pixels": str(job.limits.picture_pixels),
    }
    if job.demuxer == "mov":
        options |= {"enable_drefs": "0", "use_absolute_path": "0"}
    return av.open(
        _Source(file),
        "r",
        format=job.demuxer,
        options=options,
        buffer_size=1 << 17,
        metadata_errors="replace",  # titles and names come in any code page
    )


class _Pass:
    """State of the one pass over a container."""

    def __init__(
        self,
        container: InputContainer,
        job: Job,
        send: Callable[[bytes], object],
        facts: dict[str, object],
    ) -> None:
        self._facts = facts
        self._container = container
        self._job = job
        self._send = send
        self._video = _chosen_video(container, job) if job.pictures else None
        self._audio = _chosen_audio(container)
        if self._audio is None and job.sound_required:
            raise Refused("no_sound")
        if self._audio is None and self._video is None:
            raise Refused("no_sound" if not job.pictures else "no_tracks")
        self._origin = self._first_time() if job.demuxer != "mov" else Fraction(0)
        self._sound: SoundTrack | None = None
        self._pictures: PictureTrack | None = None
        self._held: list[bytes] | None = []
        self._spoiled = 0
        self._cpu_until = Fraction(0)

    def screen(self) -> None:
        """Look at the first picture only, which tells how the film is turned."""
        if self._video is not None:
            for packet in itertools.islice(self._packets(), _SCREENED_PACKETS):
                frames = self._decoded(packet) if packet.stream is self._video else []
                if frames:
                    self._pictures = PictureTrack(frames[0].rotation, self._origin)
                    break
        self._send(pack_json(b"P", self._probe()))
        self._send(pack_json(b"E", {"spoiled": 0}))

    def run(self) -> None:
        for packet in self._packets():
            for frame in self._decoded(packet):
                if isinstance(frame, VideoFrame):
                    self._take_picture(frame)
                else:
                    self._take_sound(frame)
        if self._sound is not None:
            self._send_sound(self._sound.finish())
        if self._audio is not None and (self._sound is None or self._sound.total == 0):
            raise Refused("damaged" if self._spoiled else "silent_track")
        if self._sound is None and self._pictures is None:
            raise Refused("damaged")
        self._announce()
        self._send(pack_json(b"E", self._closing()))

    def _packets(self) -> Iterator[Packet[Any]]:
        streams = [s for s in (self._video, self._audio) if s is not None]
        for stream in streams:
            stream.codec_context.options = {"max_pixels": str(self._job.limits.picture_pixels)}
        if self._video is not None:
            alone = self._job.screen or self._job.limits.decode_threads == 1
            self._video.codec_context.thread_type = "NONE" if alone else "FRAME"
            self._video.codec_context.thread_count = 1 if alone else self._job.limits.decode_threads
        demuxed = self._container.demux(streams)
        while True:
            try:
                packet = next(demuxed)
            except StopIteration:
                return
            except av.error.InvalidDataError:
                # The rest cannot be read; what was decoded so far still counts.
                self._spoiled += 1
                return
            yield packet

    def _decoded(self, packet: Packet[Any]) -> list[Any]:
        try:
            return list(packet.decode())
        except av.error.MemoryError:
            raise
        except (av.error.InvalidDataError, av.error.ArgumentError, av.error.PatchWelcomeError):
            self._spoiled += 1
            return []

    def _take_picture(self, frame: VideoFrame) -> None:
        limits = self._job.limits
        if frame.width * frame.height > limits.picture_pixels:
            raise Refused("picture_size", width=frame.width, height=frame.height)
        if self._pictures is None:
            self._pictures = PictureTrack(frame.rotation, self._origin)
        shown = self._pictures.take(frame)
        if shown is None:
            return
        if self._pictures.total > limits.pictures:
            raise Refused("too_many_pictures", limit=limits.pictures)
        self._check_time(shown.time)
        self._post(pack_picture(shown.time, shown.luma, shown.key_frame))

    def _take_sound(self, frame: AudioFrame) -> None:
        if self._sound is None:
            channels = min(2, max(1, frame.layout.nb_channels))
            self._sound = SoundTrack(frame.sample_rate, channels, self._origin)
        self._send_sound(self._sound.take(frame))

    def _send_sound(self, blocks: Iterator[tuple[Fraction, Any]]) -> None:
        for start, samples in blocks:
            self._check_time(start)
            self._post(pack_sound(start, samples))

    def _check_time(self, time: Fraction) -> None:
        limits = self._job.limits
        if time > limits.duration_s:
            raise Refused("too_long", limit=round(limits.duration_s / 60))
        if time >= self._cpu_until:
            self._cpu_until = time + _CPU_STEP_S
            share = limits.start_s + limits.pace * float(self._cpu_until)
            allow_cpu(share * max(1, limits.decode_threads))

    def _post(self, message: bytes) -> None:
        """Send, but not before the probe: it waits for the first picture and sound."""
        if self._held is None:
            self._send(message)
            return
        self._held.append(message)
        waiting = (self._video is not None and self._pictures is None) or (
            self._audio is not None and self._sound is None
        )
        if not waiting or len(self._held) >= _HELD_MESSAGES:
            self._announce()

    def _announce(self) -> None:
        if self._held is None:
            return
        self._send(pack_json(b"P", self._probe()))
        for message in self._held:
            self._send(message)
        self._held = None

    def _first_time(self) -> Fraction:
        """Earliest time stamp of the chosen tracks; players count from there."""
        starts = [
            stream.start_time * stream.time_base
            for stream in (self._video, self._audio)
            if stream is not None and stream.start_time is not None and stream.time_base is not None
        ]
        return max(Fraction(0), min(starts)) if starts else Fraction(0)

    def _probe(self) -> dict[str, object]:
        duration = self._container.duration
        return {
            "facts": self._facts,
            "duration_s": None if duration is None or duration <= 0 else duration / 1_000_000,
            "video": None if self._video is None else self._video_facts(self._video),
            "audio": None if self._audio is None else self._audio_facts(self._audio),
        }

    def _video_facts(self, stream: VideoStream) -> dict[str, object]:
        rate = stream.average_rate
        return {
            "codec": stream.codec_context.name,
            "width": stream.codec_context.width,
            "height": stream.codec_context.height,
            "rotation_deg": self._pictures.rotation_deg if self._pictures else 0,
            "frame_rate": float(rate) if rate else None,
        }

    def _audio_facts(self, stream: AudioStream) -> dict[str, object]:
        name = stream.codec_context.name
        if self._sound is None:
            rate = stream.codec_context.sample_rate
            channels = min(2, max(1, stream.codec_context.layout.nb_channels))
            # The probe goes out before any sound; what comes later is fitted to it.
            self._sound = SoundTrack(rate, channels, self._origin)
        return {
            "codec": "mp3" if name == "mp3float" else name,
            "sample_rate_hz": self._sound.rate_hz,
            "channels": self._sound.channels,
        }

    def _closing(self) -> dict[str, object]:
        return {
            "sound_end_s": float(self._sound.end) if self._sound else None,
            "sound_jumps": self._sound.jumps if self._sound else 0,
            "picture_end_s": float(self._pictures.end) if self._pictures else None,
            "pictures": self._pictures.total if self._pictures else 0,
            "variable_rate": self._pictures.variable_rate if self._pictures else False,
            "spoiled": self._spoiled,
        }


def _chosen_video(container: InputContainer, job: Job) -> VideoStream | None:
    """The first real picture track (no cover art), or None."""
    refused = None
    for stream in container.streams.video:
        if "attached_pic" in str(stream.disposition.name):
            continue
        name = stream.codec_context.name if stream.codec_context is not None else None
        if name not in VIDEO_CODECS:
            refused = name or "unknown"
            continue
        width, height = stream.codec_context.width, stream.codec_context.height
        if width * height > job.limits.picture_pixels:
            raise Refused("picture_size", width=width, height=height)
        return stream
    if refused is not None:
        raise Refused("codec", codec=refused)
    return None


def _chosen_audio(container: InputContainer) -> AudioStream | None:
    """The first sound track that can be decoded, or None."""
    refused = None
    for stream in container.streams.audio:
        name = stream.codec_context.name if stream.codec_context is not None else None
        if name in AUDIO_CODECS:
            return stream
        refused = name or "unknown"
    if refused is not None:
        raise Refused("codec", codec=refused)
    return None
