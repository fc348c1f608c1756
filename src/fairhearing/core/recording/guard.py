"""The parent's side of the guarded child: start it, read it, bound it, end it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self, cast

from fairhearing.core.recording.limits import Limits
from fairhearing.core.recording.refusals import refusal
from fairhearing.core.recording.wire import BadMessage, read_json, read_message

_CHILD = Path(__file__).with_name("child.py")
_NOT_STARTED = 3
_PIPE_BYTES = 1 << 20
_KEPT_VARIABLES = ("PATH", "SYSTEMROOT", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH")
_GLANCE_S = 0.2
_LONGEST_GOODBYE_S = 10.0


class GuardedChild:
    """A decoder process with one recording on its standard input.

    Use as a context manager; on leaving, the process is gone, whatever happened.

    Parameters
    ----------
    file : binary file
        Open for reading; the child reads it from where it stands.
    job : dict
        What the child is to do, as JSON.
    limits : Limits
        Waiting time is bounded here, everything else in the child.
    name : str
        File name for error sentences.
    """

    def __init__(self, file: BinaryIO, job: dict[str, object], limits: Limits, name: str) -> None:
        self._limits = limits
        self._name = name
        self._waited_s = 0.0
        self._waiting_since: float | None = None
        self._media_s = 0.0
        self._out_of_time = False
        self._over = threading.Event()
        self._process = _started(file, job, name)
        self._pipe = cast(BinaryIO, self._process.stdout)
        self._watch = threading.Thread(target=self._watch_the_clock, daemon=True)

    def __enter__(self) -> Self:
        self._watch.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        self._process.kill()
        self._pipe.close()
        self._process.wait()
        self._watch.join()

    def next(self) -> tuple[bytes, bytearray]:
        """Wait for the next message.

        Raises
        ------
        RecordingError
            The child refused the recording, ended, or took too long.
        BadMessage
            The child sent what it cannot have meant.
        """
        self._waiting_since = time.monotonic()
        try:
            message = read_message(self._pipe)
        except BadMessage:
            if self._out_of_time:
                raise refusal("time", self._name) from None
            raise
        finally:
            self._waited_s += time.monotonic() - self._waiting_since
            self._waiting_since = None
        if message is None:
            raise refusal(self._reason_of_end(), self._name)
        kind, payload = message
        if kind == b"X":
            content = read_json(payload)
            figures = content.get("figures")
            reason = str(content.get("reason"))
            raise refusal(reason, self._name, **(figures if isinstance(figures, dict) else {}))
        return kind, payload

    def moved_on(self, media_s: float) -> None:
        """Note how far in the take the child has come; it earns more waiting time."""
        self._media_s = max(self._media_s, min(media_s, self._limits.duration_s))

    def _allowed_s(self) -> float:
        return self._limits.start_s + self._limits.pace * self._media_s

    def _watch_the_clock(self) -> None:
        while not self._over.wait(_GLANCE_S):
            since = self._waiting_since
            if since is None:
                continue
            if self._waited_s + time.monotonic() - since > self._allowed_s():
                self._out_of_time = True
                self._process.kill()
                return

    def _reason_of_end(self) -> str:
        if self._out_of_time:
            return "time"
        try:
            code = self._process.wait(_LONGEST_GOODBYE_S)
        except subprocess.TimeoutExpired:
            return "ended"
        if code == _NOT_STARTED:
            return "not_started"
        if sys.platform != "win32":
            import signal  # noqa: PLC0415 - SIGXCPU exists on POSIX only

            if code == -signal.SIGXCPU:
                return "time"
        return "ended"


def _started(file: BinaryIO, job: dict[str, object], name: str) -> subprocess.Popen[bytes]:
    environment = {key: os.environ[key] for key in _KEPT_VARIABLES if key in os.environ}
    environment |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    flags = getattr(subprocess, "CREATE_NO_WINDOW", 0)  # exists on Windows only
    try:
        process = subprocess.Popen(
            [sys.executable, "-I", "-B", str(_CHILD), json.dumps(job)],
            stdin=file,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment,
            bufsize=1 << 16,
            creationflags=flags,
        )
    except OSError as error:
        raise refusal("not_started", name) from error
    _widen(process.stdout)
    return process


def _widen(pipe: object) -> None:
    """Let the child run ahead by some pictures, where the platform has such a setting."""
    if sys.platform != "linux":
        return
    import fcntl  # noqa: PLC0415 - exists on POSIX only

    try:
        fcntl.fcntl(cast(BinaryIO, pipe).fileno(), fcntl.F_SETPIPE_SZ, _PIPE_BYTES)
    except OSError:
        # The system's bound for pipes is lower; the usual size works too.
        return
