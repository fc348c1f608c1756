"""The same recording twice: the same file, or the same performance in another dress.

Two takes are copies when hashes of their fingerprints agree *at one and the same shift in time*
(within 12 ms) at many moments of the stretch that they share. Different players of one etude
agree here and there, at shifts that wander. A moment is a quarter of a second: several hashes
begin with the same landmark and are no independent witnesses.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
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
_COMMON = 200  # a hash that this many takes share says nothing
_PARTS = 64
_CANDIDATE = 6  # shared hashes before two takes are compared at all

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
    """Return pairs of takes that share enough hashes to be worth comparing.

    The hashes are gone through in parts of their range, so that the memory held stays a
    fraction of the season's; in each part equal hashes are brought together by sorting.
    """
    n = len(prints)
    edges = np.linspace(0, 2**32, _PARTS + 1).astype(np.uint64)
    ordered = [np.sort(p.hashes) for p in prints]
    keys = np.zeros(0, dtype=np.int64)
    counts = np.zeros(0, dtype=np.int64)
    for low, high in itertools.pairwise(edges):
        pieces, owners = [], []
        for take, hashes in enumerate(ordered):
            a, b = np.searchsorted(hashes, [low, high])
            piece = np.unique(hashes[a:b])
            pieces.append(piece)
            owners.append(np.full(len(piece), take, dtype=np.int32))
        found, times = np.unique(
            _pairs(np.concatenate(pieces), np.concatenate(owners), n), return_counts=True
        )
        keys, counts = _added(keys, counts, found, times)
    chosen = keys[counts >= _CANDIDATE]
    return [(int(key // n), int(key % n)) for key in chosen]


def _pairs(hashes: NDArray[np.uint32], owners: NDArray[np.int32], n: int) -> NDArray[np.int64]:
    """Return key first × n + second for every two takes under one hash."""
    order = np.argsort(hashes, kind="stable")
    hashes, owners = hashes[order], owners[order]
    starts = np.flatnonzero(np.r_[True, hashes[1:] != hashes[:-1]])
    sizes = np.diff(np.r_[starts, len(hashes)])
    keys = [np.zeros(0, dtype=np.int64)]
    for size in np.unique(sizes[(sizes > 1) & (sizes <= _COMMON)]):
        rows = owners[starts[sizes == size][:, None] + np.arange(size)].astype(np.int64)
        i, j = np.triu_indices(int(size), 1)
        keys.append((rows[:, i] * n + rows[:, j]).ravel())
    return np.concatenate(keys)


def _added(
    keys: NDArray[np.int64],
    counts: NDArray[np.int64],
    more_keys: NDArray[np.int64],
    more_counts: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    all_keys, place = np.unique(np.concatenate([keys, more_keys]), return_inverse=True)
    total = np.zeros(len(all_keys), dtype=np.int64)
    np.add.at(total, place, np.concatenate([counts, more_counts]))
    return all_keys, total
