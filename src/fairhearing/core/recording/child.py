"""The guarded child process: ``python -I child.py``, the recording on standard input.

Started by :mod:`fairhearing.core.recording.listen` and by nothing else. Standard output carries
the messages of :mod:`fairhearing.core.recording.wire`.
"""

from __future__ import annotations

import importlib
import json
import os
import pkgutil
import sys
from io import FileIO
from pathlib import Path
from typing import Literal

NOT_STARTED = 3


def _binary(descriptor: int, mode: Literal["rb", "wb"]) -> FileIO:
    if sys.platform == "win32":
        import msvcrt  # noqa: PLC0415 - exists on Windows only

        msvcrt.setmode(descriptor, os.O_BINARY)
    return open(descriptor, mode, buffering=0, closefd=False)


def _import_all_of_av() -> None:
    """PyAV imports parts of itself when they are first needed; by then no file can be opened."""
    import av  # noqa: PLC0415 - after the source folder is known

    for module in pkgutil.walk_packages(av.__path__, "av."):
        if module.name not in ("av.__main__", "av.datasets"):
            importlib.import_module(module.name)


def main() -> int:
    """Decode standard input as the one argument says; return the exit code."""
    # Isolated mode knows no source folder; the package is found from this file.
    sys.path.insert(0, str(Path(__file__).resolve().parents[3]))
    try:
        from fairhearing.core.recording.confine import confine  # noqa: PLC0415
        from fairhearing.core.recording.decode import Job, Refused, decode  # noqa: PLC0415
        from fairhearing.core.recording.limits import Limits  # noqa: PLC0415
        from fairhearing.core.recording.sandbox import shut_in  # noqa: PLC0415
        from fairhearing.core.recording.wire import pack_json  # noqa: PLC0415
    except ImportError:
        return NOT_STARTED
    asked = json.loads(sys.argv[1])
    limits = Limits(**asked.pop("limits"))
    job = Job(limits=limits, **asked)
    most_cpu_s = limits.start_s + limits.pace * limits.duration_s
    confine(limits.memory_bytes, most_cpu_s * max(1, limits.decode_threads))
    out = _binary(1, "wb")
    recording = _binary(0, "rb")
    _import_all_of_av()
    shut_in()

    def send(message: bytes) -> None:
        view = memoryview(message)
        while view:
            view = view[out.write(view) or 0 :]

    try:
        decode(recording, job, send)
    except Refused as refused:
        send(pack_json(b"X", {"reason": refused.reason, "figures": refused.figures}))
    except BrokenPipeError:
        return 0
    return 0


if __name__ == "__main__":
    code = main()
    # Decoder threads and libraries have nothing left to do; leave without their clean-up.
    os._exit(code)
