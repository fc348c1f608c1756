"""The same recording twice: the same file, or the same performance in another dress.

Two takes are copies when hashes of their fingerprints agree *at one and the same shift in time*
(within 12 ms) at many moments of the stretch that they share. Different players of one etude
agree here and there, at shifts that wander. A moment is a quarter of a second: several hashes
begin with the same landmark and are no independent witnesses.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.continuity.finding import Channel, Finding, clock
from fairhearing.core.continuity.fingerprint import Fingerprint

RULES: tuple[tuple[int, float], ...] = ((8, 0.28), (16, 0.15))
"""Least agreeing moments with the least share of the common stretch; one pair is enough.

Among 10,302 pairs of players of one etude the most agreeing moments were 11, the largest share
with eight and more was 0.26 (docs/evidence.md).
"""

_MOMENT_MS = 250
_SHIFT_MS = 12  # shifts inside one copy differ by no more, whatever the codec
_COMMON = 60  # a hash that this many takes share says nothing
_PARTS = 64
_CANDIDATE = 4  # shared hashes at one shift before two takes are compared
_SLOT_MS = 100
_SHIFTS = 2**16  # shifts of up to 54 minutes either way
_TABLE_BITS = 28
_TABLE = 2**_TABLE_BITS

SAME_FILE_SAYS = (
    "This is the very same file as another take of the season. A file sent twice by mistake "
    "does this too; ask which audition it belongs to."
)
SAME_SOUND_SAYS = (
    "From {start} to {end} the sound agrees with another take of the season, moment for moment. "
    "A recording sent twice, or under the wrong number, does this too; listen to both."
)


@dataclass(frozen=True, slots=True)
class Copy:
    """Two takes with the same recording in them.

    Attributes
    ----------
    first, second : str
        Names of the takes; ``first`` sorts before ``second``.
    shift_s : float
        Time in ``second`` minus time in ``first`` of the same moment.
    first_start_s, first_end_s : float
        What they share, in the time of ``first``.
    moments : int
        Quarter seconds that agree at that shift.
    share : float
        The same as a share of the quarter seconds in the common stretch that have hashes in
        both takes.
    """

    first: str
    second: str
    shift_s: float
    first_start_s: float
    first_end_s: float
    moments: int
    share: float


def same_files(digests: Mapping[str, str]) -> tuple[tuple[str, ...], ...]:
    """Return groups of takes whose files have the same SHA-256 digest (name → digest)."""
    groups: dict[str, list[str]] = {}
    for name in sorted(digests):
        groups.setdefault(digests[name], []).append(name)
    return tuple(tuple(names) for names in groups.values() if len(names) > 1)


def find_copies(takes: Mapping[str, Fingerprint]) -> tuple[Copy, ...]:
    """Compare every take with every other.

    Parameters
    ----------
    takes : mapping of name to Fingerprint

    Returns
    -------
    tuple of Copy
        Most agreeing moments first.
    """
    names = sorted(takes)
    prints = [takes[name] for name in names]
    copies = []
    for a, b in _candidates(prints):
        copy = compare(names[a], prints[a], names[b], prints[b])
        if copy is not None:
            copies.append(copy)
    return tuple(sorted(copies, key=lambda c: (-c.moments, c.first, c.second)))


def compare(
    first: str,
    a: Fingerprint,
    second: str,
    b: Fingerprint,
    *,
    rules: Sequence[tuple[int, float]] = RULES,
) -> Copy | None:
    """Return the copy that two fingerprints show, or None."""
    at, shifts = _agreements(a, b)
    if len(at) < min(moments for moments, _ in rules):
        return None
    ordered = np.sort(shifts)
    reach = np.searchsorted(ordered, ordered + _SHIFT_MS, "right") - np.arange(len(ordered))
    lowest = ordered[int(np.argmax(reach))]
    inside = (shifts >= lowest) & (shifts <= lowest + _SHIFT_MS)
    agreed, shift = at[inside], float(np.median(shifts[inside]))
    # A stray agreement far from the rest must not stretch what they share.
    low, high = np.percentile(agreed, [5, 95])

    def moments(places: NDArray[np.float64]) -> int:
        within = places[(places >= low) & (places <= high)]
        return len(np.unique(within // _MOMENT_MS))

    found = moments(agreed.astype(np.float64))
    possible = min(
        moments(a.places_ms.astype(np.float64)), moments(b.places_ms.astype(np.float64) - shift)
    )
    share = found / max(possible, 1)
    if not any(found >= least and share >= least_share for least, least_share in rules):
        return None
    return Copy(
        first, second, shift / 1000, float(low) / 1000, float(high) / 1000 + 1.0, found, share
    )


def _agreements(a: Fingerprint, b: Fingerprint) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return, for every two equal hashes, the place in ``a`` and the shift to ``b`` in ms."""
    order = np.argsort(b.hashes, kind="stable")
    sorted_hashes = b.hashes[order]
    low = np.searchsorted(sorted_hashes, a.hashes, "left")
    count = np.searchsorted(sorted_hashes, a.hashes, "right") - low
    mine = np.repeat(np.arange(len(a.hashes)), count)
    within = np.arange(len(mine)) - np.repeat(np.cumsum(count) - count, count)
    theirs = order[np.repeat(low, count) + within]
    at = a.places_ms[mine].astype(np.int64)
    return at, b.places_ms[theirs].astype(np.int64) - at


