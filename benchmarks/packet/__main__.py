"""Reading, transposing, printing and sounding, each with its reference in the same run.

``python -m benchmarks.packet [reading|parts|paper|sound]…`` prints one table a topic. Times are
processor seconds of this process, because other programs may be at work on the same machine.
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
import warnings
import zipfile
from collections import Counter
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from xml.etree.ElementTree import tostring

import music21
import numpy as np

from fairhearing.core.errors import ScoreFileError
from fairhearing.core.packet.audio_files import decoded_mono
from fairhearing.core.packet.document import Press, engrave_packet
from fairhearing.core.packet.engraving import engrave
from fairhearing.core.packet.instruments import LEVELS, load
from fairhearing.core.packet.opening import open_tree
from fairhearing.core.packet.parts import part_for, part_on_its_own
from fairhearing.core.packet.reading import read_score
from fairhearing.core.packet.spec import PacketSpec, Piece, Step
from fairhearing.core.packet.tracks import (
    RATE,
    click_sound,
    finished,
    loudness_lufs,
    practice_track,
    rendered_music,
)
from fairhearing.demo import melodies, sheet


def row(*cells: object) -> None:
    print("  ".join(f"{cell!s:<34}" if n == 0 else f"{cell!s:>14}" for n, cell in enumerate(cells)))


def suite() -> list[Path]:
    folder = Path(music21.__file__).parent / "musicxml" / "lilypondTestSuite"
    return sorted([*folder.glob("*.xml"), *folder.glob("*.mxl")])


def raw_heads(path: Path) -> int:
    """Return the notes in the text of a file, counted with a regular expression."""
    data = path.read_bytes()
    if path.suffix == ".mxl":
        with zipfile.ZipFile(path) as archive:
            inside = [n for n in archive.namelist() if n.endswith("xml") and "META" not in n]
            data = archive.read(inside[0])
    utf16 = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    text = data.decode("utf-16" if utf16 else "utf-8", "replace")
    text = re.sub(r"<!--.*?-->", "", text, flags=re.S)
    return sum("<rest" not in head for head in re.findall(r"<note\b.*?</note>", text, re.S))


def reading() -> None:
    files = suite()
    print(f"\nPublic MusicXML suite ({len(files)} files in the music21 wheel)")
    row("", "read", "refused", "notes lost", "seconds")
    read = lost = 0
    scores = {}
    start = time.process_time()
    for path in files:
        try:
            scores[path] = read_score(path)
        except ScoreFileError:
            continue
        read += 1
        lost += raw_heads(path) - len(scores[path].notes)
    row("this program", read, len(files) - read, lost, f"{time.process_time() - start:.2f}")
    start, theirs, same = time.process_time(), 0, 0
    for path in files:
        try:
            stream = music21.converter.parse(path, forceSource=True).toSoundingPitch()
        except Exception:
            continue
        theirs += 1
        if path in scores:
            same += _onsets(stream) == Counter(
                (n.onset.limit_denominator(5000), n.sounding) for n in scores[path].notes
            )
    row(
        "music21 (reference)", theirs, len(files) - theirs, "", f"{time.process_time() - start:.2f}"
    )
    row("same onsets and sounding pitches", f"{same} of {read}")
    parts = drawn = 0
    start = time.process_time()
    for path, score in scores.items():
        root = open_tree(path)
        for index in range(len(score.parts)):
            parts += 1
            tree = part_on_its_own(root, index, load()["flute"])
            drawn += _engraves(lambda tree=tree: engrave(tree, width_mm=180))  # type: ignore[misc]
    row("parts engraved, no note missing", f"{drawn} of {parts}", "", "",
        f"{time.process_time() - start:.2f}")  # fmt: skip


def _engraves(work: Callable[[], object]) -> bool:
    try:
        work()
    except ScoreFileError as error:
        print("   ", error)
        return False
    return True


def _onsets(stream: music21.stream.Stream) -> Counter[tuple[Fraction, int | None]]:
    found: Counter[tuple[Fraction, int | None]] = Counter()
    for part in stream.parts:
        for element in part.recurse().notes:
            if isinstance(element, music21.harmony.Harmony):
                continue
            onset = Fraction(element.getOffsetInHierarchy(part)).limit_denominator(5000)
            for head in getattr(element, "notes", None) or [element]:
                pitched = not isinstance(head, music21.note.Unpitched)
                found[(onset, int(head.pitch.ps + 0.5) if pitched else None)] += 1
    return found


def written(folder: Path, source: str = "clarinet") -> tuple[Path, Path]:
    """Write the demo's invented etude and excerpt of an instrument."""
    instrument = load()[source]
    etude, honors = folder / "etude.musicxml", folder / "honors.musicxml"
    etude.write_text(sheet.musicxml(melodies.etude(source), instrument), encoding="utf-8")
    honors.write_text(sheet.musicxml(melodies.honors(source), instrument), encoding="utf-8")
    return etude, honors


