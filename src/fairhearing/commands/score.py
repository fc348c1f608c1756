"""``fairhearing score``: fair scores from judges' marks, with their uncertainty."""

from __future__ import annotations

import argparse
import json
import math
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

from fairhearing.core.errors import FairHearingError
from fairhearing.core.judging.agreement import Agreement, agreement
from fairhearing.core.judging.breakdown import by_criterion, by_section
from fairhearing.core.judging.fair import FairScores, fair_scores
from fairhearing.season.marks import read_marks
from fairhearing.tables import write_table

_SHOWN = 60


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument(
        "marks",
        type=Path,
        metavar="MARKS.csv",
        help="one mark a row: student,judge,criterion,mark and, where needed, "
        "section,instrument,weight,order",
    )
    parser.add_argument("--json", type=Path, metavar="F", help="write everything as JSON")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="SCORES.csv", help="write the scores as CSV or XLSX"
    )
    parser.add_argument(
        "--equal-votes",
        action="store_true",
        help="count every judge alike instead of by how exact the marks are",
    )


def run(arguments: argparse.Namespace) -> int:
    """Score the marks; write the files asked for, or show the scores."""
    marks = read_marks(arguments.marks)
    scores = fair_scores(marks, precision_weights=not arguments.equal_votes)
    agreed = agreement(marks)
    if arguments.json is not None:
        _write(arguments.json, json.dumps(as_json(scores, agreed), indent=1) + "\n")
    if arguments.output is not None:
        columns, rows = as_rows(scores)
        write_table(arguments.output, columns, rows)
    console = Console()
    if arguments.json is None:
        show(console, scores, agreed)
    for path in (arguments.json, arguments.output):
        if path is not None:
            console.print(f"Written: {path}", highlight=False, soft_wrap=True, markup=False)
    return 0


def as_json(scores: FairScores, agreed: Agreement) -> dict[str, Any]:
    """Return the result of ``score`` as the JSON contract has it."""
    marks = scores.marks
    heard = scores.heard.per_student
    with_instrument = any(marks.instruments)
    students = []
    for unit in in_order(scores):
        entry: dict[str, Any] = {"student": marks.students[unit]}
        if with_instrument:
            entry["instrument"] = marks.instruments[unit]
        entry |= {
            "fair_score": _number(scores.fair[unit]),
            "raw_mean": _number(scores.raw_mean[unit]),
            "se": _number(scores.se[unit]),
            "judges": int(heard[unit]),
        }
        students.append(entry)
    takes = scores.heard.per_judge
    judges = [
        {
            "judge": name,
            "severity": _number(scores.severity[j]),
            "severity_se": _number(scores.severity_se[j]),
            "precision": _number(scores.precision[j]),
            "takes": int(takes[j]),
        }
        for j, name in enumerate(marks.judges)
    ]
    return {
        "version": 1,
        "students": students,
        "judges": judges,
        "agreement": agreement_json(agreed),
        "notes": list(scores.notes),
    }


def agreement_json(agreed: Agreement) -> dict[str, Any]:
    """Return the agreement figures under their usual names; null where there is none."""
    icc, w = agreed.icc, agreed.concordance
    return {
        "icc": None
        if icc is None
        else {
            "ICC(1,1)": _number(icc.icc_1_1),
            "ICC(2,1)": _number(icc.icc_2_1),
            "ICC(3,1)": _number(icc.icc_3_1),
            "ICC(1,k)": _number(icc.icc_1_k),
            "ICC(2,k)": _number(icc.icc_2_k),
            "ICC(3,k)": _number(icc.icc_3_k),
            "takes": icc.takes,
            "judges": icc.judges,
        },
        "krippendorff_alpha": {
            level: None if value is None else _number(value)
            for level, value in agreed.alpha.items()
        },
        "kendall_w": None
        if w is None
        else {
            "w": _number(w.w),
            "chi_square": _number(w.chi_square),
            "p": _number(w.p),
            "takes": w.takes,
            "judges": w.judges,
        },
        "reasons": agreed.reasons,
    }


def as_rows(scores: FairScores) -> tuple[list[str], list[list[object]]]:
    """Return the columns and rows of ``SCORES.csv``, which ``fairhearing seat`` reads."""
    marks = scores.marks
    heard = scores.heard.per_student
    with_instrument = any(marks.instruments)
    columns = ["student", "fair_score", "raw_mean", "se", "judges"]
    columns += ["instrument"] if with_instrument else []
    names, parts = _parts(scores, taken=set(columns) | {"instrument"})
    rows: list[list[object]] = []
    for unit in in_order(scores):
        row: list[object] = [
            marks.students[unit],
            _number(scores.fair[unit]),
            _number(scores.raw_mean[unit]),
            _number(scores.se[unit]),
            int(heard[unit]),
        ]
        row += [marks.instruments[unit]] if with_instrument else []
        rows.append(row + [_number(value) for value in parts[unit]])
    return columns + names, rows


