"""A file from a phone → exact times, samples and frames; safely, in one pass.

Conventions
-----------
* Times are presentation times in seconds as :class:`fractions.Fraction`, taken from the file's
  own time stamps; never frame number × 1/rate.
* Sound is ``float32`` in −1…1, shape ``(samples, channels)``, at the file's own sample rate.
* Pictures are luma only, ``uint8``, upright (rotation applied), at most 320 px on the long side.
* Decoding runs in a guarded child process; everything else reads the blocks it sends. One pass
  serves every :class:`Observer`; memory does not grow with the length of the take.
"""

from fairhearing.core.recording.limits import Limits
from fairhearing.core.recording.listen import listen, screen
from fairhearing.core.recording.types import (
    AudioStream,
    Observer,
    Picture,
    Probe,
    SoundBlock,
    VideoStream,
)

__all__ = [
    "AudioStream",
    "Limits",
    "Observer",
    "Picture",
    "Probe",
    "SoundBlock",
    "VideoStream",
    "listen",
    "screen",
]
