"""How many joins are marked, and how many unbroken takes are marked wrongly.

Run as ``python -m benchmarks.continuity [--use report|tuning] [--plain N] [--joins N] …``.
Thresholds were set on the use "tuning"; "report" uses other clips and other instruments.
"""

from __future__ import annotations

import argparse
import pickle
import tempfile
from pathlib import Path

import av
import cv2
import numpy as np

from benchmarks.continuity.made import make
from benchmarks.continuity.table import print_table
from fairhearing.core.continuity.picture_jump import PictureTrace, PictureTracer
from fairhearing.core.continuity.sound_joint import SoundTrace, SoundTracer
from fairhearing.core.recording.types import Picture


def traces(path: Path) -> tuple[PictureTrace, SoundTrace]:
    """Return what the two channels keep of a file."""
    pictures, sounds, first = PictureTracer(), None, None
    with av.open(str(path)) as container:
        for frame in container.decode(*container.streams):
            if isinstance(frame, av.VideoFrame):
                plane = frame.planes[0]
                luma = np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)
                luma = luma[: frame.height, : frame.width]
                pictures.add(Picture(frame.pts * frame.time_base, luma, frame.key_frame))
            else:
                if sounds is None:
                    sounds = SoundTracer(frame.sample_rate)
                    first = float(frame.pts * frame.time_base)
                sounds.add(frame.to_ndarray()[0])
    assert sounds is not None and first is not None
    return pictures.trace(), sounds.trace(first)


def main() -> None:
    cv2.setNumThreads(1)
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--use", choices=("report", "tuning"), default="report")
    parser.add_argument("--plain", type=int, default=150, help="of each plain kind")
    parser.add_argument("--hard", type=int, default=20)
    parser.add_argument("--joins", type=int, default=30)
    parser.add_argument("--unseen", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--clips", type=Path, default=Path(tempfile.gettempdir()) / "clips")
    parser.add_argument("--keep", type=Path, help="keep (or add to) the traces in this file")
    parser.add_argument("--from", dest="kept", type=Path, help="only score the traces kept here")
    parser.add_argument("--skip", type=int, default=0, help="leave out the first N kept cases")
    chosen = parser.parse_args()
    if chosen.kept:
        results = pickle.loads(chosen.kept.read_bytes())
    else:
        counts = {name: getattr(chosen, name) for name in ("plain", "hard", "joins", "unseen")}
        results = []
        with tempfile.TemporaryDirectory() as folder:
            made = make(chosen.use, counts, Path(folder), chosen.clips, chosen.seed)
            for case, path in made:
                results.append((case, *traces(path)))
                if chosen.keep and len(results) % 20 == 0:
                    chosen.keep.write_bytes(pickle.dumps(results))
        if chosen.keep:
            chosen.keep.write_bytes(pickle.dumps(results))
    print_table(results[chosen.skip :])


if __name__ == "__main__":
    main()
