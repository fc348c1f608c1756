#!/usr/bin/env python3
"""Draw the pictures of docs/demo.md from a demo season that stands in a folder.

    python tools/draw_demo_pictures.py demo-season

writes ``docs/pictures/demo-players.jpg`` (frames of real files) and ``demo-take.svg`` (one take's
loudness with its sections and the scale minute, from truth.json).
"""

from __future__ import annotations

import json
import sys
from html import escape
from pathlib import Path

import av
import cv2
import numpy as np

OUT = Path(__file__).resolve().parents[1] / "docs/pictures"
SHOWN = ("201", "205", "210", "213", "219", "222", "223", "224", "208", "220", "217", "209")
TAKE = "201"


def players(season: Path) -> None:
    """Put one frame of each of twelve takes on a sheet."""
    tiles = []
    for number in SHOWN:
        [path] = (season / "takes").glob(f"{number}-*")
        with av.open(str(path)) as file:
            file.seek(40_000_000)
            frame = next(file.decode(video=0)).to_ndarray(format="bgr24")
        height, width = frame.shape[:2]
        scale = min(320 / width, 180 / height)
        small = cv2.resize(frame, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        tile = np.full((186, 326, 3), 255, np.uint8)
        top, left = (186 - small.shape[0]) // 2, (326 - small.shape[1]) // 2
        tile[top : top + small.shape[0], left : left + small.shape[1]] = small
        tiles.append(tile)
    sheet = np.vstack([np.hstack(tiles[at : at + 4]) for at in range(0, len(tiles), 4)])
    cv2.imwrite(str(OUT / "demo-players.jpg"), sheet, [cv2.IMWRITE_JPEG_QUALITY, 80])


def levels(path: Path, step_s: float) -> np.ndarray:
    """RMS in dBFS of each step of a file's sound."""
    convert = av.AudioResampler(format="flt", layout="mono", rate=8000)
    with av.open(str(path)) as file:
        parts = [
            part.to_ndarray()[0]
            for frame in file.decode(audio=0)
            for part in convert.resample(frame)
        ]
    sound = np.concatenate(parts)
    size = round(8000 * step_s)
    blocks = sound[: len(sound) // size * size].reshape(-1, size)
    return 10 * np.log10(np.mean(blocks.astype(float) ** 2, axis=1) + 1e-10)


def take(season: Path) -> None:
    """Draw the tape of one take."""
    truth = json.loads((season / "truth.json").read_text(encoding="utf-8"))["takes"][TAKE]
    level = levels(season / "takes" / truth["file"], 0.2)
    wide, length = 900, truth["duration_s"]

    def x(seconds: float) -> float:
        return 20 + seconds / length * (wide - 40)

    heights = np.clip((level + 60) / 60, 0.02, 1) * 46
    tops = [f"{x(i * 0.2):.1f},{110 - h:.1f}" for i, h in enumerate(heights)]
    bottoms = [f"{x(i * 0.2):.1f},{110 + h:.1f}" for i, h in enumerate(heights)]
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} 190" role="img" '
        'font-family="Georgia, serif" font-size="14">',
        f"<title>Take {TAKE}, {escape(truth['instrument'])} (invented)</title>",
        f'<rect width="{wide}" height="190" fill="#faf7f0"/>',
        f'<polygon points="{" ".join(tops + bottoms[::-1])}" fill="#8a8078"/>',
    ]
    for place, section in enumerate(truth["sections"]):
        start, end = x(section["start_s"]), x(section["end_s"])
        row = 16 if place == 0 else 32
        lines.append(
            f'<path d="M{start:.1f} 48v-10H{end:.1f}v10" fill="none" stroke="#1d1a17"/>'
            f'<text x="{start:.1f}" y="{row}" fill="#1d1a17">{section["kind"]}</text>'
        )
    for spoken in truth["spoken"]:
        start, end = x(spoken["start_s"]), x(spoken["end_s"])
        lines.append(f'<path d="M{start:.1f} 164H{end:.1f}" stroke="#1d1a17" stroke-width="4"/>')
    start, end = (x(t) for t in truth["scale_window_s"])
    lines.append(
        f'<path d="M{start:.1f} 60v100M{end:.1f} 56v104" stroke="#6b2150" stroke-dasharray="4 3"/>'
        f'<text x="{end + 4:.1f}" y="70" fill="#6b2150">60 s</text>'
        '<text x="20" y="184" fill="#1d1a17" font-size="12">thick lines: words</text></svg>'
    )
    (OUT / "demo-take.svg").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    players(folder)
    take(folder)
