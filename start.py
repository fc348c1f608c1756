#!/usr/bin/env python3
"""Set up and run Fair Hearing with nothing but Python's standard library.

``python3 start.py``            makes a virtual environment beside this file, installs, builds the
                                invented demo season and opens its report
``python3 start.py test``       sets up all that the tests need and runs every check and test
                                (``--long`` adds the long tests; more words go to pytest)
``python3 start.py WORDS…``     passes a command on, for example ``hear my_take.mp4``
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import venv
from pathlib import Path

HERE = Path(__file__).resolve().parent
ENVIRONMENT = HERE / ".venv"
LOCK = HERE / "requirements.lock"
OLDEST = (3, 11)

# Programs that only the tests use: command or file to look for → Debian package.
TEST_PROGRAMS = {
    "chromium": "chromium",
    "npm": "npm",
    "pdftoppm": "poppler-utils",
    "espeak-ng": "espeak-ng",
    "/usr/share/doc/opencv-doc": "opencv-doc",
    "/usr/share/sounds/sf2/FluidR3_GM.sf2": "fluid-soundfont-gm",
}


def main(words: list[str]) -> int:
    """Do what the words say and return the exit code."""
    if sys.version_info < OLDEST:
        return _hand_over_to_newer_python(words)
    testing = words[:1] == ["test"]
    python = _environment(extra="test" if testing else "")
    if python is None:
        return 2
    if testing:
        _install_test_programs()
        return _run_checks(python, words[1:])
    return subprocess.call([str(python), "-m", "fairhearing", *(words or ["demo"])])


def _hand_over_to_newer_python(words: list[str]) -> int:
    for minor in range(20, OLDEST[1] - 1, -1):
        newer = shutil.which(f"python3.{minor}")
        if newer:
            return subprocess.call([newer, str(Path(__file__).resolve()), *words])
    print(
        f"Fair Hearing needs Python {OLDEST[0]}.{OLDEST[1]} or newer; this is "
        f"{sys.version.split()[0]}. Install a newer Python and run the same command again.",
        file=sys.stderr,
    )
    return 2


def _environment(extra: str) -> Path | None:
    """Return the environment's Python, with the package installed; None when it failed."""
    python = ENVIRONMENT / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    if not _runs(python):
        print("Making a virtual environment in .venv …", flush=True)
        venv.create(ENVIRONMENT, with_pip=True, clear=True)
    stamp = ENVIRONMENT / f"installed-{extra or 'run'}"
    wanted = hashlib.sha256(
        (HERE / "pyproject.toml").read_bytes() + LOCK.read_bytes() + bytes(HERE)
    ).hexdigest()
    if stamp.is_file() and stamp.read_text() == wanted:
        return python
    print("Installing (the first time this takes a minute or two) …", flush=True)
    target = f"{HERE}[{extra}]" if extra else str(HERE)
    pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    if subprocess.call([*pip, "--constraint", str(LOCK), "--editable", target]):
        print(
            "The installation did not finish. Check the connection to the package index and "
            "run the same command again; what was downloaded is kept.",
            file=sys.stderr,
        )
        return None
    stamp.write_text(wanted)
    return python


def _runs(python: Path) -> bool:
    if not python.exists():
        return False
    asked = [str(python), "-c", f"import sys, pip; sys.exit(sys.version_info < {OLDEST})"]
    return subprocess.call(asked, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) == 0


def _install_test_programs() -> None:
    """Install by apt what only the tests use (Debian as root); elsewhere say what to install."""
    missing = [
        package
        for look_for, package in TEST_PROGRAMS.items()
        if not (Path(look_for).exists() or shutil.which(look_for))
    ]
    if not missing:
        return
    if shutil.which("apt-get") and hasattr(os, "geteuid") and os.geteuid() == 0:
        print(f"Installing for the tests: {', '.join(missing)} …", flush=True)
        quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        subprocess.call(["apt-get", "update", "-q"], env=quiet, stdout=subprocess.DEVNULL)
        subprocess.call(
            ["apt-get", "install", "-y", "-q", "--no-install-recommends", *missing],
            env=quiet,
            stdout=subprocess.DEVNULL,
        )
    else:
        print(
            "Some tests will be skipped. To run them too, install: " + ", ".join(missing),
            flush=True,
        )


def _run_checks(python: Path, words: list[str]) -> int:
    """Run the style, type and import checks, then the tests; the first failure decides."""
    tool = [str(python), "-m"]
    scripts = python.parent
    checks: list[list[str]] = (
        []
        if words and words[0] != "--long"
        else [
            [*tool, "ruff", "check", "."],
            [*tool, "ruff", "format", "--check", "."],
            [*tool, "mypy"],
            [str(scripts / "lint-imports"), "--no-cache"],
        ]
    )
    # One thread each: two test processes on two cores get in each other's way otherwise.
    calm = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    for check in [*checks, [*tool, "pytest", "-n", "2", "--dist", "loadfile", *words]]:
        print("·", " ".join(Path(check[0]).name if part is check[0] else part for part in check))
        sys.stdout.flush()
        code = subprocess.call(check, cwd=HERE, env=calm)
        if code:
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
