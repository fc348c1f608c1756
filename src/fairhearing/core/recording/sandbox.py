"""On Linux, the child process shuts itself in: no file, no network, no other program.

Three locks, each used where the kernel has it: another user than root; Landlock without a single
rule, so that no path can be opened; a seccomp filter that refuses sockets, new processes and
looking into other processes. What is already open (the recording, the pipe) stays usable.

Sources: Linux man-pages landlock(7), seccomp(2), prctl(2); system call numbers from the kernel's
``asm/unistd_64.h`` (x86-64) and ``asm-generic/unistd.h`` (aarch64).
"""

from __future__ import annotations

import ctypes
import errno
import os
import platform
import struct
import sys
from dataclasses import dataclass

_NOBODY = 65534
_SET_NO_NEW_PRIVILEGES = 38
_SET_SECCOMP = 22
_SECCOMP_FILTER = 2

_CREATE_RULESET, _RESTRICT_SELF = 444, 446  # the same number everywhere
_GET_VERSION = 1
# Rights that each version of Landlock knows, as one bit mask of file rights.
_FILE_RIGHTS = {1: (1 << 13) - 1, 2: (1 << 14) - 1, 3: (1 << 15) - 1, 4: (1 << 15) - 1}
_FILE_RIGHTS_5 = (1 << 16) - 1
_NET_RIGHTS = 3  # bind and connect TCP, from version 4
_SCOPES = 3  # abstract sockets and signals, from version 6

# machine: (audit architecture, clone, clone3, refused calls)
_CALLS = {
    # socket, socketpair, connect, fork, vfork, execve, execveat, ptrace, process_vm_readv,
    # process_vm_writev, kill, tkill, open_by_handle_at, mount, unshare, setns, bpf,
    # io_uring_setup, perf_event_open, userfaultfd, keyctl
    "x86_64": (
        0xC000003E,
        56,
        435,
        (
            *(41, 53, 42, 57, 58, 59, 322, 101, 310, 311, 62, 200, 304, 165, 272, 308, 321, 425),
            *(298, 323, 250),
        ),
    ),
    "aarch64": (
        0xC00000B7,
        220,
        435,
        (
            *(198, 199, 203, 221, 281, 117, 270, 271, 129, 130, 265, 40, 97, 268, 280, 425),
            *(241, 282, 219),
        ),
    ),
}
_CLONE_THREAD = 0x10000
_ALLOW, _REFUSE = 0x7FFF0000, 0x00050000
_LOAD, _JUMP_EQUAL, _JUMP_SET, _RETURN = 0x20, 0x15, 0x45, 0x06


@dataclass(frozen=True, slots=True)
class Locks:
    """Which locks hold."""

    unprivileged: bool
    no_files: bool
    no_network: bool


def shut_in() -> Locks:
    """Lock this process in as far as the platform can; nothing can be unlocked again.

    Everything that is ever to be imported must have been imported before.
    """
    if not sys.platform.startswith("linux"):
        return Locks(unprivileged=False, no_files=False, no_network=False)
    unprivileged = _leave_root()
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.prctl(_SET_NO_NEW_PRIVILEGES, 1, 0, 0, 0) != 0:
        return Locks(unprivileged, no_files=False, no_network=False)
    no_files = _landlock(libc)
    return Locks(unprivileged, no_files, no_network=_seccomp(libc))


def _leave_root() -> bool:
    """Become nobody when the program runs as root, as it does in many containers."""
    if os.geteuid() != 0:
        return True
    try:
        os.setgroups([])
        os.setresgid(_NOBODY, _NOBODY, _NOBODY)
        os.setresuid(_NOBODY, _NOBODY, _NOBODY)
    except OSError:
        # A container may know no other user; the other locks hold without it.
        return False
    return True


def _landlock(libc: ctypes.CDLL) -> bool:
    version = libc.syscall(_CREATE_RULESET, None, ctypes.c_size_t(0), _GET_VERSION)
    if version < 1:
        return False
    rights = [_FILE_RIGHTS.get(version, _FILE_RIGHTS_5)]
    rights += [_NET_RIGHTS] if version >= 4 else []
    rights += [_SCOPES] if version >= 6 else []
    asked = struct.pack(f"={len(rights)}Q", *rights)
    rules = libc.syscall(_CREATE_RULESET, asked, ctypes.c_size_t(len(asked)), 0)
    if rules < 0:
        return False
    try:
        return bool(libc.syscall(_RESTRICT_SELF, rules, 0) == 0)
    finally:
        os.close(rules)


def _seccomp(libc: ctypes.CDLL) -> bool:
    known = _CALLS.get(platform.machine())
    if known is None or sys.maxsize < 1 << 32:
        return False
    program = ctypes.create_string_buffer(_filter(*known))
    length = len(program.raw[:-1]) // 8

    class Program(ctypes.Structure):
        _fields_ = (("length", ctypes.c_ushort), ("filter", ctypes.c_void_p))

    given = Program(length, ctypes.addressof(program))
    return bool(libc.prctl(_SET_SECCOMP, _SECCOMP_FILTER, ctypes.byref(given), 0, 0) == 0)


def _filter(architecture: int, clone: int, clone3: int, refused: tuple[int, ...]) -> bytes:
    """A classic BPF program over ``struct seccomp_data`` (number, architecture, …, arguments)."""
    refuse = _REFUSE | errno.EPERM
    lines = [
        (_LOAD, 0, 0, 4),
        (_JUMP_EQUAL, 1, 0, architecture),
        (_RETURN, 0, 0, refuse),
        (_LOAD, 0, 0, 0),
        # A number with bit 30 set is the x32 way into the same kernel.
        (_JUMP_SET, 0, 1, 0x40000000),
        (_RETURN, 0, 0, refuse),
        # The C library falls back from clone3 to clone, whose flags can be looked at.
        (_JUMP_EQUAL, 0, 1, clone3),
        (_RETURN, 0, 0, _REFUSE | errno.ENOSYS),
    ]
    for call in refused:
        lines += [(_JUMP_EQUAL, 0, 1, call), (_RETURN, 0, 0, refuse)]
    lines += [
        (_JUMP_EQUAL, 0, 3, clone),
        (_LOAD, 0, 0, 16),
        (_JUMP_SET, 1, 0, _CLONE_THREAD),
        (_RETURN, 0, 0, refuse),
        (_RETURN, 0, 0, _ALLOW),
    ]
    return b"".join(struct.pack("=HBBI", *line) for line in lines)
