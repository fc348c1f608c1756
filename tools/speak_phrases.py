#!/usr/bin/env python3
"""Let espeak-ng speak the demo players' phrases; write ``demo/data/voices.ogg`` and ``.json``.

    apt-get install espeak-ng
    python tools/speak_phrases.py

Only this script needs espeak-ng; the program carries the finished sound (see
docs/data-licences.md). All phrases stand in one Opus file with silence between them; the JSON
says where each begins and ends, in samples at 48 kHz. No family name is spoken.
"""

from __future__ import annotations

import io
import json
import subprocess
import wave
from pathlib import Path

import av
import numpy as np
from scipy.signal import resample_poly

from fairhearing.core.packet.instruments import load
from fairhearing.demo.cast import PLAYERS

OUT = Path(__file__).resolve().parents[1] / "src/fairhearing/demo/data"
RATE = 48_000
BITRATE = 20_000
GAP_S = 0.3

# Voice letter: espeak-ng voice, pitch (0 to 99), words a minute.
VOICES = {
    "a": ("en-us+f2", 62, 160),
    "b": ("en-us+f4", 70, 150),
    "c": ("en-us+f3", 74, 165),
    "d": ("en-us+m3", 66, 155),
    "e": ("en-us+m1", 58, 160),
    "f": ("en-us+m7", 72, 150),
    "s": ("es-419+f2", 64, 155),
    "t": ("es-419+m3", 62, 150),
}
SECTIONS = {
    "en": {
        "chromatic": "Chromatic scale.",
        "scales": "Major scales.",
        "rudiments": "Rudiments.",
        "etude": "Etude.",
        "honors": "Honors excerpt.",
        "thanks": "That's all. Thank you.",
    },
    "es": {
        "chromatic": "Escala cromática.",
        "scales": "Escalas mayores.",
        "rudiments": "Rudimentos.",
        "etude": "Estudio.",
        "honors": "Fragmento de honor.",
        "thanks": "Eso es todo. Muchas gracias.",
    },
}


def phrases() -> dict[str, tuple[str, str]]:
    """Return the text and the voice letter of every phrase, by key."""
    found: dict[str, tuple[str, str]] = {}
    table = load()
    for player in PLAYERS:
        if player.take is None:
            continue
        instrument = table[player.instrument]
        digits = ", ".join(player.number)
        if player.spanish:
            text = f"Hola. Este es el número {digits}, {instrument.names['es']}."
        else:
            text = f"Hello. This is number {digits}, {instrument.name}."
        found[f"introduction/{player.number}"] = (text, player.voice)
        language = "es" if player.spanish else "en"
        for section, words in SECTIONS[language].items():
            found[f"{section}/{player.voice}"] = (words, player.voice)
    return found


def speak(text: str, voice: str) -> np.ndarray:
    """Return the phrase as float samples at 48 kHz, silence at both ends cut off."""
    name, pitch, speed = VOICES[voice]
    command = ["espeak-ng", "-v", name, "-p", str(pitch), "-s", str(speed), "--stdout", text]
    spoken = subprocess.run(command, check=True, capture_output=True).stdout
    with wave.open(io.BytesIO(spoken)) as file:
        rate = file.getframerate()
        pcm = np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(np.float32)
    sound = resample_poly(pcm, RATE // 150, rate // 150)
    loud = np.flatnonzero(np.abs(sound) > 0.01 * np.abs(sound).max())
    sound = sound[loud[0] : loud[-1] + 1]
    return (0.1 / np.sqrt(np.mean(sound**2)) * sound).astype(np.float32)


def main() -> None:
    """Speak, join, encode, index."""
    OUT.mkdir(exist_ok=True)
    pieces: list[np.ndarray] = [np.zeros(int(GAP_S * RATE), np.float32)]
    index: dict[str, list[int]] = {}
    at = len(pieces[0])
    for key, (text, voice) in sorted(phrases().items()):
        sound = speak(text, voice)
        index[key] = [at, at + len(sound)]
        pieces += [sound, np.zeros(int(GAP_S * RATE), np.float32)]
        at += len(sound) + len(pieces[0])
    whole = np.clip(np.concatenate(pieces), -1, 1)
    with av.open(str(OUT / "voices.ogg"), "w", options={"fflags": "+bitexact"}) as file:
        stream = file.add_stream("libopus", rate=RATE, layout="mono", bit_rate=BITRATE)
        frame = av.AudioFrame.from_ndarray(whole[None], format="flt", layout="mono")
        frame.sample_rate = RATE
        file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
    text = ",\n".join(f'"{key}": {value}' for key, value in index.items())
    made = json.dumps("tools/speak_phrases.py with espeak-ng")
    (OUT / "voices.json").write_text(
        f'{{"made_by": {made},\n"rate_hz": {RATE},\n"phrases": {{\n{text}\n}}}}\n', encoding="utf-8"
    )
    print(f"{len(index)} phrases, {at / RATE:.0f} s, {(OUT / 'voices.ogg').stat().st_size} bytes")


if __name__ == "__main__":
    main()
