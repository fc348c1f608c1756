"""Banks of single notes: real recorded ones from npm, rendered ones from a SoundFont.

A bank is a folder of instruments; an instrument is a dict from MIDI number to a waveform whose
first sample is the physical onset: the first 5 ms whose level comes within 20 dB of the loudest
of the note's first second. What lies before is kept apart as ``lead`` so that nothing is cut off
an instrument that speaks slowly.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import tarfile
import tempfile
import wave
from dataclasses import dataclass
from math import gcd
from pathlib import Path

import av
import librosa
import numpy as np
from midirenderer import render_wave_from
from scipy.signal import resample_poly

RATE_HZ = 16_000
SOUNDFONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
CACHE = Path(tempfile.gettempdir()) / "fairhearing-note-banks"

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
# Labels that do not agree with the sound (checked with two pitch trackers).
_MISLABELLED = {
    ("trumpet", "As3"): 70,
    ("trumpet", "C3"): 60,
    ("clarinet", "Fs6"): 89,
}


@dataclass(frozen=True)
class Instrument:
    """Waveforms by nominal MIDI number.

    ``lead`` samples stand before the onset in each; ``pitch`` is what it really sounds, as a
    fractional MIDI number measured with ``librosa.yin`` (above C6 by the spectrum's peak).
    """

    name: str
    notes: dict[int, np.ndarray]
    lead: dict[int, int]
    pitch: dict[int, float]

    @property
    def range_midi(self) -> tuple[int, int]:
        return min(self.notes), max(self.notes)


def onset_sample(sound: np.ndarray, rate_hz: int = RATE_HZ) -> int:
    """Return the sample of the physical onset."""
    step = rate_hz // 200
    frames = len(sound) // step
    power = np.square(sound[: frames * step]).reshape(frames, step).mean(axis=1)
    loudest = power[:200].max()
    return int(np.argmax(power >= loudest / 100)) * step


def decode(path: Path, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Return a sound file as mono float32."""
    parts = []
    with av.open(str(path)) as container:
        resampler = av.AudioResampler("flt", "mono", rate_hz)
        for frame in container.decode(audio=0):
            parts += [out.to_ndarray()[0] for out in resampler.resample(frame)]
        parts += [out.to_ndarray()[0] for out in resampler.resample(None)]
    return np.concatenate(parts).astype(np.float32)


def recorded(name: str, cache: Path = CACHE) -> Instrument:
    """Return an instrument of real recorded notes (samples CC-BY 3.0), fetched with npm.

    Raises
    ------
    FileNotFoundError
        If npm is not installed.
    """
    folder = cache / f"recorded-{name}"
    if not folder.exists():
        if shutil.which("npm") is None:
            raise FileNotFoundError("npm is not installed; it fetches the recorded notes")
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder.parent) as scratch:
            package = f"tonejs-instrument-{name}-mp3"
            subprocess.run(
                ["npm", "pack", package, "--silent"], cwd=scratch, check=True, capture_output=True
            )
            (archive,) = Path(scratch).glob("*.tgz")
            with tarfile.open(archive) as tar:
                tar.extractall(scratch, filter="data")
            shutil.move(Path(scratch) / "package", folder)
    notes = {}
    for path in sorted(folder.glob("*.mp3")):
        found = re.fullmatch(r"([A-G])(s?)(-?\d)", path.stem)
        if not found:
            continue
        letter, sharp, octave = found.groups()
        midi = 12 * (int(octave) + 1) + _STEPS[letter] + bool(sharp)
        notes[_MISLABELLED.get((name, path.stem), midi)] = decode(path)
    return _instrument(name, notes)


def rendered(name: str, program: int, low: int, high: int, cache: Path = CACHE) -> Instrument:
    """Return an instrument rendered note by note from Debian's fluid-soundfont-gm (MIT).

    Raises
    ------
    FileNotFoundError
        If the SoundFont is not installed.
    """
    store = cache / f"rendered-{program}-{low}-{high}.npz"
    if not store.exists():
        if not SOUNDFONT.exists():
            raise FileNotFoundError("the Debian package fluid-soundfont-gm is not installed")
        store.parent.mkdir(parents=True, exist_ok=True)
        np.savez(store, **_render(program, low, high))
    with np.load(store) as arrays:
        return _instrument(name, {int(key): arrays[key] for key in arrays.files})


