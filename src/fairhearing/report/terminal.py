"""The readable summary of a hearing in the terminal: the page's words without its drawings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fairhearing.report.page import how_sure
from fairhearing.report.take_page import Line, glance_lines, level_lines, worth_a_look
from fairhearing.report.words import clock, tonic_name

Report = Mapping[str, Any]


def print_summary(report: Report, console: Console) -> None:
    """Print one hearing report for a person."""
    file, instrument = report["file"], report.get("instrument") or {}
    about = [instrument.get("name"), clock(file["duration_s"]), "invented" * report["invented"]]
    console.print(
        Text.assemble((file["name"], "bold"), "   ", " · ".join(part for part in about if part))
    )
    console.print(Padding(Group(*_blocks(report)), (0, 0, 1, 2)))


def _blocks(report: Report) -> Iterator[RenderableType]:
    yield _sections(report)
    yield _lines(glance_lines(report)[1:])
    scales = (report.get("scales") or {}).get("played") or []
    if scales:
        yield _scales(scales)
    yield _lines(level_lines(report["quality"])[:5])
    for remark in report["remarks"]:
        yield Text(f"· {remark}")
    for finding in worth_a_look(report):
        yield Text(f"look: {finding['says']}")
    for advice in report["quality"]["advice"]:
        yield Text(f"advice: {advice}")


def _sections(report: Report) -> RenderableType:
    if not report["sections"]:
        return Text("No section could be found.")
    table = _table("section", "from", "to", "how sure")
    for section in report["sections"]:
        table.add_row(
            section["kind"],
            clock(section["start_s"], tenths=True),
            clock(section["end_s"], tenths=True),
            how_sure(section["confidence"]),
        )
    return table


def _scales(played: list[dict[str, Any]]) -> Table:
    table = _table("scale", "concert", "octaves", "from", "to", "")
    for scale in played:
        state = "" if scale["complete"] else "not to the end"
        if not scale["in_window"]:
            state = f"{state}, after the bell".removeprefix(", ")
        table.add_row(
            f"{tonic_name(scale['tonic'])} {scale['mode']}",
            tonic_name(scale["tonic_concert"]),
            str(scale["octaves"]),
            clock(scale["start_s"], tenths=True),
            clock(scale["end_s"], tenths=True),
            state,
        )
    return table


def _lines(lines: list[Line]) -> Table:
    table = Table.grid(padding=(0, 2))
    for line in lines:
        table.add_row(line.name, Text(line.value, style="bold"), Text(line.note, style="dim"))
    return table


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="dim", padding=(0, 2, 0, 0))
    for column in columns:
        table.add_column(column)
    return table
