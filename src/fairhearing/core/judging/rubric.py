"""Rubrics: what is judged, on which levels, in which words, with which weight.

A rubric is a TOML file that a director edits: sections of the audition, the families of
instruments that play them, and in each section either *criteria* (marked by ear, each with words
for its levels) or a table that turns *counts* into points (scales: how many were right). Weights of
the sections, and of the criteria inside a section, are relative. A section may be optional: a
student who does not attempt it has no mark there, which is not a zero.

A descriptor stands at a level and holds from there up to the next one that has words.
"""

from __future__ import annotations

import itertools
import math
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fairhearing.core.errors import TableError
from fairhearing.core.judging.marks import Mark
from fairhearing.core.judging.scale_points import CountTable

LARGEST_BYTES = 1_000_000
SHIPPED = Path(__file__).with_name("rubrics")
FAMILIES = ("woodwind", "brass", "percussion")


@dataclass(frozen=True, slots=True)
class Criterion:
    """One thing a judge listens for.

    Attributes
    ----------
    id, name : str
        Short name used in ``marks.csv``; name shown to people.
    weight : float
        Relative weight inside its section.
    lowest, highest : float
        The scale.
    step : float
        1 for whole points, .5 for halves.
    levels : tuple of (float, str)
        Descriptors, the lowest level first.
    """

    id: str
    name: str
    weight: float
    lowest: float
    highest: float
    step: float
    levels: tuple[tuple[float, str], ...]

    def describe(self, mark: float) -> str:
        """Return the words that fit a mark."""
        return [words for level, words in self.levels if level <= mark][-1]

    def problem_with(self, mark: float) -> str | None:
        """Return what is wrong with a mark, or None."""
        if not self.lowest <= mark <= self.highest:
            return f"is outside {self.lowest:g} to {self.highest:g}"
        steps = (mark - self.lowest) / self.step
        if abs(steps - round(steps)) > 1e-9:
            return f"is not on the scale in steps of {self.step:g}"
        return None


@dataclass(frozen=True, slots=True)
class SectionRubric:
    """One section: criteria, or a table of counts, for some families of instruments.

    Attributes
    ----------
    id, name : str
    weight : float
        Relative weight in the whole audition.
    families : tuple of str
        Families that play it.
    optional : bool
        Whether it may be left out without loss.
    criteria : tuple of Criterion
        Never empty; a section by counts has one, named after the section.
    counts : CountTable or None
    """

    id: str
    name: str
    weight: float
    families: tuple[str, ...]
    optional: bool
    criteria: tuple[Criterion, ...]
    counts: CountTable | None


@dataclass(frozen=True, slots=True)
class Rubric:
    """A whole rubric."""

    name: str
    about: str
    sections: tuple[SectionRubric, ...]

    def for_family(self, family: str) -> tuple[SectionRubric, ...]:
        """Return the sections that a family plays."""
        return tuple(section for section in self.sections if family in section.families)

    def weights(self, family: str) -> dict[tuple[str, str], float]:
        """Return the weight of each (section, criterion); all together 1."""
        sections = self.for_family(family)
        total = sum(section.weight for section in sections)
        return {
            (section.id, criterion.id): section.weight
            / total
            * criterion.weight
            / sum(other.weight for other in section.criteria)
            for section in sections
            for criterion in section.criteria
        }