_NOTE_S = 3.0
_SLOT_S = 4.0


def _render(program: int, low: int, high: int) -> dict[str, np.ndarray]:
    midi = _midi_file(program, [(k * _SLOT_S, _NOTE_S, low + k) for k in range(high - low + 1)])
    raw = render_wave_from(SOUNDFONT.read_bytes(), midi)
    with wave.open(io.BytesIO(raw)) as file:
        rate, channels, width = file.getframerate(), file.getnchannels(), file.getsampwidth()
        data = np.frombuffer(file.readframes(file.getnframes()), dtype=f"<i{width}")
    sound = data.reshape(-1, channels).mean(axis=1) / 2.0 ** (8 * width - 1)
    slot = round(_SLOT_S * rate)
    out = {}
    for k in range(high - low + 1):
        part = sound[k * slot : (k + 1) * slot]
        out[str(low + k)] = resample(part, rate)
    return out


def resample(sound: np.ndarray, rate_hz: int) -> np.ndarray:
    common = gcd(rate_hz, RATE_HZ)
    return resample_poly(sound, RATE_HZ // common, rate_hz // common).astype(np.float32)


def _midi_file(program: int, notes: list[tuple[float, float, int]]) -> bytes:
    """Return a Standard MIDI File: 1 tick = 1 ms; one track, one channel."""
    events = [(0, bytes([0xC0, program]))]
    for start, length, midi in notes:
        events.append((round(start * 1000), bytes([0x90, midi, 96])))
        events.append((round((start + length) * 1000), bytes([0x80, midi, 0])))
    track = b"\x00\xff\x51\x03" + (1_000_000).to_bytes(3, "big")
    now = 0
    for tick, message in sorted(events, key=lambda event: event[0]):
        track += _variable(tick - now) + message
        now = tick
    track += _variable(1000) + b"\xff\x2f\x00"
    head = b"MThd" + (6).to_bytes(4, "big") + b"\x00\x00\x00\x01" + (1000).to_bytes(2, "big")
    return head + b"MTrk" + len(track).to_bytes(4, "big") + track


def _variable(value: int) -> bytes:
    out = [value & 0x7F]
    while value := value >> 7:
        out.append(0x80 | (value & 0x7F))
    return bytes(reversed(out))


def _instrument(name: str, notes: dict[int, np.ndarray]) -> Instrument:
    kept, lead, pitch = {}, {}, {}
    for midi, sound in sorted(notes.items()):
        if np.abs(sound).max() < 1e-3:
            continue
        onset = onset_sample(sound)
        begin = max(0, onset - RATE_HZ // 10)
        level = np.sqrt(np.mean(np.square(sound[onset : onset + RATE_HZ])))
        kept[midi] = (sound[begin:] / (level + 1e-9) * 0.1).astype(np.float32)
        lead[midi] = onset - begin
        pitch[midi] = _real_pitch(sound[onset:], midi)
    return Instrument(name, kept, lead, pitch)


def _real_pitch(sound: np.ndarray, midi: int) -> float:
    """Return the median pitch of a note's steady part, looked for near its label."""
    hz = 440.0 * 2 ** ((midi - 69) / 12)
    low, high = hz * 2 ** (-0.8 / 12), hz * 2 ** (0.8 / 12)
    # Bars die away within a fifth of a second at the top, winds need as long to settle.
    steady = sound[RATE_HZ // 50 : RATE_HZ // 2] if midi > 84 else sound[RATE_HZ // 8 : RATE_HZ]
    if midi > 84:
        # So high a period is only a few samples long: take the peak of the spectrum instead.
        length = 1 << 17
        magnitude = np.abs(np.fft.rfft(steady * np.hanning(len(steady)), length))
        bins = np.arange(int(low * length / RATE_HZ), int(high * length / RATE_HZ) + 1)
        peak = bins[np.argmax(magnitude[bins])] * RATE_HZ / length
        return float(librosa.hz_to_midi(peak))
    found = librosa.yin(
        np.ascontiguousarray(steady, dtype=np.float32),
        fmin=low,
        fmax=high,
        sr=RATE_HZ,
        frame_length=4096 if midi < 40 else 2048,
        hop_length=512,
    )
    return float(np.median(librosa.hz_to_midi(found)))
