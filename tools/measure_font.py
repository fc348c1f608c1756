#!/usr/bin/env python3
"""Measure each note of the bundled SoundFont; write ``band.json``, by which sound.py corrects it.

    python tools/measure_font.py

Every key of every program is rendered alone at velocity 80.

* attack_ms: until the level (RMS over 2 ms) first passes a fifth (−14 dB) of the greatest level
  in the first 0.3 s;
* cents: how far the note is from equal temperament at A4 = 440 Hz; for winds by the peak of the
  autocorrelation, for struck sounds (whose partials are not harmonic) by the lowest partial;
* level_db: level of the first 0.3 s, against the median of its program.
"""

from __future__ import annotations

import json

import numpy as np

from fairhearing.core.packet.sound import MEASURED, PROGRAMS, NoteEvent, render

RATE = 48_000
SPACING_S = 1.2
STRUCK = (0, 9, 12, 13)


def main() -> None:
    """Render, measure, write."""
    table: dict[str, dict[str, list[float]]] = {}
    for program in PROGRAMS:
        keys = range(24, 109)
        notes = [NoteEvent(i * SPACING_S + 0.1, 0.9, key) for i, key in enumerate(keys)]
        sound = render(notes, program, RATE, corrected=False).astype(np.float64)
        rows = []
        for i, key in enumerate(keys):
            note = sound[round((i * SPACING_S + 0.1) * RATE) :][: int(0.9 * RATE)]
            level = 10 * np.log10(np.mean(note[: int(0.3 * RATE)] ** 2) + 1e-12)
            rows.append((attack_ms(note), cents_off(note, key, struck=program in STRUCK), level))
        middle = np.median([row[2] for row in rows])
        table[str(program)] = {
            str(key): [attack, cents, round(level - middle, 1)]
            for key, (attack, cents, level) in zip(keys, rows, strict=True)
        }
        values = np.array(list(table[str(program)].values()))
        print(program, "median", np.round(np.median(values, 0), 1), "most", abs(values).max(0))
    page = {"measured_by": "tools/measure_font.py", "columns": ["attack_ms", "cents", "level_db"]}
    rows_text = ",\n".join(
        f'"{program}": {{\n'
        + ",\n".join(f'"{key}": {json.dumps(row)}' for key, row in keys.items())
        + "}"
        for program, keys in table.items()
    )
    head = json.dumps(page)[:-1]
    MEASURED.write_text(f'{head},\n"programs": {{\n{rows_text}}}}}\n', encoding="utf-8")


def attack_ms(note: np.ndarray) -> float:
    """Return the attack in milliseconds."""
    width = RATE // 500
    sound = note[: int(0.3 * RATE)]
    level = np.convolve(sound**2, np.ones(width) / width)[width - 1 :]
    return round(1000 * (int(np.argmax(level > 0.04 * level.max())) + width / 2) / RATE, 1)


def cents_off(note: np.ndarray, key: int, *, struck: bool) -> float:
    """Return the deviation in cents, 0 where it is more than 45 (another partial was met)."""
    wanted = 440 * 2 ** ((key - 69) / 12)
    part = note[int(0.02 * RATE) :] if struck else note[int(0.05 * RATE) : int(0.4 * RATE)]
    size = 1 << 19
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), size)) ** 2
    if struck:
        near = np.arange(int(wanted * 0.97 * size / RATE), int(wanted * 1.03 * size / RATE) + 2)
        found = (near[0] + _peak(spectrum[near])) * RATE / size
    else:
        # Divided by the window's own autocorrelation, or the peak leans towards short lags
        # (Boersma 1993, IFA Proceedings 17:97-110, equation 9).
        window = np.abs(np.fft.rfft(np.hanning(len(part)), size)) ** 2
        lags = np.fft.irfft(spectrum) / np.maximum(np.fft.irfft(window), 1e-9)
        near = np.arange(int(RATE / wanted * 0.97) - 1, int(RATE / wanted * 1.03) + 2)
        found = RATE / (near[0] + _peak(lags[near]))
    cents = 1200 * np.log2(found / wanted)
    return round(float(cents), 1) if abs(cents) < 45 else 0.0


def _peak(values: np.ndarray) -> float:
    at = int(np.clip(np.argmax(values), 1, len(values) - 2))
    left, middle, right = values[at - 1 : at + 2]
    bend = left - 2 * middle + right
    return float(at + 0.5 * (left - right) / bend) if bend else float(at)


if __name__ == "__main__":
    main()
