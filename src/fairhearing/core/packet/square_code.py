"""A web address as a square code that a phone reads from paper."""

from __future__ import annotations

import io
import re

import segno

from fairhearing.core.errors import TableError


def square_code(address: str) -> bytes:
    """Return an address as a QR code (ISO/IEC 18004) in SVG, error correction M.

    Raises
    ------
    TableError
        If it is not a web address or too long for a code that a phone reads from paper.
    """
    if not re.fullmatch(r"https?://[^\s<>\"]{3,300}", address):
        raise TableError(
            f'the families\' page "{address[:60]}" is not a web address; '
            "write it like https://band.example.org/auditions"
        )
    code = segno.make_qr(address, error="m")
    picture = io.BytesIO()
    code.save(picture, kind="svg", scale=4, border=4, dark="#1d1a16", light="#ffffff")
    return picture.getvalue()
