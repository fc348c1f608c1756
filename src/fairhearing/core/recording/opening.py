"""Which kind of file is this? Decided from its first bytes, never from its name.

The decoder is told the kind and tries no other, so that a playlist or a subtitle file renamed
``.mp4`` reaches no parser at all.

Sources: ISO/IEC 14496-12 §4 (boxes), RFC 8794 (EBML), IETF RFC 9559 (Matroska), RIFF/WAVE
(Microsoft, IBM 1991), ISO/IEC 11172-3 (MPEG audio frame header).
"""

from __future__ import annotations

from dataclasses import dataclass

HEAD_BYTES = 4096

_FIRST_BOXES = {b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"}


@dataclass(frozen=True, slots=True)
class Kind:
    """The demuxer to use (FFmpeg's name) and the container as a person knows it."""

    demuxer: str
    container: str


def kind_of(head: bytes) -> Kind | None:
    """Recognise a recording by its first bytes.

    Parameters
    ----------
    head : bytes
        The first :data:`HEAD_BYTES` of the file, or all of a shorter one.

    Returns
    -------
    Kind or None
        None when it is no recording that can be read here.
    """
    if head[4:8] in _FIRST_BOXES:
        return Kind("mov", _brand(head))
    if head[:4] == b"\x1a\x45\xdf\xa3":
        return Kind("matroska", "webm" if b"webm" in head[:64] else "matroska")
    if head[:4] == b"RIFF" and head[8:12] == b"WAVE":
        return Kind("wav", "wav")
    if head[:3] == b"ID3" or _is_mpeg_audio(head):
        return Kind("mp3", "mp3")
    return None


def looks_like_text(head: bytes) -> bool:
    """Tell whether the first bytes are plain text (ASCII, UTF-8, or UTF-16 with a mark)."""
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return True
    try:
        text = head.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(head) - 4:  # not merely a character cut in two at the end
            return False
        text = head[: error.start].decode("utf-8")
    return all(c.isprintable() or c in "\r\n\t\f\ufeff" for c in text)


def _brand(head: bytes) -> str:
    if head[4:8] != b"ftyp":
        return "mov"
    brand = head[8:12]
    if brand == b"qt  ":
        return "mov"
    return "m4a" if brand in (b"M4A ", b"M4B ") else "mp4"


def _is_mpeg_audio(head: bytes) -> bool:
    """Layer, bit rate and sample rate of a frame header that may stand in an mp3 file."""
    if len(head) < 4 or head[0] != 0xFF or head[1] & 0xE0 != 0xE0:
        return False
    layer = (head[1] >> 1) & 3
    return layer == 1 and head[2] >> 4 not in (0, 15) and (head[2] >> 2) & 3 != 3
