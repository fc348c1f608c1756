"""The packet PDF: cover, how to record, cue card, scale sheet, etude, honors excerpt.

Conventions: millimetres. Music is engraved once per instrument and language
(:func:`engrave_packet`) and printed as often as wanted (:class:`Press`), for instance once per
student with the audition number on it. The PDF is tagged and follows PDF/UA-1 (ISO 14289-1); every
picture of music says which bars it shows; fonts are embedded.
"""

from __future__ import annotations

import json
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typst

from fairhearing.core.errors import FairHearingError, TableError
from fairhearing.core.packet.engraving import Engraving, engrave
from fairhearing.core.packet.fonts import music_font
from fairhearing.core.packet.instruments import Instrument
from fairhearing.core.packet.parts import Part, part_for
from fairhearing.core.packet.rudiments import rudiment_lines
from fairhearing.core.packet.scales import ScaleLine, sheet_lines
from fairhearing.core.packet.scans import scan_pictures
from fairhearing.core.packet.spec import PAPERS, PacketSpec, Step
from fairhearing.core.packet.square_code import square_code
from fairhearing.core.packet.steps_in_words import (
    RUDIMENT_NAMES,
    capital,
    cue_lines,
    key_name,
    step_name,
    what_to_play,
)
from fairhearing.core.packet.wording import Wording

MARGIN_MM = 17.0
LABEL_MM = 33.0
SYSTEM_GAPS_MM = (5.5, 11.0)  # least, most: the most leaves room for a pencil
HEADING_MM = 24.0
STAFF_MM = 7.2
SMALLEST_PART_MM = 6.5
SCALE_STAVES_MM = (7.0, 5.35)  # from, to: as large as one page allows
TWO_PAGE_SCALE_MM = 6.6
SCALE_HEADING_MM = 13.0
SHEET_TOP_MM = 13.0
SHEET_GAP_MM = 0.8
RUDIMENT_STAFF_MM = 6.4
DRAWINGS = ("one-take", "steady", "distance", "frame", "quiet", "as-it-is")

_HERE = Path(__file__).parent
_TEMPLATE = _HERE / "packet.typ"


@dataclass(frozen=True, slots=True, eq=False)
class EngravedPacket:
    """All pictures of one packet, ready to be printed.

    Attributes
    ----------
    spec : PacketSpec
    parts : tuple of Part
        The etudes and excerpts as parts, in playing order (scans are not among them).
    files : dict of str to bytes
        Pictures by name.
    data : dict
        What the page template reads.
    remarks : tuple of str
        What the director should know, misfits above all.
    sheet_staff_mm : float or None
        Height of a staff on the scale sheet.
    """

    spec: PacketSpec
    parts: tuple[Part, ...]
    files: dict[str, bytes]
    data: dict[str, Any]
    remarks: tuple[str, ...] = ()
    sheet_staff_mm: float | None = None


def engrave_packet(spec: PacketSpec) -> EngravedPacket:
    """Transpose and engrave everything in a packet.

    Raises
    ------
    ScoreFileError
        If a source cannot be played on the instrument or would lose notes.
    TableError
        If a setting is wrong.
    """
    return _Maker(spec).make()


def part_of_step(step: Step, spec: PacketSpec) -> Part:
    """Return the part that a step's piece gives on its instrument."""
    assert step.piece is not None
    return part_for(step.piece.file, step.on or spec.instrument, spec.level)


class Press:
    """Prints packets; keeps fonts and drawings loaded between them.

    Use as a context manager; its working folder is temporary.
    """

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="fairhearing-packet-")
        self.root = Path(self._folder.name)
        fonts = self.root / "fonts"
        fonts.mkdir()
        (fonts / "music.ttf").write_bytes(music_font())
        self._fonts = typst.Fonts(include_system_fonts=False, font_paths=[str(fonts)])

    def __enter__(self) -> Press:
        return self

    def __exit__(self, *_: object) -> None:
        self._folder.cleanup()

    def load(self, packet: EngravedPacket) -> LoadedPacket:
        """Lay a packet's pictures out for printing."""
        folder = Path(tempfile.mkdtemp(dir=self.root))
        for name, data in packet.files.items():
            (folder / name).write_bytes(data)
        (folder / "packet.typ").write_bytes(_TEMPLATE.read_bytes())
        return LoadedPacket(packet, folder, self._fonts)