def weighted(rubric: Rubric, rows: Iterable[tuple[Mark, str]]) -> Iterator[Mark]:
    """Give every mark the rubric's weight, checking it against the rubric's scale.

    Parameters
    ----------
    rows : iterable of (Mark, str)
        Each mark with the family of its instrument. A mark without a section is accepted where
        its criterion stands in one section only.

    Raises
    ------
    TableError
        With the line: a section or criterion that the family does not play, a mark off the scale.
    """
    weights = {family: rubric.weights(family) for family in FAMILIES}
    criteria = {
        (family, section.id, criterion.id): criterion
        for family in FAMILIES
        for section in rubric.for_family(family)
        for criterion in section.criteria
    }
    for mark, family in rows:
        section = mark.section
        if not section:
            at = [key for key in weights.get(family, {}) if key[1] == mark.criterion]
            section = at[0][0] if len(at) == 1 else ""
        criterion = criteria.get((family, section, mark.criterion))
        if criterion is None:
            known = ", ".join(" ".join(key) for key in weights.get(family, {}))
            raise TableError(
                f'"{f"{mark.section} {mark.criterion}".strip()}" is not in the rubric for '
                f"{family or 'this instrument'}; there are {known or 'no sections'}",
                line=mark.line,
            )
        problem = criterion.problem_with(mark.mark)
        if problem:
            raise TableError(
                f'the mark {mark.mark:g} for "{mark.criterion}" by judge {mark.judge} {problem}',
                line=mark.line,
            )
        yield replace(mark, section=section, weight=weights[family][section, criterion.id])


def shipped() -> dict[str, Path]:
    """Return the rubrics that come with the program, by name of their file."""
    return {path.stem: path for path in sorted(SHIPPED.glob("*.toml"))}


def read_rubric(path: Path | str) -> Rubric:
    """Read a rubric from a TOML file, or a shipped one by its name.

    Raises
    ------
    TableError
        If the file cannot be read, or an entry is missing, unknown or impossible.
    """
    known = shipped()
    path = known[str(path)] if str(path) in known else Path(path)
    try:
        entries = tomllib.loads(path.read_bytes()[:LARGEST_BYTES].decode("utf-8-sig"))
    except OSError as error:
        raise TableError(
            f"cannot be read ({error.strerror}); shipped rubrics are {', '.join(known)}", path=path
        ) from None
    except UnicodeDecodeError:
        raise TableError("is not UTF-8 text; save it as UTF-8", path=path) from None
    except tomllib.TOMLDecodeError as error:
        raise TableError(f"is not valid TOML: {error}", path=path) from None
    try:
        return _rubric(entries)
    except TableError as error:
        raise TableError(error.problem, path=path) from None


def _rubric(entries: dict[str, Any]) -> Rubric:
    _only(entries, "the rubric", ("name", "about", "section"))
    sections = tuple(_section(entry) for entry in _list(entries, "section", "the rubric"))
    if not sections:
        raise TableError("the rubric has no section; write at least one [[section]]")
    ids = [section.id for section in sections]
    if len(set(ids)) < len(ids):
        twice = next(name for name in ids if ids.count(name) > 1)
        raise TableError(f'two sections are called "{twice}"; give each an id of its own')
    rubric = Rubric(str(entries.get("name", "")), str(entries.get("about", "")), sections)
    for family in FAMILIES:
        played = rubric.for_family(family)
        if played and all(section.optional for section in played):
            raise TableError(f"every section for {family} is optional; one must be played by all")
    return rubric


def _section(entry: dict[str, Any]) -> SectionRubric:
    name = _text(entry, "id", "a section")
    what = f'section "{name}"'
    _only(
        entry, what, ("id", "name", "weight", "families", "optional", "criterion", "counts", "step")
    )
    families = tuple(entry.get("families", FAMILIES))
    for family in families:
        if family not in FAMILIES:
            raise TableError(f'{what}: "{family}" is no family; there are {", ".join(FAMILIES)}')
    counts = _counts(entry["counts"], what) if "counts" in entry else None
    criteria = tuple(_criterion(item, what) for item in _list(entry, "criterion", what))
    if (counts is None) == (not criteria):
        raise TableError(f"{what} needs either criteria or a table of counts")
    if counts is not None:
        criteria = (_counted(name, entry, counts),)
    ids = [criterion.id for criterion in criteria]
    if len(set(ids)) < len(ids):
        raise TableError(f"{what}: two criteria have the same id; give each its own")
    return SectionRubric(
        id=name,
        name=str(entry.get("name", name)),
        weight=_positive(entry, "weight", what),
        families=families,
        optional=bool(entry.get("optional", False)),
        criteria=criteria,
        counts=counts,
    )


