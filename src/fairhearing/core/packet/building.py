"""All packets of a season into a folder; only what changed is made again.

Conventions: one folder per instrument (and level, where there are several). Every file that was
made is remembered with a fingerprint of all it was made from — sources, settings, this room's own
code, the engraving and typesetting releases — in ``.made.json``. A file is written under a
temporary name and then renamed. Practice tracks are made from etudes alone: the fingerprint and
the sound of a track do not depend on the honors excerpt in any way.
"""

from __future__ import annotations

import dataclasses
import json
import multiprocessing
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from xml.etree.ElementTree import tostring

from fairhearing.core.errors import FairHearingError, ScoreFileError
from fairhearing.core.packet.audio_files import Kind
from fairhearing.core.packet.document import EngravedPacket, Press, engrave_packet, part_of_step
from fairhearing.core.packet.fingerprint import described, file_fingerprint, fingerprint
from fairhearing.core.packet.parts import Part, accompaniment_of
from fairhearing.core.packet.practice_page import PageTrack, practice_page
from fairhearing.core.packet.scans import scan_pictures
from fairhearing.core.packet.settings import TrackWish
from fairhearing.core.packet.spec import PacketSpec, Step
from fairhearing.core.packet.timing import default_tempi, marked_bpm
from fairhearing.core.packet.tracks import (
    Music,
    Track,
    finished,
    practice_track,
    rendered_music,
    tuning_note,
)
from fairhearing.core.packet.wording import Wording

MEMORY = ".made.json"
PATIENCE_S = 600.0  # one packet takes seconds; a damaged source can hang the engraving library


@dataclass(frozen=True, slots=True)
class PacketJob:
    """One instrument's packet in one language, with what else goes into its folder.

    Attributes
    ----------
    folder : str
        Below the output folder.
    spec : PacketSpec
    tracks : TrackWish or None
        None: no practice tracks and no practice page.
    sound_files : bool
        False: the page only, because a packet in another language brings the sound files.
    students : tuple of (str, str)
        Audition number and address of a page of their own; a PDF is made for each.
    """

    folder: str
    spec: PacketSpec
    tracks: TrackWish | None = None
    sound_files: bool = True
    students: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Done:
    """What came of a job.

    Attributes
    ----------
    folder : str
    made, kept : int
        Files written, files that were still true.
    remarks : tuple of str
        For the director: misfits, sections without music.
    memory : dict of str to str
        File name (below the output folder) to fingerprint.
    """

    folder: str
    made: int
    kept: int
    remarks: tuple[str, ...]
    memory: dict[str, str] = field(default_factory=dict)


def check_jobs(jobs: Iterable[PacketJob]) -> None:
    """Read and transpose every source once, before anything is written.

    Raises
    ------
    ScoreFileError
        The first source that an instrument cannot play, and how many more there are.
    """
    problems: dict[str, ScoreFileError] = {}
    for job in jobs:
        for step in job.spec.steps:
            if step.piece is None:
                continue
            try:
                if step.piece.scanned:
                    scan_pictures(step.piece.file)
                else:
                    part_of_step(step, job.spec)
            except ScoreFileError as error:
                problems.setdefault(str(error), error)
    if not problems:
        return
    first, *others = problems.values()
    if not others:
        raise first
    sources = "source" if len(others) == 1 else "sources"
    raise ScoreFileError(f"{first} ({len(others)} more {sources} cannot be used)")


def build(
    jobs: Sequence[PacketJob],
    out: Path,
    *,
    workers: int = 1,
    progress: Callable[[Done], None] = lambda _: None,
) -> list[Done]:
    """Make every packet that is missing or no longer true.

    Parameters
    ----------
    jobs : sequence of PacketJob
    out : Path
    workers : int
        Processes at work; 0 works in this process (for tests).
    progress : callable
        Called after each job.

    Raises
    ------
    FairHearingError
        The first problem; finished packets stay, and the next run goes on from there.
    """
    check_jobs(jobs)
    out.mkdir(parents=True, exist_ok=True)
    memory = read_memory(out)
    results: list[Done] = []

    def took(done: Done) -> None:
        results.append(done)
        memory.update(done.memory)
        _write(out / MEMORY, json.dumps(memory, indent=0, sort_keys=True).encode("utf-8"))
        progress(done)

    tuning = _tuning(jobs, out, memory)
    if tuning is not None:
        memory.update(tuning.memory)
        results.append(tuning)
    if workers <= 0:
        for job in jobs:
            took(make(job, out, memory))
        return results
    context = multiprocessing.get_context("spawn")
    with context.Pool(workers) as pool:
        coming = pool.imap_unordered(partial(make, out=out, memory=dict(memory)), jobs)
        for _ in jobs:
            try:
                took(coming.next(timeout=PATIENCE_S))
            except multiprocessing.TimeoutError:
                pool.terminate()
                done = {result.folder for result in results}
                late = [job.folder for job in jobs if job.folder not in done]
                raise FairHearingError(
                    f"nothing was finished for {PATIENCE_S:.0f} seconds ({', '.join(late[:4])}): "
                    "the music of one of these cannot be drawn; export it again from the "
                    "notation program"
                ) from None
    return results


