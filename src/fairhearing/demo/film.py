"""Write a take as a video file, as a phone or a school laptop would; join two of them.

Uses the encoders that PyAV carries. The time stamps of the pictures are the scene's own, in
1/90000 s: the frame rate is as uneven as the camera was. Nothing in the file depends on the clock
or on chance: the same take gives the same bytes with the same libraries.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import cast

import av
import numpy as np
from av.audio.stream import AudioStream
from av.container import OutputContainer
from av.video.stream import VideoStream
from numpy.typing import NDArray
from scipy.signal import resample_poly

_TICK = Fraction(1, 90_000)
_BLOCK = 1024
# Within the season's dates: invented, and the same for all, so that files do not change.
_DATE = "2027-05-02T16:30:00.000000Z"


@dataclass(frozen=True, slots=True)
class Codecs:
    """How one kind of file is encoded: names and options as FFmpeg spells them."""

    container: str
    video: str
    video_options: dict[str, str]
    audio: str
    audio_bit_rate: int
    audio_options: dict[str, str] = field(default_factory=dict)


_X264 = {
    "preset": "ultrafast",
    "crf": "28",
    "threads": "1",
    "g": "60",
    "x264-params": "rc-lookahead=0:scenecut=0:weightp=0",
}
# Half the time of the default search, and here a higher signal-to-noise ratio as well.
_AAC = {"aac_coder": "fast"}
_VP8 = {"deadline": "realtime", "cpu-used": "16", "crf": "24", "b": "900k", "threads": "1"}
_HEVC = {"preset": "ultrafast", "crf": "28", "x265-params": "pools=1:frame-threads=1:log-level=0"}

CODECS: dict[str, Codecs] = {
    "mp4": Codecs("mp4", "libx264", _X264, "aac", 96_000, _AAC),
    "webm": Codecs("webm", "libvpx", _VP8, "libopus", 64_000),
    "mov": Codecs("mov", "libx265", _HEVC, "aac", 128_000, _AAC),
}


@dataclass(frozen=True, slots=True)
class Film:
    """What goes into a file.

    Attributes
    ----------
    times_s : ndarray of float64, shape (n,)
        When each picture is taken, from 0.
    pictures : iterable of ndarray of uint8, shape (height · 3 / 2, width)
        As many, planar YUV 4:2:0.
    sound : ndarray of float32, shape (m,)
        Mono at 48 kHz.
    sample_rate_hz, channels, frame_rate : int
        Of the file; the frame rate is nominal.
    """

    times_s: NDArray[np.float64]
    pictures: Iterable[NDArray[np.uint8]]
    sound: NDArray[np.float32]
    sample_rate_hz: int = 48_000
    channels: int = 1
    frame_rate: int = 15


def write(path: Path, film: Film, kind: str | None = None, *, camera: bool = True) -> Path:
    """Encode a film; the file appears only when it is whole.

    Parameters
    ----------
    path : Path
        Where to write.
    film : Film
        Pictures and sound.
    kind : str, optional
        A key of :data:`CODECS`; by default the path's suffix.
    camera : bool
        Leave what a camera leaves: an (invented) date and no name of a program. Without it the
        file names the library that wrote it and has no date, as programs leave it.

    Returns
    -------
    Path
        `path`.
    """
    codecs = CODECS[kind or path.suffix.lstrip(".")]
    part = path.with_name(path.name + ".part")
    options = {"fflags": "+bitexact"} if camera else {}
    if codecs.container == "webm":
        options["write_crc32"] = "0"  # the name below is inside what a checksum would cover
    with av.open(str(part), "w", format=codecs.container, options=options) as file:
        if camera:
            file.metadata["creation_time"] = _DATE
        _fill(file, film, codecs, camera)
    if camera and codecs.container == "webm":
        _unname(part)
    part.replace(path)
    return path


def _unname(path: Path) -> None:
    """Put another word of four letters where libavformat names itself in a Matroska header.

    The elements are MuxingApp (4D80) and WritingApp (5741), RFC 9559 section 5.1.2.
    """
    with path.open("r+b") as file:
        head = file.read(4096)
        for element in (b"\x4d\x80\x84", b"\x57\x41\x84"):
            head = head.replace(element + b"Lavf", element + b"demo")
        file.seek(0)
        file.write(head)


def _fill(file: OutputContainer, film: Film, codecs: Codecs, camera: bool) -> None:
    pictures = iter(zip(film.times_s, film.pictures, strict=True))
    first = next(pictures)
    video = cast(VideoStream, file.add_stream(codecs.video, rate=film.frame_rate))
    video.height, video.width = first[1].shape[0] * 2 // 3, first[1].shape[1]
    video.pix_fmt = "yuv420p"
    video.options = dict(codecs.video_options)
    video.codec_context.time_base = _TICK
    video.time_base = _TICK
    if codecs.video == "libx265":
        video.codec_context.codec_tag = "hvc1"
    rate = 48_000 if codecs.audio == "libopus" else film.sample_rate_hz
    layout = "stereo" if film.channels == 2 else "mono"
    audio = cast(AudioStream, file.add_stream(codecs.audio, rate=rate, layout=layout))
    audio.bit_rate = codecs.audio_bit_rate
    audio.options = dict(codecs.audio_options)
    sound = film.sound
    if rate != 48_000:
        sound = resample_poly(sound, rate // 300, 48_000 // 300).astype(np.float32)
    blocks = _sound_frames(sound, rate, layout, audio)
    if camera:
        video.metadata["handler_name"] = "invented camera, picture"
        audio.metadata["handler_name"] = "invented camera, sound"
    ahead = next(blocks, None)
    for time_s, planes in _chain(first, pictures):
        # Sound goes in as the pictures do, so that players need not seek.
        while ahead is not None and ahead[0] <= time_s:
            file.mux(audio.encode(ahead[1]))
            ahead = next(blocks, None)
        frame = av.VideoFrame.from_ndarray(planes, format="yuv420p")
        frame.pts = round(time_s * 90_000)
        frame.time_base = _TICK
        file.mux(video.encode(frame))
    while ahead is not None:
        file.mux(audio.encode(ahead[1]))
        ahead = next(blocks, None)
    file.mux(video.encode(None))
    file.mux(audio.encode(None))


def _chain(
    first: tuple[float, NDArray[np.uint8]], rest: Iterator[tuple[float, NDArray[np.uint8]]]
) -> Iterator[tuple[float, NDArray[np.uint8]]]:
    yield first
    yield from rest


def _sound_frames(
    sound: NDArray[np.float32], rate: int, layout: str, audio: AudioStream
) -> Iterator[tuple[float, av.AudioFrame]]:
    """Cut the sound into frames of the format that the encoder wants, with their times."""
    wanted = audio.codec_context.format.name
    size = 960 if wanted in ("flt", "s16") else _BLOCK  # Opus takes 20 ms, AAC 1024 samples
    channels = 2 if layout == "stereo" else 1
    for start in range(0, len(sound), size):
        block = np.ascontiguousarray(np.repeat(sound[None, start : start + size], channels, axis=0))
        packed = np.ascontiguousarray(block.T.reshape(1, -1))
        if wanted == "s16":
            whole = np.clip(np.round(packed * 32767), -32768, 32767).astype(np.int16)
            frame = av.AudioFrame.from_ndarray(whole, format=wanted, layout=layout)
        else:
            data = packed if wanted == "flt" else block
            frame = av.AudioFrame.from_ndarray(data, format=wanted, layout=layout)
        frame.sample_rate = rate
        frame.pts = start
        frame.time_base = Fraction(1, rate)
        yield start / rate, frame


def join(first: Path, second: Path, path: Path, *, joint_s: float, frame_rate: int) -> Path:
    """Decode two films and encode them as one, as a video program does.

    Parameters
    ----------
    first, second : Path
        The films.
    path : Path
        Where to write.
    joint_s : float
        Seconds of the first film that are kept; the second follows at once.
    frame_rate : int
        Nominal frames per second of the new film.

    Returns
    -------
    Path
        `path`.
    """
    with ExitStack() as stack:
        sounds = [_decode_sound(source) for source in (first, second)]
        # A coder pads its last block: what is beyond the joint is not part of the film.
        sounds[0] = sounds[0][: round(joint_s * 48_000)]
        files = [stack.enter_context(av.open(str(source))) for source in (first, second)]
        times = [_picture_times(source) for source in (first, second)]
        last = times[0][times[0] < joint_s - 0.25 / frame_rate]
        film = Film(
            times_s=np.concatenate([last, times[1] + joint_s]),
            pictures=_joined_pictures(files, (len(last), len(times[1]))),
            sound=np.concatenate(sounds),
            frame_rate=frame_rate,
        )
        return write(path, film, camera=False)


def _joined_pictures(
    files: list[av.container.InputContainer], counts: tuple[int, int]
) -> Iterator[NDArray[np.uint8]]:
    for file, count in zip(files, counts, strict=True):
        for index, frame in enumerate(file.decode(video=0)):
            if index < count:
                yield np.asarray(frame.to_ndarray(format="yuv420p"), np.uint8)


def _picture_times(path: Path) -> NDArray[np.float64]:
    with av.open(str(path)) as file:
        stream = file.streams.video[0]
        stamps = sorted(p.pts for p in file.demux(stream) if p.pts is not None)
        base = stream.time_base or _TICK
        return np.array([float(stamp * base) for stamp in stamps])


def _decode_sound(path: Path) -> NDArray[np.float32]:
    with av.open(str(path)) as file:
        convert = av.AudioResampler(format="flt", layout="mono", rate=48_000)
        parts = [
            part.to_ndarray()[0]
            for frame in file.decode(audio=0)
            if frame.pts is None or frame.pts >= 0
            for part in convert.resample(frame)
        ]
    return np.concatenate(parts).astype(np.float32)