def _counted(name: str, entry: dict[str, Any], counts: CountTable) -> Criterion:
    """Return the single criterion of a section that is scored from counts."""
    step = float(entry.get("step", 0.05))
    words = tuple((points, f"at least {count} complete") for count, points in counts.rows)
    return Criterion(name, str(entry.get("name", name)), 1.0, 0.0, counts.most, step, words)


def _criterion(entry: dict[str, Any], where: str) -> Criterion:
    name = _text(entry, "id", f"a criterion of {where}")
    what = f'{where}, criterion "{name}"'
    _only(entry, what, ("id", "name", "weight", "lowest", "highest", "step", "levels"))
    lowest = _real(entry, "lowest", what, 1.0)
    highest = _real(entry, "highest", what)
    step = _real(entry, "step", what, 1.0)
    if step not in (1.0, 0.5):
        raise TableError(f"{what}: step is 1 (whole points) or 0.5 (halves), not {step:g}")
    if highest <= lowest:
        raise TableError(f"{what}: the highest mark must lie above the lowest")
    levels = []
    for level, words in dict(entry.get("levels", {})).items():
        try:
            levels.append((float(level), str(words)))
        except ValueError:
            raise TableError(f'{what}: "{level}" is not a level; write a number') from None
    levels.sort()
    if not levels or levels[0][0] != lowest:
        raise TableError(f"{what}: the lowest level {lowest:g} needs words under [levels]")
    if levels[-1][0] > highest:
        raise TableError(f"{what}: there are words for {levels[-1][0]:g}, above the highest mark")
    return Criterion(
        id=name,
        name=str(entry.get("name", name)),
        weight=_positive(entry, "weight", what, 1.0),
        lowest=lowest,
        highest=highest,
        step=step,
        levels=tuple(levels),
    )


def _counts(entry: dict[str, Any], what: str) -> CountTable:
    _only(entry, f"{what}, counts", ("complete", "points", "wrong_note", "extra_octave", "most"))
    complete, points = entry.get("complete", []), entry.get("points", [])
    if len(complete) != len(points) or not complete:
        raise TableError(f'{what}: "complete" and "points" are lists of the same length')
    if complete[0] != 0 or any(b <= a for a, b in itertools.pairwise(complete)):
        raise TableError(f'{what}: "complete" rises from 0')
    if any(b < a for a, b in itertools.pairwise(points)):
        raise TableError(f"{what}: more complete scales cannot earn fewer points")
    wrong = _real(entry, "wrong_note", what, 0.0)
    extra = _real(entry, "extra_octave", what, 0.0)
    if wrong > 0 or extra < 0:
        raise TableError(f"{what}: a wrong note takes points off, an extra octave adds them")
    rows = tuple((int(c), float(p)) for c, p in zip(complete, points, strict=True))
    return CountTable(rows, wrong, extra, _real(entry, "most", what, float(points[-1])))


def _only(entry: dict[str, Any], what: str, names: tuple[str, ...]) -> None:
    for name in entry:
        if name not in names:
            raise TableError(f'{what}: "{name}" is not an entry; there are {", ".join(names)}')


def _list(entry: dict[str, Any], name: str, what: str) -> list[dict[str, Any]]:
    found = entry.get(name, [])
    if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
        raise TableError(f"{what}: write each as [[…{name}]]")
    return found


def _text(entry: dict[str, Any], name: str, what: str) -> str:
    found = entry.get(name)
    if not isinstance(found, str) or not found.strip():
        raise TableError(f'{what} needs "{name}", a short text')
    return found.strip()


def _real(entry: dict[str, Any], name: str, what: str, default: float | None = None) -> float:
    found = entry.get(name, default)
    if isinstance(found, bool) or not isinstance(found, int | float) or not math.isfinite(found):
        raise TableError(f'{what} needs "{name}", a number')
    return float(found)


def _positive(entry: dict[str, Any], name: str, what: str, default: float | None = None) -> float:
    found = _real(entry, name, what, default)
    if found <= 0:
        raise TableError(f'{what}: "{name}" is above 0, not {found:g}')
    return found