def _tuning(jobs: Sequence[PacketJob], out: Path, memory: dict[str, str]) -> Done | None:
    """Make the tuning notes, once for all instruments."""
    job = next((job for job in jobs if job.tracks is not None), None)
    if job is None or job.tracks is None:
        return None
    wording = Wording(job.spec.language, job.spec.wording)
    bench = _Bench(PacketJob("tuning", job.spec), out, memory)
    for name, make_it in tuning_files(job.tracks, wording, job.spec.title).items():
        key = [name, job.tracks.tuning_hz, job.spec.title, wording("tuning_track")]
        bench.file(name, fingerprint(key), make_it)
    return Done("tuning", bench.made, bench.kept, (), bench.fresh)


def tuning_files(wish: TrackWish, wording: Wording, album: str) -> dict[str, Callable[[], bytes]]:
    """Return the tuning notes as file names and what makes them: A and B-flat, concert pitch.

    These two are what a band tunes to (common practice, no source).
    """
    files: dict[str, Callable[[], bytes]] = {}
    for note, hz in {"A": wish.tuning_hz, "Bb": wish.tuning_hz * 2 ** (1 / 12) / 2}.items():
        title = f"{wording('tuning_track')} {wording.key(note)} ({hz:.2f} Hz)"
        tags = {"title": title, "album": album}
        for kind in wish.formats:
            files[f"tuning-{note}.{kind}"] = partial(_tuning_file, hz, kind, tags)
    return files


def _tuning_file(hz: float, kind: Kind, tags: dict[str, str]) -> bytes:
    return finished(tuning_note(hz), kind, tags)


def read_memory(out: Path) -> dict[str, str]:
    """Return what was made before; nothing if the memory is missing or damaged."""
    try:
        found = json.loads((out / MEMORY).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(k): str(v) for k, v in found.items()} if isinstance(found, dict) else {}


def make(job: PacketJob, out: Path, memory: dict[str, str]) -> Done:
    """Make one job's files."""
    return _Bench(job, out, memory).work()


