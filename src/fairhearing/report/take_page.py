"""The page of one take, from its hearing report (the JSON contract of ``docs/report.md``)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from fairhearing.core.continuity.finding import LOOK_STRENGTH
from fairhearing.report.page import render
from fairhearing.report.pitch_tape import pitch_tape_svg
from fairhearing.report.tape import tape_svg
from fairhearing.report.words import clock, counted, in_words, note_name, tonic_name

Report = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a programme: a name, dots, a value, and a quiet note."""

    name: str
    value: str
    note: str = ""


def take_page(
    report: Report,
    *,
    media: str | None = None,
    pencil: Mapping[str, str] | None = None,
    heading: str | None = None,
) -> str:
    """Return the self-contained HTML page of one take.

    Parameters
    ----------
    report : mapping
        The hearing report.
    media : str, optional
        Relative address of the take, for the play buttons; none are shown without it.
    pencil : mapping of str to str, optional
        SVG of the engraved piece with pencil marks, by section kind ("etude", "honors").
    heading : str, optional
        Shown instead of the file's name (an audition number, say).
    """
    instrument = report.get("instrument") or {}
    return render(
        "take.html",
        report=report,
        name=heading or report["file"]["name"],
        instrument=instrument.get("name"),
        invented=bool(report.get("invented")),
        media=media,
        glance=glance_lines(report),
        remarks=report.get("remarks") or [],
        tape=Markup(tape_svg(report)),
        findings=worth_a_look(report),
        faint=[f for f in report["continuity"]["findings"] if f["strength"] < LOOK_STRENGTH],
        levels=level_lines(report["quality"]),
        chromatic=_chromatic(report),
        scales=_scales(report),
        pieces=_pieces(report, pencil or {}),
        written_words=_written_words(instrument),
        file_facts=_file_facts(report),
    )


def glance_lines(report: Report) -> list[Line]:
    """Return what a person wants to know first."""
    kinds = [s["kind"] for s in report["sections"] if s["kind"] != "other"]
    lines = [Line("Heard in the take", in_words(kinds) if kinds else "no section found")]
    chromatic = report.get("chromatic")
    if chromatic and chromatic.get("lowest_midi") is not None:
        low, high = (_written(report, chromatic[k]) for k in ("lowest_midi", "highest_midi"))
        lines.append(Line("Chromatic scale", f"{low} to {high}", f"{_pitch_word(report)} pitch"))
    scales = report.get("scales")
    if scales and scales.get("window_start_s") is not None:
        inside = [s for s in scales["played"] if s["complete"] and s["in_window"]]
        lines.append(Line("Complete scales in the minute", str(len(inside))))
        lines.append(Line("The scale minute ends at", clock(scales["window_end_s"], tenths=True)))
    etude = report.get("etude")
    if etude and etude.get("notes_right") is not None:
        total = etude["notes_right"] + etude["notes_wrong"] + etude["notes_missed"]
        lines.append(Line("Etude, notes as written", f"{etude['notes_right']} of {total}"))
    findings = worth_a_look(report)
    lines.append(
        Line(
            "One unbroken take",
            report["continuity"]["summary"] + (f" ({len(findings)})" if findings else ""),
        )
    )
    return lines


def worth_a_look(report: Report) -> list[Report]:
    """Return the findings that are strong enough to send a person to look."""
    return [f for f in report["continuity"]["findings"] if f["strength"] >= LOOK_STRENGTH]


def level_lines(quality: Report) -> list[Line]:
    """Return the measured levels and the picture, each with its unit."""

    def shown(value: float | None, unit: str, digits: int = 1) -> str:
        return "not measurable" if value is None else f"{value:.{digits}f} {unit}"

    lines = [
        Line("Loudness", shown(quality["loudness_lufs"], "LUFS"), "ITU-R BS.1770"),
        Line("True peak", shown(quality["true_peak_dbtp"], "dBTP")),
        Line("Overloaded sound", shown(quality["clipped_ms"], "ms", 0)),
        Line("Background of the room", shown(quality["background_dbfs"], "dBFS")),
        Line("Playing above the background", shown(quality["snr_db"], "dB")),
    ]
    return [*lines, *_picture_lines(quality.get("picture") or {})]


def _picture_lines(picture: Report) -> list[Line]:
    """Return the picture's figures; a key that is absent was not looked at."""
    lines = []
    if picture.get("brightness") is not None:
        lines.append(Line("Brightness of the picture", f"{picture['brightness']:.0%}", "of white"))
    if picture.get("upright") is not None:
        lines.append(Line("Picture upright", "yes" if picture["upright"] else "look at it"))
    if picture.get("shake_percent") is not None:
        shake = f"{picture['shake_percent']:.1f} %"
        lines.append(Line("Shake of the picture", shake, "of its width"))
    if picture.get("somebody_share") is not None:
        share = f"{picture['somebody_share']:.0%}"
        lines.append(Line("Somebody in the frame", share, "of the pictures looked at"))
    return lines