class LoadedPacket:
    """A packet on the press."""

    def __init__(self, packet: EngravedPacket, folder: Path, fonts: typst.Fonts):
        self._packet = packet
        self._folder = folder
        self._json = folder / "packet.json"
        self._json.write_text("{}", encoding="utf-8")
        self._compiler = typst.Compiler(
            str(folder / "packet.typ"), root=str(folder), font_paths=fonts
        )

    def pdf(self, number: str = "", address: str = "") -> bytes:
        """Return the PDF, for one student if an audition number is given.

        Raises
        ------
        FairHearingError
            If the pages could not be set, for instance because a logo is damaged.
        """
        data = dict(self._packet.data)
        spec = self._packet.spec
        if number or address:
            data.update(_personal(spec, number, address or spec.address, self._folder))
        self._json.write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
        try:
            made = self._compiler.compile(format="pdf", pdf_standards="ua-1", timestamp=0)
        except typst.TypstError as error:
            first = str(error).strip().splitlines()[0]
            raise FairHearingError(
                f"the packet for {spec.instrument.name} could not be set: {first}"
            ) from error
        assert isinstance(made, bytes)
        return made

    def png(self, page: int, ppi: float = 80) -> bytes:
        """Return one page as a picture, counted from 1."""
        self._json.write_text(json.dumps(self._packet.data, ensure_ascii=False), encoding="utf-8")
        made = self._compiler.compile(format="png", ppi=ppi)
        return made[page - 1] if isinstance(made, list) else bytes(made or b"")


def print_packet(spec: PacketSpec) -> bytes:
    """Return the PDF of one packet."""
    with Press() as press:
        return press.load(engrave_packet(spec)).pdf(spec.number)


