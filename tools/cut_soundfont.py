#!/usr/bin/env python3
"""Cut the small SoundFont that ships with the program from Debian's ``fluid-soundfont-gm``.

    python tools/cut_soundfont.py /usr/share/sounds/sf2/FluidR3_GM.sf2

writes ``src/fairhearing/core/packet/band.sf2``; run ``tools/measure_font.py`` after it.
Needs numpy and scipy; the source font is MIT-licensed (see docs/data-licences.md).

What is done, and why: only the left channel of stereo samples is kept (a mono sum of the two
would comb); reverberation, chorus and pan are dropped (the rooms are ours); the silence before
each attack is trimmed, so that a note sounds when it is asked for; samples with long loops are
resampled where their sound allows it; the piano keeps every other sample; winds stop as soon as
a player's tongue does, instead of fading for half a second. The layout of the file
follows the SoundFont Technical Specification 2.04, sections 5 to 8.
"""

from __future__ import annotations

import struct
import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.signal import resample

OUT = Path(__file__).resolve().parents[1] / "src/fairhearing/core/packet"
DRUMS = 128

# Generators by number (specification, section 8.1.2).
PAN, CHORUS, REVERB, INSTRUMENT, KEYS, VELOCITIES, SAMPLE, LOOP = 17, 15, 16, 41, 43, 44, 53, 54
RELEASE = 38
OFFSETS = (0, 1, 2, 3, 4, 12, 45, 50)


@dataclass(frozen=True)
class Wanted:
    """One preset to keep; ``rate`` caps the sample rate in Hz, ``keys`` what must sound."""

    bank: int
    program: int
    rate: int
    keys: tuple[int, int]
    every: int = 1
    longest_s: float = 99.0


WANTED = (
    Wanted(0, 0, 22050, (28, 96), every=2, longest_s=4.0),
    Wanted(0, 9, 44100, (79, 108)),
    Wanted(0, 13, 44100, (65, 108), longest_s=0.7),
    Wanted(0, 56, 44100, (52, 88)),
    Wanted(0, 57, 44100, (34, 76)),
    Wanted(0, 58, 44100, (24, 67)),
    Wanted(0, 60, 22050, (41, 77)),
    Wanted(0, 65, 24000, (44, 86)),
    Wanted(0, 68, 32000, (58, 92)),
    Wanted(0, 70, 22050, (33, 77), every=2),
    Wanted(0, 71, 44100, (48, 96)),
    Wanted(0, 73, 32000, (59, 98)),
    Wanted(DRUMS, 0, 32000, (38, 38), longest_s=0.6),
    Wanted(DRUMS, 0, 32000, (76, 77), longest_s=0.3),
)
# Timecents in which winds fall by 100 dB: 0.16 s (section 8.1.2, releaseVolEnv).
WINDS = range(56, 80)
WIND_RELEASE = -3200 & 0xFFFF
# Presets that borrow another instrument's samples: (bank, program) -> program.
BORROWED = {(0, 66): 65, (0, 67): 65, (0, 72): 73, (0, 12): 13}


@dataclass
class Font:
    """The tables of a SoundFont, as tuples of the specification's fields."""

    data: bytes
    tables: dict[bytes, list[tuple]]
    pcm: np.ndarray


@dataclass
class Cut:
    """What goes into the new font."""

    pcm: list[np.ndarray] = field(default_factory=list)
    samples: list[tuple] = field(default_factory=list)
    sample_of: dict[int, int] = field(default_factory=dict)
    trims: dict[int, int] = field(default_factory=dict)
    length: int = 0


FORMATS = {
    b"phdr": "<20sHHHIII",
    b"pbag": "<HH",
    b"pmod": "<HHhHH",
    b"pgen": "<HH",
    b"inst": "<20sH",
    b"ibag": "<HH",
    b"imod": "<HHhHH",
    b"igen": "<HH",
    b"shdr": "<20sIIIIIBbHH",
}