def in_order(scores: FairScores) -> list[int]:
    """Return the scored units by instrument, the highest fair score first."""
    fair = np.round(scores.fair, 9)
    return sorted(
        range(len(fair)), key=lambda unit: (scores.marks.instruments[unit], -fair[unit], unit)
    )


def show(console: Console, scores: FairScores, agreed: Agreement) -> None:
    """Print scores, judges and agreement for a person."""
    marks = scores.marks
    with_instrument = any(marks.instruments)
    order, heard = in_order(scores), scores.heard.per_student
    table = Table(box=None, header_style="italic", pad_edge=False)
    for name in ("instrument",) if with_instrument else ():
        table.add_column(name)
    table.add_column("student")
    for name in ("fair score", "±", "raw mean", "judges"):
        table.add_column(name, justify="right")
    for unit in order[:_SHOWN]:
        cells = [marks.instruments[unit]] if with_instrument else []
        error = scores.se[unit]
        cells += [marks.students[unit], f"{scores.fair[unit]:.3f}"]
        cells += ["–" if math.isnan(error) else f"{1.96 * error:.3f}"]
        cells += [f"{scores.raw_mean[unit]:.3f}", str(heard[unit])]
        table.add_row(*cells)
    console.print(table)
    if len(order) > _SHOWN:
        console.print(f"… and {len(order) - _SHOWN} more; -o SCORES.csv writes them all.")
    console.print("± holds the fair score of 19 in 20 equally exact panels.\n", highlight=False)
    console.print(_judge_table(scores))
    console.print(
        "Severity: points below the panel's average. Vote: 1 is the typical judge.\n",
        highlight=False,
    )
    console.print(_agreement_line(agreed), highlight=False)
    for note in scores.notes:
        console.print(note, highlight=False, markup=False)


def _judge_table(scores: FairScores) -> Table:
    table = Table(box=None, header_style="italic", pad_edge=False)
    table.add_column("judge")
    for name in ("severity", "±", "vote"):
        table.add_column(name, justify="right")
    for j, name in enumerate(scores.marks.judges):
        error = scores.severity_se[j]
        table.add_row(
            name,
            f"{scores.severity[j]:+.3f}",
            "–" if math.isnan(error) else f"{1.96 * error:.3f}",
            f"{scores.precision[j]:.2f}",
        )
    return table


def _agreement_line(agreed: Agreement) -> str:
    parts = []
    alpha = agreed.alpha["interval"]
    if alpha is not None:
        parts.append(f"Krippendorff's alpha (interval) {alpha:.3f}")
    if agreed.icc is not None:
        parts.append(f"ICC(2,1) {agreed.icc.icc_2_1:.3f}, ICC(2,k) {agreed.icc.icc_2_k:.3f}")
    if agreed.concordance is not None:
        parts.append(f"Kendall's W {agreed.concordance.w:.3f}")
    if parts:
        return "Agreement of the judges: " + "; ".join(parts) + "."
    return f"Agreement of the judges: {agreed.reasons['alpha_interval']}."


def _parts(scores: FairScores, taken: set[str]) -> tuple[list[str], np.ndarray]:
    """Return columns of section and criterion scores, each with a name of its own."""
    marks = scores.marks
    sections, section_scores = by_section(scores)
    single = [criterion for _, criterion in marks.criteria]
    names: list[str] = []
    columns: list[np.ndarray] = []
    if len(sections) > 1:
        names += list(sections)
        columns += list(section_scores.T)
    if len(marks.criteria) > 1:
        for (section, criterion), values in zip(
            marks.criteria, by_criterion(scores).T, strict=True
        ):
            plain = criterion if single.count(criterion) == 1 else f"{section} {criterion}".strip()
            names.append(plain)
            columns.append(values)
    kept: dict[str, np.ndarray] = {}
    for name, column in zip(names, columns, strict=True):
        if name and name not in taken and name not in kept:
            kept[name] = column
    if not kept:
        return [], np.zeros((len(marks.students), 0))
    return list(kept), np.column_stack(list(kept.values()))


def _number(value: float | np.floating[Any]) -> float | None:
    """Return a number for JSON and CSV: rounded far below what matters, None for "unknown"."""
    return None if math.isnan(value) else round(float(value), 6) + 0.0


def _write(path: Path, text: str) -> None:
    """Write a text under a temporary name, then rename it."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise FairHearingError(
            f"{path.name} cannot be written ({error.strerror}); choose another folder"
        ) from None
    finally:
        part.unlink(missing_ok=True)


__all__: Sequence[str] = ("add_arguments", "run")
