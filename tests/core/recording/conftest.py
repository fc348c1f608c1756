"""Clips made by the ffmpeg that the package imageio-ffmpeg carries, and Debian's own clips."""

from __future__ import annotations

import gzip
import re
import subprocess
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from fairhearing.core.recording import Picture, Probe, SoundBlock

DEBIAN_CLIPS = Path("/usr/share/doc/opencv-doc/opencv4/html")

Clip = Callable[..., Path]


class Keeper:
    """Observer that keeps everything; for short clips only."""

    def __init__(self) -> None:
        self.probe: Probe | None = None
        self.blocks: list[SoundBlock] = []
        self.pictures: list[Picture] = []
        self.finished = False

    def begin(self, probe: Probe) -> None:
        assert self.probe is None
        self.probe = probe

    def sound(self, block: SoundBlock) -> None:
        self.blocks.append(block)

    def picture(self, picture: Picture) -> None:
        self.pictures.append(picture)

    def finish(self) -> None:
        self.finished = True

    def joined(self) -> np.ndarray:
        return np.concatenate([block.samples for block in self.blocks])


@pytest.fixture
def keeper() -> Keeper:
    return Keeper()


@pytest.fixture(scope="session")
def ffmpeg() -> Callable[..., subprocess.CompletedProcess[bytes]]:
    """Run the other FFmpeg (not the one inside PyAV); raises when it fails."""
    imageio_ffmpeg = pytest.importorskip("imageio_ffmpeg")
    program = imageio_ffmpeg.get_ffmpeg_exe()

    def run(*arguments: object) -> subprocess.CompletedProcess[bytes]:
        command = [program, "-hide_banner", "-nostdin", "-y", *map(str, arguments)]
        return subprocess.run(command, check=True, capture_output=True, timeout=120)

    return run


@pytest.fixture(scope="session")
def clip(ffmpeg, tmp_path_factory: pytest.TempPathFactory) -> Clip:
    """Make (once) a clip of moving test patterns and a gliding tone."""
    folder = tmp_path_factory.mktemp("clips")
    made: dict[tuple[object, ...], Path] = {}

    def make(
        name: str,
        *arguments: object,
        seconds: float = 2,
        size: str = "320x180",
        rate: int = 48000,
        before: tuple[object, ...] = (),
    ) -> Path:
        key = (name, *arguments, seconds, size, rate, *before)
        if key not in made:
            path = folder / f"{len(made)}-{name}"
            pattern = f"testsrc2=s={size}:r=30:d={seconds}"
            tone = f"aevalsrc='0.4*sin(2*PI*t*(300+200*t))':s={rate}:d={seconds}"
            inputs = ("-f", "lavfi", "-i", pattern, "-f", "lavfi", "-i", tone)
            ffmpeg(*before, *inputs, *arguments, path)
            made[key] = path
        return made[key]

    return make


@pytest.fixture(scope="session")
def debian_clip(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """A camera file that nobody here made, from Debian's package opencv-doc."""
    folder = tmp_path_factory.mktemp("debian")

    def unpack(name: str) -> Path:
        packed = DEBIAN_CLIPS / f"{name}.gz"
        if not packed.exists():
            pytest.skip("needs the Debian package opencv-doc")
        path = folder / name
        if not path.exists():
            path.write_bytes(gzip.decompress(packed.read_bytes()))
        return path

    return unpack


@pytest.fixture(scope="session")
def shown_times(ffmpeg) -> Callable[[Path], tuple[list[Fraction], list[Fraction], list[int]]]:
    """Times by the other FFmpeg's showinfo filters: pictures, sound frames, their samples."""

    def read(path: Path) -> tuple[list[Fraction], list[Fraction], list[int]]:
        # One track at a time: the filters write from threads, and lines would mingle.
        seen = ffmpeg("-i", path, "-an", "-vf", "showinfo", "-f", "null", "-").stderr.decode()
        heard = ffmpeg("-i", path, "-vn", "-af", "ashowinfo", "-f", "null", "-").stderr.decode()
        tick = Fraction(*map(int, re.search(r"time_base: (\d+)/(\d+)", seen).groups()))
        pictures = [int(n) * tick for n in re.findall(r" n: *\d+ pts: *(-?\d+) ", seen)]
        rate = int(re.search(r" rate:(\d+) ", heard)[1])
        sounds = [Fraction(int(n), rate) for n in re.findall(r" n:\d+ pts:(-?\d+) ", heard)]
        return pictures, sounds, [int(n) for n in re.findall(r"nb_samples:(\d+)", heard)]

    return read