def _chromatic(report: Report) -> dict[str, Any] | None:
    chromatic = report.get("chromatic")
    section = _section(report, "chromatic")
    if not chromatic or chromatic.get("lowest_midi") is None or section is None:
        return None
    low, high = (_written(report, chromatic[k]) for k in ("lowest_midi", "highest_midi"))
    missing = [_written(report, m) for m in chromatic["missing_midi"]]
    says = f"From {low} up to {high} ({_pitch_word(report)} pitch)"
    says += ", all the way up" if chromatic["complete_up"] else ""
    says += " and back down." if chromatic["complete_down"] else "."
    if missing:
        says += f" Not heard on the way: {in_words(missing[:8])}{' …' if len(missing) > 8 else ''}."
    return {"says": says, "svg": _notes_svg(report, section), **_span(section)}


def _scales(report: Report) -> dict[str, Any] | None:
    scales = report.get("scales")
    section = _section(report, "scales")
    if not scales or section is None:
        return None
    played = scales["played"]
    inside = [s for s in played if s["complete"] and s["in_window"]]
    says = f"{counted(len(inside), 'complete scale').capitalize()} in the minute"
    if inside:
        says += f": {in_words([tonic_name(s['tonic']) for s in inside])}"
    late = [s for s in played if not s["in_window"]]
    if late:
        says += f"; {len(late)} more began or ended after the bell"
    return {"says": says + ".", "played": played, "svg": _notes_svg(report, section)}


def _pieces(report: Report, pencil: Mapping[str, str]) -> list[dict[str, Any]]:
    pieces = []
    for section in report["sections"]:
        kind = section["kind"]
        if kind not in ("etude", "honors", "other"):
            continue
        says = _etude_words(report.get("etude")) if kind == "etude" else ""
        title = {"etude": "Etude", "honors": "Honors excerpt", "other": "Other playing"}[kind]
        pieces.append(
            {
                "title": title,
                "says": says,
                "pencil": Markup(pencil[kind]) if kind in pencil else None,
                "svg": _notes_svg(report, section),
                **_span(section),
            }
        )
    return pieces


def _etude_words(etude: Report | None) -> str:
    if not etude or etude.get("notes_right") is None:
        return ""
    words = [
        f"{counted(etude['notes_right'], 'note')} as written",
        f"{counted(etude['notes_wrong'], 'other pitch', 'other pitches')} heard",
        f"{counted(etude['notes_missed'], 'note')} not heard",
        f"{counted(etude['notes_extra'], 'extra note')}",
        f"{counted(_how_many(etude['restarts']), 'restart')}",
    ]
    tempo = etude.get("tempo_bpm")
    return in_words(words) + (f", at about ♩ = {tempo:.0f}." if tempo else ".")


def _how_many(restarts: int | Sequence[Any]) -> int:
    return restarts if isinstance(restarts, int) else len(restarts)


def _file_facts(report: Report) -> list[Line]:
    file = report["file"]
    facts = [Line("Format", str(file["container"]), f"{file['bytes'] / 1e6:.1f} MB")]
    video, audio = file.get("video"), file.get("audio")
    if video:
        rate = f"{video['frame_rate']:.2f} pictures a second" if video["frame_rate"] else ""
        if video["variable_rate"]:
            rate += " (varies, as phones do)"
        facts.append(
            Line("Picture", f"{video['codec']}, {video['width']} × {video['height']}", rate)
        )
    if audio:
        channels = {1: "one channel", 2: "two channels"}.get(
            audio["channels"], f"{audio['channels']} channels"
        )
        facts.append(Line("Sound", f"{audio['codec']}, {audio['sample_rate_hz']} Hz", channels))
    return [*facts, Line("Fingerprint of the file", f"{file['sha256'][:16]}…", "SHA-256")]


def _section(report: Report, kind: str) -> Report | None:
    return next((s for s in report["sections"] if s["kind"] == kind), None)


def _span(section: Report) -> dict[str, float]:
    return {"start_s": section["start_s"], "end_s": section["end_s"]}


def _shift(report: Report) -> int:
    return -int((report.get("instrument") or {}).get("sounding_minus_written") or 0)


def _written(report: Report, midi: int) -> str:
    return note_name(midi + _shift(report))


def _pitch_word(report: Report) -> str:
    return "written" if report.get("instrument") else "concert"


def _notes_svg(report: Report, section: Report) -> Markup:
    clef = (report.get("instrument") or {}).get("clef") or _clef_for(report["notes"])
    return Markup(
        pitch_tape_svg(
            report["notes"],
            start_s=section["start_s"],
            end_s=section["end_s"],
            clef=clef,
            written_minus_sounding=_shift(report),
            label=f"{section['kind']}, notes as heard",
        )
    )


def _clef_for(notes: Sequence[Report]) -> str:
    pitches = sorted(n["midi"] for n in notes)
    return "bass" if pitches and pitches[len(pitches) // 2] < 57 else "treble"


def _written_words(instrument: Report) -> str:
    if not instrument:
        return "Concert pitch; places from left to right are times."
    return f"Written for {instrument['name']}; places from left to right are times."