def parts(folder: Path) -> None:
    etude, _ = written(folder)
    source = _sounding(etude.read_text(encoding="utf-8"))
    print("\nParts: one etude for every pitched instrument, sounding pitch read back by music21")
    row("level", "parts", "wrong", "with misfits", "ms a part")
    for level in LEVELS:
        count = wrong = misfit = 0
        spent = 0.0
        for instrument in load().values():
            if instrument.kind not in {"melodic", "mallet"}:
                continue
            start = time.process_time()
            part = part_for(etude, instrument, level)
            spent += time.process_time() - start
            count += 1
            misfit += bool(part.misfits)
            octave = 12 * part.sounding_octaves
            heard = _sounding(tostring(part.tree, encoding="unicode"))
            wrong += heard != [(onset, midi + octave) for onset, midi in source]
        row(level, count, wrong, misfit, f"{1000 * spent / count:.1f}")


def _sounding(text: str) -> list[tuple[Fraction, int]]:
    part = music21.converter.parseData(text, format="musicxml").parts[0].toSoundingPitch()
    return [
        (Fraction(n.getOffsetInHierarchy(part)).limit_denominator(96), n.pitch.midi)
        for n in part.recurse().notes
    ]


def paper(folder: Path) -> None:
    etude, honors = written(folder)
    spec = PacketSpec(
        title="Invented auditions",
        schools="Alder Creek Secondary",
        invented=True,
        instrument=load()["clarinet"],
        level="advanced",
        steps=(
            Step("introduction", "introduction"),
            Step("chromatic", "chromatic"),
            Step("scales", "scales", 60.0),
            Step("etude", "etude", piece=Piece(etude, "Etude")),
            Step("honors", "honors", piece=Piece(honors, "Excerpt")),
        ),
        address="https://band.example.org/auditions",
    )
    print("\nPaper: one clarinet packet, then one PDF a student with number and address")
    row("", "seconds", "each, ms")
    with Press() as press:
        start = time.process_time()
        packet = engrave_packet(spec)
        row("transpose and engrave", f"{time.process_time() - start:.2f}")
        loaded = press.load(packet)
        start = time.process_time()
        loaded.pdf()
        row("first PDF (fonts are read)", f"{time.process_time() - start:.2f}")
        students, start, wall = 400, time.process_time(), time.perf_counter()
        for number in range(students):
            loaded.pdf(str(100 + number), f"https://band.example.org/{100 + number}")
        spent = time.process_time() - start
        row(f"{students} students", f"{spent:.1f}", f"{1000 * spent / students:.0f}")
        row("  on the clock", f"{time.perf_counter() - wall:.1f}")
    row("staff on the scale sheet, mm", f"{packet.sheet_staff_mm or 0:.1f}")


def sound(folder: Path) -> None:
    etude, _ = written(folder)
    part = part_for(etude, load()["clarinet"], "intermediate")
    print("\nSound: the etude at several tempi, measured on the decoded mono file")
    row("tempo and file", "LUFS", "peak dBFS", "clicks off, ms", "x real time")
    for bpm in (60, 72, 84, 100):
        start = time.process_time()
        music = rendered_music(part.score, part.instrument, bpm, section="etude")
        track = practice_track(music, bpm, section="etude")
        seconds = len(track.sound) / RATE
        render = time.process_time() - start
        clicks = track.timeline.clicks
        alone = click_sound(clicks, len(track.sound))
        loud = np.flatnonzero(np.abs(alone) > 0.3)
        starts = loud[np.flatnonzero(np.diff(loud, prepend=-RATE) > RATE // 10)]
        off = np.max(np.abs(starts / RATE - np.array([click.at_s for click in clicks])))
        row(f"{bpm}: rendered ({seconds:.0f} s)", f"{loudness_lufs(track.sound):.2f}", "",
            f"{1000 * off:.3f}", f"{seconds / render:.0f}")  # fmt: skip
        for kind in ("m4a", "mp3"):
            start = time.process_time()
            data = finished(track.sound, kind, {})  # type: ignore[arg-type]
            spent = time.process_time() - start
            heard, rate = decoded_mono(data)
            peak = 20 * np.log10(np.max(np.abs(heard)))
            row(f"{bpm}: {kind} ({len(data) / 1000:.0f} kB)", f"{loudness_lufs(heard, rate):.2f}",
                f"{peak:.2f}", "", f"{seconds / spent:.0f}")  # fmt: skip


def main() -> None:
    warnings.simplefilter("ignore")
    wanted = sys.argv[1:] or ["reading", "parts", "paper", "sound"]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for topic in wanted:
            if topic == "reading":
                reading()
            else:
                {"parts": parts, "paper": paper, "sound": sound}[topic](folder)


if __name__ == "__main__":
    main()
