"""Sounds made here, sent through real codecs."""

import io

import numpy as np
import pytest

RATE_HZ = 48000


def _melody(seed, notes=30, held_s=0.5):
    """Notes of different pitch, timbre and loudness, with vibrato; peak 1."""
    random = np.random.default_rng(seed)
    t = np.arange(int(held_s * RATE_HZ)) / RATE_HZ
    shape = np.minimum(1, np.minimum(t / 0.02, (held_s - t) / 0.05))
    shape = shape * (1 + 0.15 * np.sin(2 * np.pi * 5 * t))
    played = []
    for _ in range(notes):
        pitch_hz = 440 * 2 ** (random.integers(-24, 12) / 12)
        fall, partials = random.uniform(0.8, 2), random.integers(3, 20)
        wave = sum(
            k**-fall * np.sin(2 * np.pi * pitch_hz * k * t + random.uniform(0, 6))
            for k in range(1, partials)
            if pitch_hz * k < RATE_HZ / 2.2
        )
        played.append(wave * shape * random.uniform(0.3, 1))
    sound = np.concatenate(played)
    return (sound / np.abs(sound).max()).astype(np.float32)


def _through_codec(mono, codec):
    """Encode and decode again with FFmpeg's encoder, 128 kbit/s."""
    import av

    file = io.BytesIO()
    with av.open(file, "w", format="mp4" if codec == "aac" else "webm") as out:
        stream = out.add_stream(codec, rate=RATE_HZ)
        stream.layout = "mono"
        stream.bit_rate = 128_000
        packed = "fltp" if codec == "aac" else "flt"
        frame = av.AudioFrame.from_ndarray(mono[None].astype(np.float32), packed, "mono")
        frame.sample_rate = RATE_HZ
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            out.mux(packet)
    file.seek(0)
    with av.open(file) as back:
        return np.concatenate([frame.to_ndarray()[0] for frame in back.decode(audio=0)])


@pytest.fixture
def melody():
    return _melody


@pytest.fixture
def through_codec():
    return _through_codec
