"""Pictures made small: the luma plane, thinned, averaged and turned upright.

The luma plane is read where the decoder left it (no conversion, no copy of a full picture);
every second or fourth sample of a large picture is taken and the rest is averaged by area.
Converting whole pictures through the scaler of FFmpeg costs as much as decoding them.
"""

from __future__ import annotations

import cv2
import numpy as np
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from fairhearing.core.recording.wire import LONG_SIDE_PX

# Formats that begin with a plain luma plane, with the number of bits in a sample.
_LUMA_BITS = {
    **dict.fromkeys(
        ["yuv420p", "yuvj420p", "yuv422p", "yuvj422p", "yuv444p", "yuvj444p", "nv12", "gray"], 8
    ),
    **dict.fromkeys(["yuv420p10le", "yuv422p10le", "yuv444p10le", "gray10le"], 10),
    **dict.fromkeys(["yuv420p12le", "yuv422p12le", "yuv444p12le", "gray12le"], 12),
}


def reduced_luma(frame: VideoFrame, quarter_turns: int) -> NDArray[np.uint8]:
    """Reduce one decoded picture.

    Parameters
    ----------
    frame : av.VideoFrame
        As it comes from the decoder.
    quarter_turns : int
        Counter-clockwise quarter turns that make it upright.

    Returns
    -------
    ndarray of uint8, shape (height, width)
        Upright luma, long side at most 320 px.
    """
    thinned = _thinned_luma(frame)
    scale = LONG_SIDE_PX / max(frame.width, frame.height)
    if scale < 1.0:
        size = (max(1, round(frame.width * scale)), max(1, round(frame.height * scale)))
        thinned = cv2.resize(thinned, size, interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
    return np.rot90(thinned, quarter_turns % 4)


def _thinned_luma(frame: VideoFrame) -> NDArray[np.uint8]:
    step = max(1, max(frame.width, frame.height) // (3 * LONG_SIDE_PX))
    bits = _LUMA_BITS.get(frame.format.name)
    if bits is None:
        gray = frame.to_ndarray(format="gray")
        return np.ascontiguousarray(gray[::step, ::step], dtype=np.uint8)
    plane = frame.planes[0]
    sample = np.dtype("u1" if bits == 8 else "<u2")
    width = plane.line_size // sample.itemsize
    rows = np.frombuffer(memoryview(plane), sample, count=width * frame.height).reshape(-1, width)
    thinned = rows[::step, : frame.width : step]
    if bits > 8:
        thinned = thinned >> (bits - 8)
    return np.ascontiguousarray(thinned, dtype=np.uint8)