def copy_findings(name: str, copies: Sequence[Copy]) -> tuple[Finding, ...]:
    """Return findings for one take; they name no other take, the page adds the link."""
    findings = []
    for copy in copies:
        if name not in (copy.first, copy.second):
            continue
        shift = copy.shift_s if name == copy.second else 0.0
        start_s, end_s = (max(t + shift, 0.0) for t in (copy.first_start_s, copy.first_end_s))
        findings.append(
            Finding(
                Channel.SAME_RECORDING,
                start_s,
                end_s,
                min(1.0, 0.5 + copy.moments / 100),
                SAME_SOUND_SAYS.format(start=clock(start_s), end=clock(end_s)),
            )
        )
    return tuple(findings)


def _candidates(prints: Sequence[Fingerprint]) -> list[tuple[int, int]]:
    """Return pairs of takes that share several hashes at about one shift.

    Players of one etude share many hashes, but at all shifts, so pair and shift are counted
    together: first roughly, in a table of fixed size that never counts too little, then exactly
    for what the table lets through. The hashes are gone through in parts of their range; memory
    stays at the season's own size and the table's.
    """
    n = len(prints)
    order = [np.argsort(p.hashes, kind="stable") for p in prints]
    hashes = [p.hashes[o] for p, o in zip(prints, order, strict=True)]
    slots = [
        (p.places_ms[o] // _SLOT_MS).astype(np.int32) for p, o in zip(prints, order, strict=True)
    ]
    table = np.zeros(_TABLE, dtype=np.uint8)
    for keys in _parts(hashes, slots, n):
        place, times = np.unique(_mixed(keys), return_counts=True)
        table[place] = np.minimum(table[place].astype(np.int64) + times, 255).astype(np.uint8)
    kept = [np.zeros(0, dtype=np.int64)]
    for keys in _parts(hashes, slots, n):
        kept.append(keys[table[_mixed(keys)] >= _CANDIDATE])
    found, times = np.unique(np.concatenate(kept), return_counts=True)
    pairs = np.unique(found[times >= _CANDIDATE] // _SHIFTS)
    return [(int(pair // n), int(pair % n)) for pair in pairs]


def _parts(
    hashes: Sequence[NDArray[np.uint32]], slots: Sequence[NDArray[np.int32]], n: int
) -> Iterator[NDArray[np.int64]]:
    """Yield, part by part, one key for every two takes under one hash: the pair and the shift."""
    edges = np.linspace(0, 2**32, _PARTS + 1).astype(np.uint64)
    cuts = [np.searchsorted(own, edges) for own in hashes]
    for part in range(_PARTS):
        spans = [slice(int(cut[part]), int(cut[part + 1])) for cut in cuts]
        owners = np.repeat(np.arange(n), [span.stop - span.start for span in spans])
        words = np.concatenate([own[span] for own, span in zip(hashes, spans, strict=True)])
        times = np.concatenate([own[span] for own, span in zip(slots, spans, strict=True)])
        yield _pairs(words, owners, times, n)


def _pairs(
    hashes: NDArray[np.uint32], owners: NDArray[np.int64], times: NDArray[np.int32], n: int
) -> NDArray[np.int64]:
    order = np.argsort(hashes, kind="stable")  # keeps the takes of one hash in order
    hashes, owners, times = hashes[order], owners[order], times[order]
    starts = np.flatnonzero(np.r_[True, hashes[1:] != hashes[:-1]])
    sizes = np.diff(np.r_[starts, len(hashes)])
    keys = [np.zeros(0, dtype=np.int64)]
    for size in np.unique(sizes[(sizes > 1) & (sizes <= _COMMON)]):
        rows = starts[sizes == size][:, None] + np.arange(size)
        i, j = np.triu_indices(int(size), 1)
        first, second = owners[rows[:, i]], owners[rows[:, j]]
        shift = (times[rows[:, j]] - times[rows[:, i]] + _SHIFTS // 2) % _SHIFTS
        keys.append(((first * n + second) * _SHIFTS + shift)[first != second])
    return np.concatenate(keys)


def _mixed(keys: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return a place in the table for every key (Knuth's multiplicative hashing)."""
    spread = keys.astype(np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    return (spread >> np.uint64(64 - _TABLE_BITS)).astype(np.int64)
