"""What the guarded child can no longer do; run in a process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

import fairhearing

TRIES = """
import json, os, socket, subprocess, sys, threading
sys.path.insert(0, sys.argv[1])
from fairhearing.core.recording.confine import confine
from fairhearing.core.recording.sandbox import shut_in
recording = open(sys.argv[2], "rb")
confine(1 << 30, 60)
locks = shut_in()

def refused(action):
    try:
        action()
    except (OSError, subprocess.SubprocessError):
        return True
    return False

def connect(kind):
    with socket.socket(socket.AF_INET, kind) as s:
        s.connect(("127.0.0.1", 9))

ran = []
thread = threading.Thread(target=lambda: ran.append(1))
thread.start()
thread.join()
print(json.dumps({
    "locks": [locks.unprivileged, locks.no_files, locks.no_network],
    "reads": len(recording.read()),
    "threads": ran == [1],
    "root": os.geteuid() == 0,
    "refused": {
        "read": refused(lambda: open("/etc/passwd").read()),
        "same": refused(lambda: open(sys.argv[2]).read()),
        "list": refused(lambda: os.listdir("/")),
        "write": refused(lambda: open(os.path.join("/", "tmp", "of-child"), "w").write("x")),
        "tcp": refused(lambda: connect(socket.SOCK_STREAM)),
        "udp": refused(lambda: connect(socket.SOCK_DGRAM)),
        "fork": refused(os.fork),
        "run": refused(lambda: subprocess.run(["/bin/true"], check=True)),
        "kill": refused(lambda: os.kill(os.getppid(), 0)),
    },
}))
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="these locks are Linux's")
def test_no_file_no_network_no_other_program(tmp_path):
    recording = tmp_path / "take.bin"
    recording.write_bytes(b"x" * 1000)
    source = Path(fairhearing.__file__).parents[1]
    command = [sys.executable, "-I", "-c", TRIES, str(source), str(recording)]
    done = subprocess.run(command, check=True, capture_output=True, text=True, timeout=60)
    seen = json.loads(done.stdout)
    unprivileged, no_files, no_network = seen["locks"]
    if not (no_files and no_network):
        pytest.skip("this kernel has no Landlock or no seccomp; the other limits still hold")
    assert seen["reads"] == 1000
    assert seen["threads"]
    assert not (unprivileged and seen["root"])
    assert all(seen["refused"].values()), seen["refused"]
