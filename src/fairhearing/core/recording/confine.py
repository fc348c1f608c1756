"""The child process gives up what it does not need, before it looks at the file.

On POSIX: address space, processor time, open files, no written file, no core file. Elsewhere the
parent's clock and the limits inside the decoding pass have to do.
"""

from __future__ import annotations

import sys

OPEN_FILES = 32


def confine(memory_bytes: int, most_cpu_s: float) -> None:
    """Set the limits of this process; none can be lifted again from inside.

    Parameters
    ----------
    memory_bytes : int
        Address space.
    most_cpu_s : float
        Processor time over the whole life; :func:`allow_cpu` sets the share in force.
    """
    if sys.platform == "win32":
        return
    import resource  # noqa: PLC0415 - exists on POSIX only

    hard = int(most_cpu_s) + 1
    wanted = {
        "RLIMIT_AS": (memory_bytes, memory_bytes),
        "RLIMIT_CPU": (hard, hard),
        "RLIMIT_NOFILE": (OPEN_FILES, OPEN_FILES),
        "RLIMIT_FSIZE": (0, 0),
        "RLIMIT_CORE": (0, 0),
    }
    for name, (soft, most) in wanted.items():
        kind = getattr(resource, name, None)
        if kind is None:
            continue
        allowed = resource.getrlimit(kind)[1]
        if allowed == resource.RLIM_INFINITY:
            allowed = max(soft, most)
        try:
            resource.setrlimit(kind, (min(soft, allowed), min(most, allowed)))
        except (ValueError, OSError):
            # macOS refuses some address-space limits; the parent's clock still holds.
            continue


def allow_cpu(seconds: float) -> None:
    """Let this process use that much processor time in all; called as decoding moves on."""
    if sys.platform == "win32":
        return
    import resource  # noqa: PLC0415 - exists on POSIX only

    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    soft = int(seconds) + 1
    if hard != resource.RLIM_INFINITY:
        soft = min(soft, hard)
    resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))
