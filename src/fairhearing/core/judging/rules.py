"""The rules by which marks become a ranking: settings, announced before the season opens.

Averages, dropped extremes, sums of ranks and different ways to break a tie all exist in the
trade; none is a law. What a fair contest needs is that the rules are written down before the first
take is heard and that any later change can be seen. A :class:`Rules` has a fingerprint for that.
"""

from __future__ import annotations

import difflib
import hashlib
import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal, get_args

from fairhearing.core.errors import JudgingError, TableError

Method = Literal["fair score", "raw mean", "sum of ranks"]
LastTie = Literal["shared", "drawn"]
LARGEST_BYTES = 1_000_000


@dataclass(frozen=True, slots=True)
class Rules:
    """How marks become a ranking.

    Attributes
    ----------
    method : {"fair score", "raw mean", "sum of ranks"}
        What students are ranked by. "sum of ranks" adds up the places that each judge gives and
        needs every judge to hear every student of an instrument.
    drop_high_low : bool
        Leave out each student's highest and lowest listening; needs three judges or more each.
    equal_votes : bool
        Count every judge alike instead of by how exact the marks are.
    decimals : int or None
        Scores are rounded to this many decimals before ties are looked for; None keeps all.
    tie_break : tuple of str
        Names of sections or criteria that decide a tie, in this order ("honors", "etude", "tone").
    judge_breaks_own_ties : bool
        In a sum of ranks, two students to whom a judge gave the same total are put in order by
        that judge's own marks in the order of `tie_break`; otherwise they share the place.
    last_tie : {"shared", "drawn"}
        What remains tied shares the place, or is drawn by lot in public: the draw is fixed by
        `lot`, so anyone can repeat it.
    lot : str
        The text that fixes the draw; announce it with the rules.
    """

    method: Method = "fair score"
    drop_high_low: bool = False
    equal_votes: bool = False
    decimals: int | None = None
    tie_break: tuple[str, ...] = ()
    judge_breaks_own_ties: bool = False
    last_tie: LastTie = "shared"
    lot: str = ""

    @property
    def fingerprint(self) -> str:
        """Sixteen hexadecimal digits that change with any rule (SHA-256 of the rules as JSON)."""
        text = json.dumps(asdict(self), sort_keys=True, ensure_ascii=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:16]


_SAYS: dict[str, str] = {
    "method": "what students are ranked by",
    "drop_high_low": "whether the highest and lowest listening are dropped",
    "equal_votes": "whether every judge counts alike",
    "decimals": "the decimals of a score",
    "tie_break": "the order of tie-breaks",
    "judge_breaks_own_ties": "whether a judge breaks the own ties",
    "last_tie": "what happens to a last tie",
    "lot": "the text of the lot",
}


def read_rules(path: Path | str) -> Rules:
    """Read rules from a TOML file; an absent entry keeps its default.

    Raises
    ------
    TableError
        If the file cannot be read, or an entry is unknown or out of its choices.
    """
    path = Path(path)
    try:
        text = path.read_bytes()[:LARGEST_BYTES].decode("utf-8-sig")
        entries = tomllib.loads(text)
    except OSError as error:
        raise TableError(f"cannot be read ({error.strerror})", path=path) from None
    except UnicodeDecodeError:
        raise TableError("is not UTF-8 text; save it as UTF-8", path=path) from None
    except tomllib.TOMLDecodeError as error:
        raise TableError(f"is not valid TOML: {error}", path=path) from None
    try:
        return from_entries(entries)
    except TableError as error:
        raise TableError(error.problem, path=path) from None


def from_entries(entries: Mapping[str, Any]) -> Rules:
    """Return rules from named entries, each checked.

    Raises
    ------
    TableError
        If an entry is unknown or out of its choices.
    """
    for name in entries:
        if name not in _SAYS:
            near = difflib.get_close_matches(name, _SAYS, n=1)
            hint = f'; did you mean "{near[0]}"?' if near else f"; there are {', '.join(_SAYS)}"
            raise TableError(f'"{name}" is not a rule{hint}')
    _choice(entries, "method", get_args(Method))
    _choice(entries, "last_tie", get_args(LastTie))
    for name in ("drop_high_low", "equal_votes", "judge_breaks_own_ties"):
        if not isinstance(entries.get(name, False), bool):
            raise TableError(f'"{name}" is true or false, not {entries[name]!r}')
    decimals = entries.get("decimals")
    if decimals is not None and (type(decimals) is not int or not 0 <= decimals <= 6):
        raise TableError(f'"decimals" is a whole number from 0 to 6, not {decimals!r}')
    tie_break = entries.get("tie_break", [])
    if isinstance(tie_break, str) or not all(isinstance(name, str) for name in tie_break):
        raise TableError('"tie_break" is a list of names, like ["honors", "etude"]')
    if len(set(tie_break)) < len(tie_break):
        raise TableError('"tie_break" names something twice; each name decides only once')
    rules = Rules(**{**entries, "tie_break": tuple(tie_break)})
    if rules.last_tie == "drawn" and not rules.lot:
        raise TableError('"last_tie" is drawn, so "lot" must hold the announced text of the draw')
    if rules.method == "sum of ranks" and rules.drop_high_low:
        raise TableError(
            "highest and lowest are dropped from marks, not from a sum of ranks; choose one"
        )
    return rules


def _choice(entries: Mapping[str, Any], name: str, choices: Sequence[str]) -> None:
    if entries.get(name, choices[0]) not in choices:
        listed = ", ".join(f'"{choice}"' for choice in choices)
        raise TableError(f'"{name}" is one of {listed}, not {entries[name]!r}')


def changes(announced: Rules, now: Rules) -> tuple[str, ...]:
    """Return what differs between two sets of rules, one plain sentence each."""
    before, after = asdict(announced), asdict(now)
    return tuple(
        f"Changed: {_SAYS[name]}, from {_shown(before[name])} to {_shown(after[name])}."
        for name in _SAYS
        if before[name] != after[name]
    )


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None or value in ((), ""):
        return "none"
    if isinstance(value, tuple):
        return ", ".join(f'"{name}"' for name in value)
    return f'"{value}"' if isinstance(value, str) else str(value)


def require_announced(rules: Rules, fingerprint: str) -> None:
    """Refuse rules that are not the ones announced.

    Raises
    ------
    JudgingError
        If the fingerprints differ.
    """
    wanted = fingerprint.strip().casefold()
    if len(wanted) < 8 or not rules.fingerprint.startswith(wanted):
        raise JudgingError(
            f"these rules have the fingerprint {rules.fingerprint}, but {fingerprint} was "
            "announced; score by the announced rules, or announce the change to everyone first"
        )
