"""An invented etude, written here note by note, in concert pitch."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

# Letter, sign, octave, length in sixteenths; "-" is a rest, "~" ties on, "g" is a grace note,
# "t" a triplet eighth.
BARS = (
    "Bb4:4 C5:4 D5:4 Eb5:4",
    "F5:6 Eb5:2 D5:4 -:4",
    "Eb5:2 F#4:2 G4:4 A4:4 Bb4:4",
    "gC5 Bb4:8~ Bb4:4 F4:4",
    "F4:t A4:t C5:t Eb5:4 D5:4 B4:4",
    "C5:4 Db5:4 C5:4 Bb4:4",
    "A4:2 Bb4:2 C5:2 D5:2 Eb5:4 E5:4",
    "F5:4 D5:4 Bb4:8",
)


def note_xml(token: str) -> str:
    grace = token.startswith("g")
    name, _, length = token.removeprefix("g").partition(":")
    tie = length.endswith("~")
    triplet = length == "t"
    ticks = 4 if triplet else 3 * int(length.rstrip("~") or 0)
    found = re.fullmatch(r"([A-G])(b|#)?(\d)", name)
    if found is None:
        return f"<note><rest/><duration>{ticks}</duration><voice>1</voice></note>"
    alter = {"b": "<alter>-1</alter>", "#": "<alter>1</alter>", None: ""}[found.group(2)]
    pitch = f"<pitch><step>{found[1]}</step>{alter}<octave>{found[3]}</octave></pitch>"
    if grace:
        return f'<note><grace slash="yes"/>{pitch}<voice>1</voice><type>eighth</type></note>'
    value = {24: "half", 18: "quarter", 12: "quarter", 6: "eighth", 4: "eighth"}[ticks]
    dot = "<dot/>" if ticks == 18 else ""
    ratio = (
        "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
        "</time-modification>"
    )
    return (
        f"<note>{pitch}<duration>{ticks}</duration>"
        + ('<tie type="start"/>' if tie else "")
        + f"<voice>1</voice><type>{value}</type>{dot}{ratio if triplet else ''}"
        + ('<notations><tied type="start"/></notations>' if tie else "")
        + "</note>"
    )


def score_xml(
    bars: tuple[str, ...] = BARS,
    *,
    fifths: int = -2,
    transpose: int = 0,
    clef: str = "<clef><sign>G</sign><line>2</line></clef>",
    tempo: int = 96,
) -> str:
    shift = f"<transpose><chromatic>{transpose}</chromatic></transpose>" if transpose else ""
    first = (
        f"<attributes><divisions>12</divisions><key><fifths>{fifths}</fifths></key>"
        f"<time><beats>4</beats><beat-type>4</beat-type></time>{clef}{shift}</attributes>"
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
        f"<per-minute>{tempo}</per-minute></metronome></direction-type></direction>"
    )
    written = []
    for number, bar in enumerate(bars, start=1):
        notes = "".join(note_xml(token) for token in bar.split())
        written.append(
            f'<measure number="{number}">{first if number == 1 else ""}{notes}</measure>'
        )
    # The note after a tie ends it, in the next bar too.
    music = re.sub(
        r'(<tie type="start"/>.*?</note>(?:</measure><measure number="\d+">)?<note><pitch>.*?'
        r"</duration>)",
        r'\1<tie type="stop"/>',
        "".join(written),
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0"><work><work-title>'
        'Invented etude</work-title></work><part-list><score-part id="P1"><part-name>Etude'
        f'</part-name></score-part></part-list><part id="P1">{music}</part>'
        "</score-partwise>"
    )


@pytest.fixture
def etude(tmp_path: Path) -> Path:
    path = tmp_path / "etude.musicxml"
    path.write_text(score_xml(), encoding="utf-8")
    return path


SNARE = (
    '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Snare drum'
    '</part-name></score-part></part-list><part id="P1"><measure number="1"><attributes>'
    "<divisions>2</divisions><time><beats>2</beats><beat-type>4</beat-type></time>"
    "<clef><sign>percussion</sign></clef></attributes>"
    + "".join(
        "<note><unpitched><display-step>C</display-step><display-octave>5</display-octave>"
        f"</unpitched><duration>{ticks}</duration><voice>1</voice><type>{kind}</type>"
        f"<lyric><text>{hand}</text></lyric></note>"
        for ticks, kind, hand in ((1, "eighth", "R"), (1, "eighth", "L"), (2, "quarter", "R"))
    )
    + "</measure></part></score-partwise>"
)


@pytest.fixture
def snare(tmp_path: Path) -> Path:
    path = tmp_path / "snare.musicxml"
    path.write_text(SNARE, encoding="utf-8")
    return path


@pytest.fixture
def write_score(tmp_path: Path):  # type: ignore[no-untyped-def]
    def write(name: str, *bars: str, **settings: object) -> Path:
        path = tmp_path / name
        text = score_xml(bars or BARS, **settings)  # type: ignore[arg-type]
        path.write_text(text, encoding="utf-8")
        return path

    return write
