"""The fonts of the printed page: text from typst, music signs from verovio's own package."""

from __future__ import annotations

import base64
import io
import re
from functools import cache
from pathlib import Path

import verovio
from fontTools import subset
from fontTools.ttLib import TTFont

from fairhearing.core.errors import FairHearingError
from fairhearing.core.packet.engraving import MUSIC_FONT

_EMBEDDED = re.compile(r"base64,([A-Za-z0-9+/=]+)")


@cache
def music_font() -> bytes:
    """Return the music font as TrueType.

    verovio carries it in woff2 (SIL Open Font License); a PDF needs it unpacked.

    Raises
    ------
    FairHearingError
        If this release of verovio does not hold it.
    """
    sheet = Path(verovio.__file__).parent / "data" / f"{MUSIC_FONT}.css"
    found = _EMBEDDED.search(sheet.read_text("ascii")) if sheet.is_file() else None
    if found is None:
        raise FairHearingError(
            f"the engraving library has no {MUSIC_FONT} font; install a verovio release that has"
        )
    font = TTFont(io.BytesIO(base64.b64decode(found.group(1))), recalcTimestamp=False)
    font.flavor = None
    unpacked = io.BytesIO()
    font.save(unpacked)
    return unpacked.getvalue()


@cache
def music_font_for_text(text: str) -> str:
    """Return as base64 woff2 the few signs that a page uses inside its text (metronome marks).

    Parameters
    ----------
    text : str
        The signs; others are left out, which makes the font some kilobytes small.
    """
    font = TTFont(io.BytesIO(music_font()), recalcTimestamp=False)
    options = subset.Options(flavor="woff2", layout_features=[], notdef_outline=True)
    options.drop_tables += ["FFTM"]
    cutter = subset.Subsetter(options)
    cutter.populate(text=text)
    cutter.subset(font)
    packed = io.BytesIO()
    subset.save_font(font, packed, options)
    return base64.b64encode(packed.getvalue()).decode("ascii")