class _Bench:
    """The place where one job's files are made."""

    def __init__(self, job: PacketJob, out: Path, memory: dict[str, str]):
        self.job, self.out, self.memory = job, out, memory
        self.spec = job.spec
        self.wording = Wording(self.spec.language, self.spec.wording)
        self.fresh: dict[str, str] = {}
        self.made = self.kept = 0
        self._engraved: EngravedPacket | None = None

    def work(self) -> Done:
        spec = self.spec
        self._packet()
        for step in spec.steps:
            if step.piece is None or step.piece.scanned:
                continue
            self._part_file(step)
            # Only etudes: the honors excerpt is prepared alone.
            if step.kind == "etude" and self.job.tracks is not None:
                self._practice(step, self.job.tracks)
        return Done(self.job.folder, self.made, self.kept, self._remarks(), self.fresh)

    def file(self, name: str, key: str, make_it: Callable[[], bytes]) -> None:
        """Make a file unless the one that lies there was made from the same things."""
        path = self.out / self.job.folder / name
        place = f"{self.job.folder}/{name}"
        self.fresh[place] = key
        if self.memory.get(place) == key and path.is_file():
            self.kept += 1
            return
        data = make_it()
        _write(path, data)
        self.made += 1

    def _remarks(self) -> tuple[str, ...]:
        instrument = self.spec.instrument.name
        remarks = []
        for step in self.spec.steps:
            if step.piece is None and step.kind in {"etude", "honors"}:
                remarks.append(f"{instrument}: no music is named for the {step.name}")
            elif step.piece is not None and step.piece.scanned:
                remarks.append(
                    f"{instrument}: {step.piece.file.name} is printed as it is and judged by "
                    "ear only"
                )
            elif step.piece is not None:
                part = part_of_step(step, self.spec)
                if part.misfits:
                    remarks.append(f"{step.piece.title or part.title or step.name}: {part.says}")
        return tuple(remarks)

    # -- paper ---------------------------------------------------------------------------------

    def _packet(self) -> None:
        spec = self.spec
        key = fingerprint(described(spec))
        numbers = [(number, address) for number, address in self.job.students if number]
        names = [(f"packet-{spec.language}.pdf", spec.number, "")]
        names += [
            (f"students/{_plain(number)}-{spec.language}.pdf", number, address)
            for number, address in numbers
        ]
        press: Press | None = None
        loaded = None
        try:
            for name, number, address in names:

                def printed(number: str = number, address: str = address) -> bytes:
                    nonlocal press, loaded
                    if loaded is None:
                        press = Press()
                        loaded = press.load(self._engrave())
                    return loaded.pdf(number, address)

                self.file(name, fingerprint([key, number, address]), printed)
        finally:
            if press is not None:
                press.__exit__()

    def _engrave(self) -> EngravedPacket:
        if self._engraved is None:
            self._engraved = engrave_packet(self.spec)
        return self._engraved

    def _part_file(self, step: Step) -> None:
        assert step.piece is not None
        on = step.on or self.spec.instrument
        key = fingerprint([file_fingerprint(step.piece.file), described(on), self.spec.level])
        self.file(
            f"parts/{_plain(step.name)}.musicxml",
            key,
            lambda: _musicxml(part_of_step(step, self.spec)),
        )

    # -- sound ---------------------------------------------------------------------------------

    def _practice(self, step: Step, wish: TrackWish) -> None:
        piece = step.piece
        assert piece is not None
        spec, on = self.spec, step.on or self.spec.instrument
        title = piece.title or piece.file.stem
        base = [file_fingerprint(piece.file), described(on), spec.level, dataclasses.asdict(wish)]
        base += [title, piece.tempo_bpm, spec.title, spec.schools]
        part: Part | None = None

        def the_part() -> Part:
            nonlocal part
            part = part or part_of_step(step, spec)
            return part

        goal = piece.tempo_bpm or marked_bpm(the_part().score) or 90.0
        tempi = wish.tempi or default_tempi(goal)
        behind = wish.sound == "accompaniment"
        clicks = {"with": (True,), "without": (False,), "both": (True, False)}[wish.clicks]
        rendered: dict[int, Music] = {}

        def music(bpm: int) -> Music:
            if bpm not in rendered:
                rendered[bpm] = rendered_music(
                    the_part().score,
                    on,
                    bpm,
                    section=step.kind,
                    own_sound=wish.sound == "own",
                    accompaniment=accompaniment_of(piece.file) if behind else None,
                    with_line=not behind,
                )
            return rendered[bpm]

        name = _plain(step.name)
        for bpm in tempi:
            for clicking in clicks:
                track: Track | None = None

                def the_track(bpm: int = bpm, clicking: bool = clicking) -> Track:
                    nonlocal track
                    if track is None:
                        track = practice_track(
                            music(bpm), bpm, section=step.kind, clicks=clicking,
                            count_in_bars=wish.count_in_bars,
                        )  # fmt: skip
                    return track

                words = "with_clicks" if clicking else "without_clicks"
                mark = "" if len(clicks) == 1 else ("-clicks" if clicking else "-no-clicks")
                for kind in wish.formats if self.job.sound_files else ():
                    tags = self._tags(f"{title} · {bpm}", self.wording(words), on.name)
                    self.file(
                        f"tracks/{name}-{bpm:03d}{mark}.{kind}",
                        fingerprint([*base, bpm, clicking, kind, tags]),
                        lambda kind=kind, tags=tags, the_track=the_track: finished(  # type: ignore[misc]
                            the_track().sound, kind, tags
                        ),
                    )
                track = None
        self.file(
            f"practice-{name}-{spec.language}.html",
            fingerprint([*base, list(tempi), spec.language, dict(spec.wording), spec.invented]),
            lambda: self._page(the_part(), step, [(bpm, music(bpm)) for bpm in tempi], wish),
        )

    def _page(
        self, part: Part, step: Step, tempi: Sequence[tuple[int, Music]], wish: TrackWish
    ) -> bytes:
        assert step.piece is not None
        title = step.piece.title or step.piece.file.stem
        tracks = []
        for bpm, music in tempi:
            track = practice_track(music, bpm, section=step.kind, clicks=False, count_in_bars=0)
            mp3 = finished(track.sound, "mp3", self._tags(title, "", part.instrument.name))
            tracks.append(PageTrack(bpm, mp3, track.timeline))
        over = [self.spec.schools or self.spec.title]
        if self.spec.invented:
            over.append(self.wording("invented"))
        return practice_page(
            part,
            tracks,
            self.wording,
            title=title,
            over=" · ".join(over),
            tuning_hz=wish.tuning_hz,
        ).encode("utf-8")

    def _tags(self, title: str, comment: str, instrument: str) -> dict[str, str]:
        return {
            "title": f"{title} · {instrument}",
            "artist": self.spec.schools or self.spec.title,
            "album": f"{self.spec.title} · {self.wording('track')}",
            "comment": " · ".join(x for x in (instrument, comment) if x),
        }


def _musicxml(part: Part) -> bytes:
    head = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC '
        '"-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
        '"http://www.musicxml.org/dtds/partwise.dtd">\n'
    )
    return (head + tostring(part.tree, encoding="unicode")).encode("utf-8")


def _write(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(path.name + ".part")
    unfinished.write_bytes(data)
    unfinished.replace(path)


def _plain(name: str) -> str:
    kept = "".join(c if c.isalnum() or c in "-_" else "-" for c in name.strip().lower())
    return "-".join(piece for piece in kept.split("-") if piece) or "section"
