"""Small takes made here and sent through real encoders; played to observers by a PyAV loop."""

from fractions import Fraction
from types import SimpleNamespace

import numpy as np
import pytest

from fairhearing.core.recording.types import AudioStream, Picture, Probe, SoundBlock, VideoStream

RATE_HZ = 48000
WIDTH, HEIGHT = 320, 180


def _room_and_player(seconds, seed, frames_a_second=30, sway_s=1.7):
    """Pictures of a textured wall and a figure that sways and moves its arms, with grain."""
    import cv2

    random = np.random.default_rng(seed)
    wall = random.integers(60, 200, (HEIGHT // 9, WIDTH // 16)).astype(np.float32)
    wall = cv2.resize(wall, (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)
    shirt = cv2.resize(random.integers(20, 120, (6, 5)).astype(np.float32), (70, 130))
    phase = random.uniform(0, 6, 4)
    pictures = []
    for i in range(round(seconds * frames_a_second)):
        t = i / frames_a_second
        sway = 25 * np.sin(2 * np.pi * t / sway_s + phase[0]) + 18 * np.sin(t / 2.3 + phase[1])
        x = round(125 + sway)
        arm = round(60 + 25 * np.sin(2 * np.pi * t / 0.9 + phase[2]))
        picture = wall.copy()
        picture[50:180, x : x + 70] = shirt
        cv2.line(picture, (x + 35, 90), (x + 80, 40 + arm), 30.0, 9)
        picture += random.standard_normal(picture.shape) * 2
        pictures.append(np.clip(picture, 0, 255).astype(np.uint8))
    return pictures


def _played_notes(seconds, seed):
    """A wind-like line with vibrato over a quiet room."""
    random = np.random.default_rng(seed)
    n = round(seconds * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    pitch_hz = 220 * 2 ** (random.integers(0, 20, int(seconds * 2.5) + 1) / 12)
    held = np.minimum((t * 2.5).astype(int), len(pitch_hz) - 1)
    within = t * 2.5 - held
    turn = np.cumsum(pitch_hz[held] * (1 + 0.004 * np.sin(2 * np.pi * 5 * t))) / RATE_HZ
    shape = np.minimum(1, np.minimum(within / 0.05, (1 - within) / 0.1))
    wave = sum(np.sin(2 * np.pi * k * turn) / k**1.3 for k in range(1, 9))
    return (0.12 * shape * wave + 0.001 * random.standard_normal(n)).astype(np.float32)


def _write(path, pictures, sound, frames_a_second=30):
    import av

    with av.open(str(path), "w") as out:
        video = out.add_stream("libx264", rate=frames_a_second, options={"preset": "veryfast"})
        video.width, video.height, video.pix_fmt = WIDTH, HEIGHT, "yuv420p"
        audio = out.add_stream("aac", rate=RATE_HZ)
        audio.layout, audio.bit_rate = "mono", 128_000
        for i, luma in enumerate(pictures):
            yuv = np.full((HEIGHT * 3 // 2, WIDTH), 128, np.uint8)
            yuv[:HEIGHT] = luma
            frame = av.VideoFrame.from_ndarray(yuv, format="yuv420p")
            frame.pts, frame.time_base = i, Fraction(1, frames_a_second)
            out.mux(video.encode(frame))
        out.mux(video.encode(None))
        block = av.AudioFrame.from_ndarray(np.asarray(sound, np.float32)[None], "fltp", "mono")
        block.sample_rate, block.pts, block.time_base = RATE_HZ, 0, Fraction(1, RATE_HZ)
        out.mux(audio.encode(block))
        out.mux(audio.encode(None))


def _play(path, observer):
    """Decode a file and hand everything to an observer, as the one decoding pass does."""
    import av

    with av.open(str(path)) as file:
        video = next(iter(file.streams.video), None)
        audio = next(iter(file.streams.audio), None)
        observer.begin(
            Probe(
                name=path.name,
                sha256="0" * 64,
                bytes=path.stat().st_size,
                container="mp4",
                duration_s=file.duration / 1e6 if file.duration else None,
                video=video and VideoStream("h264", video.width, video.height, 0, None, False),
                audio=audio and AudioStream("aac", audio.rate, 1),
            )
        )
        for frame in file.decode(*[s for s in (video, audio) if s]):
            time = frame.pts * frame.time_base
            if isinstance(frame, av.VideoFrame):
                luma = frame.to_ndarray(format="gray")
                observer.picture(Picture(time, luma, frame.key_frame))
            else:
                observer.sound(SoundBlock(time, frame.to_ndarray().T.astype(np.float32)))
    observer.finish()
    return observer


@pytest.fixture
def takes():
    """Pictures, sound, a file of both, and the pass over a file."""
    return SimpleNamespace(pictures=_room_and_player, sound=_played_notes, write=_write, play=_play)
