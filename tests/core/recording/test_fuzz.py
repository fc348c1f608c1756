"""Spoilt recordings, briefly; ``benchmarks/fuzz_recording.py`` goes on for as long as you like."""

from __future__ import annotations

import io
import json
from random import Random

import pytest

from fairhearing.core.errors import RecordingError
from fairhearing.core.recording import Limits, listen
from fairhearing.core.recording.facts_sent import facts_from_json, facts_to_json
from fairhearing.core.recording.opening import kind_of
from fairhearing.core.recording.reading_facts import read_facts

SEEDS = {
    "h264.mp4": ("-c:v", "libx264", "-pix_fmt", "yuv420p", "-c:a", "aac"),
    "fragments.mp4": ("-c:v", "libx264", "-c:a", "aac", "-movflags", "+frag_keyframe+empty_moov"),
    "vp9.webm": (
        "-c:v",
        "libvpx-vp9",
        "-deadline",
        "realtime",
        "-cpu-used",
        "8",
        "-c:a",
        "libopus",
    ),
    "sound.m4a": ("-vn", "-c:a", "aac"),
}
LIMITS = Limits(duration_s=60, start_s=30, pace=4, pictures=3000)


def spoilt(content: bytes, random: Random) -> bytes:
    """Change a few bytes, mostly near the ends where the tables lie, and sometimes cut."""
    data = bytearray(content)
    for _ in range(random.choice((1, 2, 4))):
        place = random.randrange(min(random.choice((300, 3000, len(data))), len(data) - 8))
        if random.random() < 0.5:
            place = len(data) - 8 - place
        if random.random() < 0.6:
            data[place] = random.randrange(256)
        else:
            number = random.choice((0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF))
            data[place : place + 4] = number.to_bytes(4)
    if random.random() < 0.1:
        del data[random.randrange(16, len(data)) :]
    return bytes(data)


@pytest.fixture(scope="session")
def seeds(clip) -> dict[str, bytes]:
    return {
        name: clip(name, *arguments, seconds=1, size="96x64", rate=16000).read_bytes()
        for name, arguments in SEEDS.items()
    }


@pytest.mark.parametrize("name", SEEDS)
def test_our_own_readers_never_fail(name, seeds):
    random = Random(name)
    for _ in range(250):
        mutant = spoilt(seeds[name], random)
        kind = kind_of(mutant[:4096])
        if kind is not None:
            facts = read_facts(io.BytesIO(mutant), kind.demuxer)
            facts_from_json(json.loads(json.dumps(facts_to_json(facts))))


@pytest.mark.parametrize("name", SEEDS)
def test_a_spoilt_file_is_heard_or_refused(name, seeds, tmp_path):
    random = Random(f"heard {name}")
    for _ in range(3):
        path = tmp_path / name
        path.write_bytes(spoilt(seeds[name], random))
        try:
            assert listen(path, [], limits=LIMITS).audio is not None
        except RecordingError as error:
            assert name in str(error)