class _Maker:
    def __init__(self, spec: PacketSpec):
        self.spec = spec
        self.wording = Wording(spec.language, spec.wording)
        self.width, self.height = PAPERS[spec.paper]
        self.text_width = self.width - 2 * MARGIN_MM
        self.text_height = self.height - 2 * MARGIN_MM - 12
        self.files: dict[str, bytes] = {}
        self.parts: list[Part] = []
        self.remarks: list[str] = []
        self.sheet_staff_mm: float | None = None

    def make(self) -> EngravedPacket:
        spec, wording = self.spec, self.wording
        for name in DRAWINGS:
            self.files[f"{name}.svg"] = (_HERE / "drawings" / f"{name}.svg").read_bytes()
        music = [m for step in spec.steps if step.piece for m in self._music(step)]
        data = {
            "lang": spec.language,
            "paper": {"letter": "us-letter", "a4": "a4"}[spec.paper],
            "margin_mm": MARGIN_MM,
            "label_mm": LABEL_MM,
            "sheet_top_mm": SHEET_TOP_MM,
            "sheet_gap_mm": SHEET_GAP_MM,
            "scan_mm": self.text_height - HEADING_MM,
            "title": spec.title,
            "author": spec.schools or spec.title,
            "over": " · ".join(
                x for x in (spec.schools, wording("invented") if spec.invented else "") if x
            ),
            "invented": spec.invented,
            "instrument": capital(self._name(spec.instrument)),
            "instrument_short_for": {m["key"]: m.pop("player") for m in music},
            "level": wording.level(spec.level),
            "note": spec.note,
            "dates": [[wording(name), wording.day(day)] for name, day in spec.dates],
            "order": [self._order(step) for step in spec.steps],
            "record": [
                {
                    "file": f"{name}.svg",
                    "head": wording(name.replace("-", "_") + "_head"),
                    "text": wording(name.replace("-", "_")),
                }
                for name in DRAWINGS
            ],
            "transposing": key_name(spec.instrument, wording),
            "logo": self._logo(),
            "sheets": self._sheets(),
            "music": music,
            "texts": wording.lines(),
        }
        personal = _personal(spec, spec.number, spec.address, None)
        files = personal.pop("files")
        self.files.update(files)
        data.update(personal)
        return EngravedPacket(
            spec,
            tuple(self.parts),
            self.files,
            data,
            tuple(self.remarks),
            self.sheet_staff_mm,
        )

    def _name(self, instrument: Instrument) -> str:
        return instrument.names.get(self.spec.language, instrument.name)

    def _order(self, step: Step) -> dict[str, str]:
        wording = self.wording
        remarks = [wording("optional")] if step.optional else []
        if step.limit_s is not None:
            remarks.append(wording("limit", seconds=f"{step.limit_s:g}"))
        return {
            "name": capital(step_name(step, wording)),
            "what": what_to_play(step, self.spec, wording),
            "remark": ", ".join(remarks),
        }

    # -- pictures ------------------------------------------------------------------------------

    def _logo(self) -> dict[str, str] | None:
        logo = self.spec.logo
        if logo is None:
            return None
        suffix = logo.suffix.lower()
        if suffix not in {".svg", ".png", ".jpg", ".jpeg"}:
            raise TableError("a logo is an SVG, PNG or JPEG picture", path=logo)
        try:
            self.files[f"logo{suffix}"] = logo.read_bytes()
        except OSError as error:
            raise TableError(f"the logo cannot be read ({error.strerror})", path=logo) from error
        return {
            "file": f"logo{suffix}",
            "alt": self.wording("alt_logo", school=self.spec.schools or self.spec.title),
        }

    def _music(self, step: Step) -> list[dict[str, Any]]:
        piece = step.piece
        assert piece is not None
        wording = self.wording
        key = f"music{len(self.files)}"
        title = piece.title or piece.file.stem
        entry: dict[str, Any] = {
            "key": key,
            "kind": step_name(step, wording),
            "player": capital(self._name(step.on or self.spec.instrument)),
            "level": wording.level(self.spec.level),
            "systems": [],
            "gap_mm": SYSTEM_GAPS_MM[0],
            "scans": [],
            "note": wording("practice") if self._has_track(step) else "",
        }
        if piece.scanned:
            for page, (suffix, picture) in enumerate(scan_pictures(piece.file), start=1):
                name = f"{key}-{page}{suffix}"
                self.files[name] = picture
                alt = wording("alt_scan", title=title, page=page)
                entry["scans"].append({"file": name, "alt": alt})
            entry["note"] = wording("scanned")
            return [{**entry, "heading": title}]
        part = part_of_step(step, self.spec)
        self.parts.append(part)
        title = piece.title or part.title or title
        if part.misfits:
            self.remarks.append(f"{title}: {part.says}")
        engraving = self._fitted(part)
        entry["systems"] = self._system_entries(engraving, title, key)
        entry["gap_mm"] = self._gap(engraving)
        return [{**entry, "heading": title}]

    def _has_track(self, step: Step) -> bool:
        return step.kind == "etude" and self.spec.has_tracks

    def _fitted(self, part: Part) -> Engraving:
        """Engrave at the players' staff size, a little smaller if that saves a page turn."""
        room = self._music_room()
        first: Engraving | None = None
        for staff_mm in (STAFF_MM, (STAFF_MM + SMALLEST_PART_MM) / 2, SMALLEST_PART_MM):
            made = engrave(
                part.tree,
                width_mm=self.text_width,
                staff_mm=staff_mm,
                label=part.title or part.instrument.name,
            )
            first = first or made
            if sum(system.height_mm + SYSTEM_GAPS_MM[0] for system in made.systems) <= room:
                return made
        assert first is not None
        return first

    def _music_room(self) -> float:
        return self.text_height - HEADING_MM - 8

    def _gap(self, made: Engraving) -> float:
        """Return the space between systems: what is left over is shared out, within limits."""
        least, most = SYSTEM_GAPS_MM
        left = self._music_room() - sum(system.height_mm for system in made.systems)
        return min(max(left / len(made.systems), least), most)

    def _system_entries(self, made: Engraving, title: str, key: str) -> list[dict[str, Any]]:
        entries = []
        for index, system in enumerate(made.systems):
            first, last = (made.bar_numbers[bar] for bar in (system.first_bar, system.last_bar))
            name = f"{key}-{index}.svg"
            self.files[name] = system.svg.encode("utf-8")
            alt = self.wording(
                "alt_bars" if first != last else "alt_bar", title=title, first=first, last=last
            )
            entries.append({"file": name, "width_mm": system.width_mm, "alt": alt})
        return entries

    # -- scales --------------------------------------------------------------------------------

    def _sheets(self) -> list[dict[str, Any]]:
        instrument, wish = self.spec.instrument, self.spec.scales
        wanted = {step.kind for step in self.spec.steps} & set(instrument.asks)
        rudiments = any(step.name in RUDIMENT_NAMES for step in self.spec.steps)
        if rudiments and "rudiments" in instrument.asks:
            return [self._rudiments()]
        if not wanted & {"chromatic", "scales"}:
            return []
        lines = sheet_lines(
            instrument,
            self.spec.level,
            chromatic="chromatic" in wanted,
            concert_keys=wish.concert_keys if "scales" in wanted else (),
            modes=wish.modes,
            octaves=wish.octaves,
        )
        made = self._scales_engraved(lines, SCALE_STAVES_MM[0])
        height = sum(_line_height(engraving) for engraving in made)
        room = self.height - SHEET_TOP_MM - MARGIN_MM - 2.0 - SCALE_HEADING_MM
        staff_mm = SCALE_STAVES_MM[0]
        if height > room:
            staff_mm *= 0.985 * room / height
            if staff_mm < SCALE_STAVES_MM[1]:
                staff_mm = TWO_PAGE_SCALE_MM  # a second page is needed anyway: print large
            made = self._scales_engraved(lines, staff_mm)
        best = list(zip(lines, made, strict=True))
        self.sheet_staff_mm = staff_mm
        wording = self.wording
        return [
            {
                "heading": wording("scale_sheet", instrument=self._name(instrument)),
                "lead": wording("scale_lead") if instrument.sounding_minus_written % 12 else "",
                "lines": [self._scale_entry(line, made) for line, made in best],
            }
        ]

    def _rudiments(self) -> dict[str, Any]:
        wording = self.wording
        lines = []
        for line in rudiment_lines(self.spec.level):
            made = engrave(
                line.tree,
                width_mm=self.text_width - LABEL_MM,
                staff_mm=RUDIMENT_STAFF_MM,
                bar_numbers=False,
                full_width=True,
            )
            label = capital(line.names[self.spec.language])
            alt = wording("alt_rudiment", title=label, sticking=line.sticking)
            systems = self._sheet_files(made, alt)
            lines.append({"label": label, "concert": "", "systems": systems})
        return {
            "heading": wording("rudiment_sheet", instrument=self._name(self.spec.instrument)),
            "lead": wording("rudiment_lead"),
            "lines": lines,
        }

    def _sheet_files(self, made: Engraving, alt: str) -> list[dict[str, Any]]:
        systems = []
        for system in made.systems:
            name = f"sheet{len(self.files)}.svg"
            self.files[name] = system.svg.encode("utf-8")
            systems.append({"file": name, "width_mm": system.width_mm, "alt": alt})
        return systems

    def _scales_engraved(self, lines: tuple[ScaleLine, ...], staff_mm: float) -> list[Engraving]:
        return [
            engrave(
                line.tree,
                width_mm=self.text_width - LABEL_MM,
                staff_mm=staff_mm,
                bar_numbers=False,
                full_width=True,
                own_breaks=line.kind == "chromatic",
            )
            for line in lines
        ]

    def _scale_entry(self, line: ScaleLine, made: Engraving) -> dict[str, Any]:
        wording = self.wording
        if line.kind == "chromatic":
            label, concert = capital(wording("chromatic")), wording("chromatic_note")
        else:
            label = capital(wording(line.kind, key=wording.key(line.tonic)))
            concert = ""
            if self.spec.instrument.sounding_minus_written % 12:
                concert = wording("concert", key=wording.key(line.concert_tonic))
            if line.octaves == 2:
                concert = " · ".join(x for x in (concert, wording("two_octaves")) if x)
        pitches = sorted(line.spellings, key=lambda spelling: spelling.midi)
        alt = wording("alt_scale", title=label, low=pitches[0], high=pitches[-1])
        systems = self._sheet_files(made, alt)
        return {"label": label, "concert": concert, "systems": systems}


def _line_height(made: Engraving) -> float:
    return sum(system.height_mm + SHEET_GAP_MM for system in made.systems)


def _personal(spec: PacketSpec, number: str, address: str, folder: Path | None) -> dict[str, Any]:
    """Return what differs from student to student; pictures go to `folder` or into "files"."""
    wording = Wording(spec.language, spec.wording)
    files: dict[str, bytes] = {}
    qr = None
    if address:
        name = "address.svg" if folder is None else "own-address.svg"
        files[name] = square_code(address)
        qr = {"file": name, "alt": wording("alt_qr", address=address)}
    data: dict[str, Any] = {
        "number": number,
        "address": re.sub(r"^https?://(www\.)?", "", address).rstrip("/"),
        "qr": qr,
        "cue": cue_lines(spec, wording, number),
    }
    if folder is None:
        return {**data, "files": files}
    for name, picture in files.items():
        (folder / name).write_bytes(picture)
    return data
