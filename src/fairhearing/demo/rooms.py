"""The rooms and phones of the demo season: what is wrong with a recording, in numbers.

Levels are dBFS of RMS: of the playing itself (``playing_dbfs``) and of the background. All of it
is chosen for demonstration; none of it was measured in a home.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Home:
    """A room and how the phone stood in it.

    Attributes
    ----------
    reverb_s : float
        Time in which sound decays by 60 dB.
    wet : float
        Energy of the reverberation against the direct sound.
    playing_dbfs : float
        RMS of the playing.
    background_dbfs : float
        RMS of the broadband background.
    fan : bool
        The background is a fan: low, and turning.
    hum_hz : float
        Mains hum, 0 for none.
    hum_dbfs : float
        Its RMS.
    overdriven : bool
        The phone's input clips.
    light : float
        Brightness of the picture, 1 is normal.
    size : float
        Size of the player in the picture, 1 is normal.
    upright : bool
        The phone was held upright.
    frame_rate : int
        Frames per second the phone aims at.
    sample_rate_hz, channels : int
        Of the phone's sound.
    """

    reverb_s: float = 0.3
    wet: float = 0.1
    playing_dbfs: float = -21.0
    background_dbfs: float = -62.0
    fan: bool = False
    hum_hz: float = 0.0
    hum_dbfs: float = -50.0
    overdriven: bool = False
    light: float = 1.0
    size: float = 1.0
    upright: bool = False
    frame_rate: int = 15
    sample_rate_hz: int = 48_000
    channels: int = 1


HOMES: dict[str, Home] = {
    "quiet": Home(),
    "bright": Home(reverb_s=0.5, wet=0.25, background_dbfs=-57, light=1.12),
    "fan": Home(background_dbfs=-41, fan=True),
    "far": Home(
        reverb_s=0.7, wet=1.6, playing_dbfs=-37, background_dbfs=-58, size=0.45, light=0.95
    ),
    "near": Home(reverb_s=0.25, wet=0.03, playing_dbfs=-11.5, background_dbfs=-60, size=1.9),
    "loud": Home(playing_dbfs=-10.0, background_dbfs=-50, overdriven=True, sample_rate_hz=44_100),
    "tiled": Home(reverb_s=1.1, wet=0.9, background_dbfs=-56, light=1.15),
    "hum": Home(hum_hz=60.0, hum_dbfs=-43, background_dbfs=-55),
    "dark": Home(light=0.2, background_dbfs=-59),
    "upright": Home(upright=True, reverb_s=0.4, wet=0.18, channels=2),
    "joined": Home(reverb_s=0.45, wet=0.2, background_dbfs=-58),
}

#: The second recording of a joined take: the same room an hour later, with something running.
LATER = Home(
    reverb_s=0.45,
    wet=0.22,
    background_dbfs=-48,
    hum_hz=60.0,
    hum_dbfs=-54,
    playing_dbfs=-23.5,
    light=0.9,
)
