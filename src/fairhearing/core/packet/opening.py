"""Opening a MusicXML file from anybody: size, archive and entity limits before anything is read.

Accepts plain and compressed files in the encodings that notation programs really write (UTF-8,
UTF-16 with or without byte order mark, Latin-1, Shift-JIS…). The compressed form is a zip archive
whose ``META-INF/container.xml`` names the score: W3C MusicXML 4.0, "Compressed .mxl files".
"""

from __future__ import annotations

import codecs
import io
import re
import struct
import zipfile
import zlib
from pathlib import Path, PurePosixPath
from xml.etree.ElementTree import Element, ParseError

import defusedxml.ElementTree as DefusedTree
from defusedxml.common import DefusedXmlException

from fairhearing.core.errors import ScoreFileError

MAX_FILE_BYTES = 20_000_000
MAX_XML_BYTES = 60_000_000
MAX_MEMBERS = 500
MAX_ELEMENTS = 3_000_000

# What zipfile is known to raise on archives with damaged headers.
_ZIP_TROUBLE = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    OSError,
    ValueError,
    OverflowError,
    NotImplementedError,
    RuntimeError,
)
_DECLARATION = re.compile(r"^\s*<\?xml[^>]*\?>")
_DECLARED = re.compile(rb"""^\s*<\?xml[^>]*encoding\s*=\s*["']([A-Za-z0-9._:-]+)["']""")
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def file_bytes(path: Path) -> bytes:
    """Read a whole file within the size limit.

    Raises
    ------
    ScoreFileError
        If it is missing, empty or too large.
    """
    try:
        if not path.is_file():
            raise ScoreFileError(f"{path.name}: there is no such file")
        size = path.stat().st_size
        if size > MAX_FILE_BYTES:
            raise ScoreFileError(
                f"{path.name}: {size / 1e6:.0f} MB is too large for sheet music "
                f"(the limit is {MAX_FILE_BYTES // 1_000_000} MB); save it again without pictures"
            )
        data = path.read_bytes()
    except OSError as error:
        raise ScoreFileError(f"{path.name}: cannot be read ({error.strerror})") from error
    if not data.strip():
        raise ScoreFileError(f"{path.name}: the file is empty")
    return data


def open_tree(path: Path | str) -> Element:
    """Return the root of a MusicXML file, always as ``score-partwise``.

    Raises
    ------
    ScoreFileError
        If the file is not MusicXML, is damaged, or breaks a limit.
    """
    path = Path(path)
    return parse_tree(file_bytes(path), path.name)


def parse_tree(data: bytes, name: str = "the score") -> Element:
    """Return the root of MusicXML held in memory; see :func:`open_tree`."""
    if data[:4] == b"PK\x03\x04":
        data = _unzip(data, name)
    root = _parse(_text(data, name), name)
    for element in root.iter():
        # Some programs write a default name space; the element names are the same.
        if isinstance(element.tag, str) and element.tag.startswith("{"):
            element.tag = element.tag.rsplit("}", 1)[1]
    if root.tag == "score-timewise":
        root = _partwise(root)
    if root.tag != "score-partwise":
        raise ScoreFileError(
            f"{name}: this is not a MusicXML score (it begins with <{root.tag}>); "
            "export it as MusicXML from your notation program"
        )
    return root


def _unzip(data: bytes, name: str) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
            if len(members) > MAX_MEMBERS:
                raise ScoreFileError(f"{name}: the archive holds too many files for sheet music")
            if sum(member.file_size for member in members) > MAX_XML_BYTES:
                raise ScoreFileError(f"{name}: unpacked, the archive would be too large")
            wanted = _score_name(archive, name)
            return _member(archive, wanted, name)
    except _ZIP_TROUBLE as error:
        raise ScoreFileError(
            f"{name}: the compressed file is damaged or locked; export it again"
        ) from error


def _score_name(archive: zipfile.ZipFile, name: str) -> str:
    names = archive.namelist()
    if "META-INF/container.xml" in names:
        text = _text(_member(archive, "META-INF/container.xml", name), name)
        for element in _parse(text, name).iter():
            if element.tag.endswith("rootfile"):
                target = element.get("full-path", "")
                media = element.get("media-type", "application/vnd.recordare.musicxml+xml")
                if target in names and "musicxml" in media:
                    return target
    for member in names:
        inside = PurePosixPath(member)
        if inside.parts[:1] != ("META-INF",) and inside.suffix.lower() in {".xml", ".musicxml"}:
            return member
    raise ScoreFileError(f"{name}: there is no score in this archive; export it as MusicXML")


def _member(archive: zipfile.ZipFile, member: str, name: str) -> bytes:
    # The size in the archive's directory may lie: read at most the limit.
    with archive.open(member) as stream:
        data = stream.read(MAX_XML_BYTES + 1)
    if len(data) > MAX_XML_BYTES:
        raise ScoreFileError(f"{name}: unpacked, the archive would be too large")
    return data


def _text(data: bytes, name: str) -> str:
    for bom, codec in _BOMS:
        if data.startswith(bom):
            return _decoded(data, codec, name)
    if data[:4] == b"<\x00?\x00":
        return _decoded(data, "utf-16-le", name)
    if data[:4] == b"\x00<\x00?":
        return _decoded(data, "utf-16-be", name)
    declared = _DECLARED.match(data[:400])
    codec = declared.group(1).decode("ascii") if declared else "utf-8"
    if codec.lower().replace("-", "").replace("_", "").startswith(("utf16", "utf32", "ucs")):
        codec = "utf-8"  # says so, but the bytes read above are plainly one byte a character
    return _decoded(data, codec, name)


def _decoded(data: bytes, codec: str, name: str) -> str:
    try:
        return data.decode(codec)
    except LookupError:
        raise ScoreFileError(
            f'{name}: the file says it is written in "{codec}", which nobody knows; '
            "save it as UTF-8"
        ) from None
    except UnicodeDecodeError as error:
        raise ScoreFileError(
            f"{name}: byte {error.start} is not valid {codec} text; "
            "the file is damaged or not MusicXML"
        ) from None


def _parse(text: str, name: str) -> Element:
    plain = _DECLARATION.sub("", text, count=1)
    line_shift = text[: len(text) - len(plain)].count("\n")
    if plain.count("<") > 2 * MAX_ELEMENTS:
        raise ScoreFileError(f"{name}: the score has too many elements to be sheet music")
    try:
        root: Element = DefusedTree.fromstring(
            plain.encode("utf-8", "surrogatepass"), forbid_dtd=False
        )
    except ParseError as error:
        line = error.position[0] + line_shift
        raise ScoreFileError(
            f"{name}, line {line}: this is not well-formed XML "
            f"({str(error).split(':', maxsplit=1)[0]}); export the file again"
        ) from None
    except DefusedXmlException:
        raise ScoreFileError(
            f"{name}: the file defines its own XML entities, which sheet music never needs; "
            "it was not read"
        ) from None
    except ValueError:
        raise ScoreFileError(f"{name}: this is not MusicXML; export the file again") from None
    return root


def _partwise(timewise: Element) -> Element:
    """Turn bars-of-parts into parts-of-bars; the elements inside are the same."""
    partwise = Element("score-partwise", timewise.attrib)
    parts: dict[str, Element] = {}
    for child in timewise:
        if child.tag != "measure":
            partwise.append(child)
            continue
        for part in child.findall("part"):
            identity = part.get("id", "")
            if identity not in parts:
                parts[identity] = Element("part", {"id": identity})
            bar = Element("measure", child.attrib)
            bar.extend(list(part))
            parts[identity].append(bar)
    partwise.extend(parts.values())
    return partwise