def read(path: Path) -> Font:
    """Read the tables and the 16-bit samples of a SoundFont."""
    data = path.read_bytes()
    found: dict[bytes, tuple[int, int]] = {}
    for _, start, size in _chunks(data, 12, len(data)):
        for name, at, length in _chunks(data, start + 4, start + size):
            found[name] = (at, length)
    tables = {}
    for name, fmt in FORMATS.items():
        at, length = found[name]
        tables[name] = list(struct.iter_unpack(fmt, data[at : at + length]))
    at, length = found[b"smpl"]
    return Font(data, tables, np.frombuffer(data, "<i2", length // 2, at))


def _chunks(data: bytes, at: int, end: int):
    while at < end:
        size = struct.unpack_from("<I", data, at + 4)[0]
        yield data[at : at + 4], at + 8, size
        at += 8 + size + (size & 1)


def zones(font: Font, kind: bytes, index: int):
    """Yield (generators in order, modulators) of each zone of a preset or an instrument."""
    head, bag, gen, mod = (
        (b"phdr", b"pbag", b"pgen", b"pmod")
        if kind == b"phdr"
        else (b"inst", b"ibag", b"igen", b"imod")
    )
    first, last = (font.tables[head][i][3 if kind == b"phdr" else 1] for i in (index, index + 1))
    bags = font.tables[bag]
    for i in range(first, last):
        yield (
            list(font.tables[gen][bags[i][0] : bags[i + 1][0]]),
            list(font.tables[mod][bags[i][1] : bags[i + 1][1]]),
        )


def keep_sample(font: Font, cut: Cut, index: int, want: Wanted, looped: bool) -> int:
    """Copy one sample, trimmed and perhaps resampled; return its new index."""
    if index in cut.sample_of:
        return cut.sample_of[index]
    name, start, end, loop, loop_end, rate, key, fine, _, _ = font.tables[b"shdr"][index]
    sound = font.pcm[start:end].astype(np.float64)
    loop, loop_end = loop - start, loop_end - start
    if not looped:
        length = min(len(sound), int(want.longest_s * rate))
        loud = np.flatnonzero(np.abs(sound) > 1e-3 * np.abs(sound).max())
        length = min(length, int(loud[-1]) + 1)
        fade = min(length, int(0.05 * rate))
        sound = sound[:length]
        sound[-fade:] *= np.linspace(1, 0, fade)
        loop, loop_end = 8, length - 8
    winds = want.program in WINDS
    head = attack_start(sound, rate, 0.1 if winds else 0.02)
    head = min(head, max(loop - 64, 0)) if looped else head
    sound, loop, loop_end = sound[head:], max(loop - head, 8), loop_end - head
    period = loop_end - loop
    if rate > want.rate and period >= 3000:
        sound, loop, loop_end, rate = slower(sound, loop, loop_end, rate, want.rate)
    if looped:
        sound = sound[: loop_end + 8]
    ramp = min(rate // 400 if winds else 24, len(sound))
    sound[:ramp] *= np.linspace(0, 1, ramp)
    pcm = np.clip(np.round(sound), -32768, 32767).astype("<i2")
    at = cut.length
    cut.samples.append((name, at, at + len(pcm), at + loop, at + loop_end, rate, key, fine, 0, 1))
    cut.pcm += [pcm, np.zeros(46, "<i2")]  # the specification wants 46 silent points between
    cut.length += len(pcm) + 46
    cut.sample_of[index] = len(cut.samples) - 1
    return cut.sample_of[index]


def attack_start(sound: np.ndarray, rate: int, share: float) -> int:
    """Return the point, in samples, 1 ms before the sound passes a share of its early peak."""
    early = np.abs(sound[: int(0.25 * rate)])
    return max(int(np.argmax(early > share * early.max())) - rate // 1000, 0)


def slower(
    sound: np.ndarray, loop: int, loop_end: int, rate: int, wanted: int
) -> tuple[np.ndarray, int, int, int]:
    """Resample so that the loop keeps a whole number of points, hence its pitch."""
    period = loop_end - loop
    new_period = round(period * wanted / rate)
    ratio = new_period / period
    whole = -(-len(sound) // period) * period
    padded = np.concatenate([sound, np.full(whole - len(sound), sound[-1])])
    new = resample(padded, round(whole * ratio))[: int(len(sound) * ratio)]
    start = round(loop * ratio)
    return new, start, start + new_period, round(rate * ratio)


def cut_instrument(font: Font, cut: Cut, index: int, want: Wanted) -> list[tuple[list, list]]:
    """Return the zones of an instrument that are kept, with new sample numbers."""
    kept: list[tuple[list, list]] = []
    local: list[tuple[list, list]] = []
    global_loop = 0
    for all_gens, mods in zones(font, b"inst", index):
        values = dict(all_gens)
        gens = [g for g in all_gens if g[0] not in (PAN, CHORUS, REVERB, *OFFSETS)]
        if SAMPLE not in values:
            kept.append((gens, mods))
            global_loop = values.get(LOOP, 0)
            continue
        pan = values.get(PAN, 0)
        low, high = values[KEYS] & 255 if KEYS in values else 0, values.get(KEYS, 127 << 8) >> 8
        if 0 < pan < 32768 or high < want.keys[0] or low > want.keys[1]:
            continue
        local.append((gens, mods))
    chosen = sorted(local, key=lambda zone: dict(zone[0]).get(KEYS, 0) & 255)[:: want.every]
    low = 0
    for i, (gens, mods) in enumerate(chosen):
        values = dict(gens)
        keys = values.get(KEYS, 127 << 8)
        if want.every > 1:
            last = i + 1 == len(chosen)
            after = 128 if last else dict(chosen[i + 1][0])[KEYS] & 255
            high = 127 if last else ((keys >> 8) + after) // 2
            keys = low | high << 8
            low = high + 1
        looped = bool(values.get(LOOP, global_loop) & 1)
        new = keep_sample(font, cut, values[SAMPLE], want, looped)
        inner = [g for g in gens if g[0] not in (SAMPLE, KEYS)]
        if want.program in WINDS:
            inner = [g for g in inner if g[0] != RELEASE] + [(RELEASE, WIND_RELEASE)]
        kept.append(([(KEYS, keys), *inner, (SAMPLE, new)], mods))
    return kept


def main(source: Path) -> None:
    """Cut, write, measure."""
    font = read(source)
    cut = Cut()
    presets: dict[tuple[int, int], tuple[bytes, list]] = {}
    instruments: list[tuple[bytes, list]] = []
    for want in WANTED:
        index = next(
            i
            for i, head in enumerate(font.tables[b"phdr"])
            if (head[2], head[1]) == (want.bank, want.program)
        )
        new_of: dict[int, int] = {}
        kept = []
        for all_gens, mods in zones(font, b"phdr", index):
            values = dict(all_gens)
            drop = (PAN, CHORUS, REVERB, *([RELEASE] if want.program in WINDS else []))
            gens = [g for g in all_gens if g[0] not in drop]
            if INSTRUMENT not in values:
                kept.append((gens, mods))
                continue
            old = values[INSTRUMENT]
            if old not in new_of:
                zone_list = cut_instrument(font, cut, old, want)
                if not any(SAMPLE in dict(zone[0]) for zone in zone_list):
                    continue
                new_of[old] = len(instruments)
                instruments.append((font.tables[b"inst"][old][0], zone_list))
            inner = [g for g in gens if g[0] != INSTRUMENT]
            kept.append(([*inner, (INSTRUMENT, new_of[old])], mods))
        place = (want.bank, want.program)
        if place in presets:  # a second cut of the drum kit: leave its global zone out
            presets[place][1].extend(z for z in kept if INSTRUMENT in dict(z[0]))
        else:
            presets[place] = (font.tables[b"phdr"][index][0], kept)
        print(f"{place}: {2 * cut.length / 1e6:.2f} MB so far")
    for (bank, program), lender in BORROWED.items():
        presets[bank, program] = presets[0, lender]
    target = OUT / "band.sf2"
    target.write_bytes(assemble(presets, instruments, cut))
    print(f"{target.name}: {target.stat().st_size / 1e6:.2f} MB")


def assemble(presets: dict, instruments: list, cut: Cut) -> bytes:
    """Return the bytes of a SoundFont."""
    out: dict[bytes, list[tuple]] = {name: [] for name in FORMATS}
    for (bank, program), (name, zone_list) in sorted(presets.items()):
        out[b"phdr"].append((name, program, bank, len(out[b"pbag"]), 0, 0, 0))
        _zones(out, b"p", zone_list)
    for name, zone_list in instruments:
        out[b"inst"].append((name, len(out[b"ibag"])))
        _zones(out, b"i", zone_list)
    out[b"phdr"].append((b"EOP", 0, 0, len(out[b"pbag"]), 0, 0, 0))
    out[b"inst"].append((b"EOI", len(out[b"ibag"])))
    for side in (b"p", b"i"):
        out[side + b"bag"].append((len(out[side + b"gen"]), len(out[side + b"mod"])))
        out[side + b"mod"].append((0, 0, 0, 0, 0))
        out[side + b"gen"].append((0, 0))
    out[b"shdr"] = [*cut.samples, (b"EOS", 0, 0, 0, 0, 0, 0, 0, 0, 0)]
    info = (
        _chunk(b"ifil", struct.pack("<HH", 2, 1))
        + _chunk(b"isng", b"EMU8000\0")
        + _chunk(b"INAM", b"band\0\0")
        + _chunk(b"ICOP", b"Copyright (c) 2000-2002, 2008 Frank Wen, MIT licence\0\0")
        + _chunk(b"ICMT", b"Cut from Fluid (R3) by tools/cut_soundfont.py; see docs\0")
    )
    tables = b"".join(
        _chunk(name, b"".join(struct.pack(fmt, *row) for row in out[name]))
        for name, fmt in FORMATS.items()
    )
    pcm = np.concatenate(cut.pcm).tobytes()
    body = _list(b"INFO", info) + _list(b"sdta", _chunk(b"smpl", pcm)) + _list(b"pdta", tables)
    return _chunk(b"RIFF", b"sfbk" + body)


def _zones(out: dict, side: bytes, zone_list: list) -> None:
    for gens, mods in zone_list:
        out[side + b"bag"].append((len(out[side + b"gen"]), len(out[side + b"mod"])))
        order = {KEYS: -2, VELOCITIES: -1, INSTRUMENT: 99, SAMPLE: 99}
        out[side + b"gen"] += sorted(gens, key=lambda g: order.get(g[0], 0))
        out[side + b"mod"] += mods


def _chunk(name: bytes, data: bytes) -> bytes:
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) & 1)


def _list(name: bytes, data: bytes) -> bytes:
    return _chunk(b"LIST", name + data)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
