"""The cheapest way through the score that explains the heard notes: a dynamic programme.

For every heard note and every state of the score two layers are kept: *struck* (this heard note
is that written note) and *held* (that written note was the last one struck, this heard note is
extra). Each cell carries its own clock, the moment and beat of its last struck note and its
local tempo, so that tempo may drift along one path without touching another (a Viterbi search
with path-dependent timing; compare Nakamura, Yoshii & Katayose, ISMIR 2017, for performance
errors as states). From the layers of the note before a cell is reached by going on (some
written notes missed), by a turn of the music (repeat, ending), or by a jump (restart, skip).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing.alignment.costs import Costs, Tables
from fairhearing.core.playing.alignment.states import States

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

SLOWEST_S, FASTEST_S = 60 / 24, 60 / 320
"""Limits of the local tempo, seconds for a quarter note."""
SOUNDS_FOR = 1.4
"""A written note may still sound for this many times its written length."""


class Move(IntEnum):
    """How a struck note was reached."""

    START = 0
    ON = 1
    TURN = 2
    JUMP = 3


@dataclass(frozen=True, slots=True)
class Step:
    """One struck note of the path: heard note, state, how it was reached, by which turn."""

    note: int
    state: int
    move: Move
    turn: int | None = None


@dataclass(frozen=True, slots=True)
class Path:
    """The struck notes in order, what the path costs, and the start tempo that led to it."""

    steps: tuple[Step, ...]
    cost: float
    beat_s: float


@dataclass(frozen=True, slots=True)
class _Problem:
    """Score, costs of this take, onsets, settings: what every move looks at."""

    states: States
    tables: Tables
    onset_s: Floats
    costs: Costs


@dataclass(slots=True)
class _Cells:
    """The cells of one heard note: shape (2 layers, tempi, n)."""

    cost: Floats
    time: Floats
    beat: Floats
    tempo: Floats


@dataclass(slots=True)
class _Arrivals:
    """The best way into each struck cell so far: shape (tempi, n)."""

    cost: Floats
    time: Floats
    beat: Floats
    tempo: Floats
    source: Ints
    move: NDArray[np.int8]

    def take(
        self, where: NDArray[np.bool_], cost: Floats, source: NDArray[np.integer], move: Move
    ) -> None:
        self.cost = np.where(where, cost, self.cost)
        self.source = np.where(where, source, self.source).astype(np.int32)
        self.move = np.where(where, np.int8(move), self.move).astype(np.int8)


def search(
    states: States,
    tables: Tables,
    onset_s: Floats,
    start_beats_s: Sequence[float],
    costs: Costs,
) -> list[Path]:
    """Find the cheapest path for each start tempo.

    Parameters
    ----------
    states, tables, costs
        The score, the costs worked out for this take, and the settings.
    onset_s : ndarray, shape (m,)
        Onsets of the heard notes, rising.
    start_beats_s : sequence of float
        Start tempi in seconds for a quarter note.

    Returns
    -------
    list of Path
        One for each start tempo, in the same order.
    """
    problem = _Problem(states, tables, onset_s, costs)
    m, n, tempi = len(onset_s), len(states), len(start_beats_s)
    start = np.array(start_beats_s, dtype=np.float64)[:, None]
    first_cost = np.minimum(tables.missed_sum[:-1], 4.0 + 0.1 * np.arange(n))
    left_before = np.concatenate([[0.0], np.cumsum(tables.outside)])
    ending = np.minimum(
        tables.missed_sum[-1] - tables.missed_sum[1:], 4.0 + 0.05 * (n - 1 - np.arange(n))
    )
    cells = _Cells(
        cost=np.full((2, tempi, n), np.inf),
        time=np.zeros((2, tempi, n)),
        beat=np.zeros((2, tempi, n)),
        tempo=np.ones((2, tempi, n)),
    )
    source = np.zeros((m, tempi, n), dtype=np.int32)
    move = np.zeros((m, tempi, n), dtype=np.int8)
    held_from = np.zeros((m, tempi, n), dtype=np.int8)
    best_end = np.full(tempi, np.inf)
    best_at = np.zeros((tempi, 2), dtype=np.int64)

    for i in range(m):
        arrivals = _Arrivals(
            cost=np.broadcast_to(first_cost + left_before[i], (tempi, n)),
            time=np.full((tempi, n), onset_s[i]),
            beat=np.broadcast_to(states.beat, (tempi, n)),
            tempo=np.broadcast_to(start, (tempi, n)),
            source=np.full((tempi, n), -1, dtype=np.int32),
            move=np.full((tempi, n), Move.START, dtype=np.int8),
        )
        if i:
            _jump(arrivals, cells, problem, i)
            _go_on(arrivals, cells, problem, i)
            _turn(arrivals, cells, problem, i)
        struck = arrivals.cost + tables.pitch[i]
        from_held = cells.cost[1] < cells.cost[0]
        held = np.where(from_held, cells.cost[1], cells.cost[0])
        still = np.where(from_held, cells.time[1], cells.time[0]) + SOUNDS_FOR * (
            states.length * np.where(from_held, cells.tempo[1], cells.tempo[0])
        )
        held = held + np.where(onset_s[i] < still, tables.extra_within[i], tables.extra[i])
        held_from[i] = from_held
        source[i], move[i] = arrivals.source, arrivals.move
        cells = _Cells(
            cost=np.stack([struck, held]),
            time=np.stack([arrivals.time, np.where(from_held, cells.time[1], cells.time[0])]),
            beat=np.stack([arrivals.beat, np.where(from_held, cells.beat[1], cells.beat[0])]),
            tempo=np.stack([arrivals.tempo, np.where(from_held, cells.tempo[1], cells.tempo[0])]),
        )
        total = struck + ending + (left_before[-1] - left_before[i + 1])
        at = total.argmin(axis=1)
        value = total[np.arange(tempi), at]
        better = value < best_end
        best_end = np.where(better, value, best_end)
        best_at[better, 0], best_at[better, 1] = i, at[better]

    nothing = float(left_before[-1] + tables.missed_sum[-1])
    return [
        Path(
            _trace(_Trail(source[:, k], move[:, k], held_from[:, k]), best_at[k], states)
            if best_end[k] < nothing
            else (),
            float(min(best_end[k], nothing)),
            float(start[k, 0]),
        )
        for k in range(tempi)
    ]


def _timing(late: Floats, due: Floats, cap: Floats | float, costs: Costs) -> Floats:
    """Cost of an onset that is ``late`` seconds off; saturates at ``cap`` (Geman–McClure)."""
    spread = costs.timing_floor_s + costs.timing_share * np.abs(due)
    square = 0.5 * (late / spread) ** 2
    return np.asarray(square * cap / (square + cap))


def _follow(tempo: Floats, gap: Floats, took: Floats, costs: Costs) -> Floats:
    """Let the local tempo follow a note that took ``took`` seconds for ``gap`` beats."""
    with np.errstate(divide="ignore", invalid="ignore"):
        change = np.log(took / (gap * tempo))
    # Beyond a factor of 1.7 it is a pause or a slip, not the tempo.
    believed = np.isfinite(change) & (np.abs(change) < 0.53) & (gap > 0)
    step = np.where(believed, change, 0.0) * costs.follow * np.minimum(1.0, gap)
    return np.asarray(np.clip(tempo * np.exp(step), FASTEST_S, SLOWEST_S))


def _go_on(arrivals: _Arrivals, cells: _Cells, problem: _Problem, i: int) -> None:
    """Strike the next written note, or one a little further on with notes missed between."""
    states, tables, costs = problem.states, problem.tables, problem.costs
    n, now = len(states), float(problem.onset_s[i])
    best = np.full(arrivals.cost.shape, np.inf)
    layer = np.zeros(best.shape, dtype=np.int32)
    lag = np.zeros(best.shape, dtype=np.int32)
    since_s = now - float(problem.onset_s[i - 1])
    reach = costs.reach if since_s < costs.far_after_s else costs.reach_far
    for k in range(1, min(reach, n - 1) + 1):
        left_out = tables.missed_sum[k:-1] - tables.missed_sum[1 : n - k + 1]
        left_out = np.minimum(left_out, costs.missed_run + costs.missed_run_more * k)
        due = (states.beat[k:] - cells.beat[:, :, :-k]) * cells.tempo[:, :, :-k]
        late = now - cells.time[:, :, :-k] - due
        timing = _timing(late, due, tables.timing_cap[k:], costs)
        # A grace note has no time of its own: it comes a little before or on the beat.
        timing = np.where(states.grace[k:], 0.3 * timing, timing)
        cost = cells.cost[:, :, :-k] + timing + left_out
        held_better = cost[1] < cost[0]
        cheaper = np.where(held_better, cost[1], cost[0])
        improves = cheaper < best[:, k:]
        best[:, k:] = np.where(improves, cheaper, best[:, k:])
        layer[:, k:] = np.where(improves, held_better, layer[:, k:])
        lag[:, k:] = np.where(improves, k, lag[:, k:])
    where = best < arrivals.cost
    index = np.arange(n) - lag
    row = np.arange(len(best))[:, None]
    time = cells.time[layer, row, index]
    beat = cells.beat[layer, row, index]
    tempo = cells.tempo[layer, row, index]
    gap = states.beat - beat
    moved = _follow(tempo, gap, now - time, costs)
    grace = states.grace
    arrivals.time = np.where(where, np.where(grace, time, now), arrivals.time)
    arrivals.beat = np.where(where, np.where(grace, beat, states.beat), arrivals.beat)
    arrivals.tempo = np.where(where, np.where(grace, tempo, moved), arrivals.tempo)
    arrivals.take(where, best, layer * n + index, Move.ON)


def _turn(arrivals: _Arrivals, cells: _Cells, problem: _Problem, i: int) -> None:
    """Take a repeat or an ending: time goes on as if the page were printed twice."""
    states, tables, costs = problem.states, problem.tables, problem.costs
    n, now = len(states), float(problem.onset_s[i])
    for edge in range(len(states.turn_from)):
        a, b = int(states.turn_from[edge]), int(states.turn_to[edge])
        fee = costs.turn + costs.missed * float(states.turn_left_out[edge])
        beat = cells.beat[:, :, a] + states.turn_shift[edge]
        due = (states.beat[b] - beat) * cells.tempo[:, :, a]
        late = now - cells.time[:, :, a] - due
        cost = cells.cost[:, :, a] + fee + _timing(late, due, float(tables.timing_cap[b]), costs)
        layer = np.where(cost[1] < cost[0], 1, 0)
        row = np.arange(cost.shape[1])
        cheapest = cost[layer, row]
        better = cheapest < arrivals.cost[:, b]
        if not better.any():
            continue
        tempo = cells.tempo[layer, row, a]
        moved = _follow(
            tempo, states.beat[b] - beat[layer, row], now - cells.time[layer, row, a], costs
        )
        arrivals.cost[better, b] = cheapest[better]
        arrivals.time[better, b] = now
        arrivals.beat[better, b] = states.beat[b]
        arrivals.tempo[better, b] = moved[better]
        arrivals.source[better, b] = (layer * n + a)[better]
        arrivals.move[better, b] = Move.TURN


def _jump(arrivals: _Arrivals, cells: _Cells, problem: _Problem, i: int) -> None:
    """Break off anywhere and go on anywhere: back (restart) or ahead (skip)."""
    states, tables, costs = problem.states, problem.tables, problem.costs
    n = len(states)
    held_better = cells.cost[1] < cells.cost[0]
    cheaper = np.where(held_better, cells.cost[1], cells.cost[0])
    fee = tables.enter - tables.pause[i]
    slope = costs.jump_per_bar * states.bar
    # Back: the cheapest source at or behind the target; its distance cost splits in two sums.
    back = np.minimum.accumulate((cheaper + slope)[:, ::-1], axis=1)[:, ::-1]
    back_at = _argument(cheaper + slope, back, reverse=True)
    # Ahead: the cheapest source more than one note in front of it.
    ahead = np.full_like(cheaper, np.inf)
    ahead_at = np.zeros(cheaper.shape, dtype=np.int64)
    if n > 2:
        run = np.minimum.accumulate(cheaper - slope, axis=1)
        ahead[:, 2:] = run[:, :-2]
        ahead_at[:, 2:] = _argument(cheaper - slope, run, reverse=False)[:, :-2]
    back_cost = back - slope + fee
    ahead_cost = ahead + slope + fee + costs.jump_ahead
    go_back = back_cost <= ahead_cost
    cost = np.where(go_back, back_cost, ahead_cost)
    at = np.where(go_back, back_at, ahead_at)
    cost = np.where(states.grace, np.inf, cost)
    where = cost < arrivals.cost
    row = np.arange(cheaper.shape[0])[:, None]
    layer = held_better[row, at].astype(np.int64)
    arrivals.tempo = np.where(where, cells.tempo[layer, row, at], arrivals.tempo)
    arrivals.take(where, cost, layer * n + at, Move.JUMP)


def _argument(values: Floats, running: Floats, *, reverse: bool) -> NDArray[np.int64]:
    """Give the place from which each running minimum came."""
    n = values.shape[1]
    hit = np.where(values == running, np.arange(n), n if reverse else -1)
    if reverse:
        return np.asarray(np.minimum.accumulate(hit[:, ::-1], axis=1)[:, ::-1].clip(0, n - 1))
    return np.asarray(np.maximum.accumulate(hit, axis=1).clip(0, n - 1))


@dataclass(frozen=True, slots=True)
class _Trail:
    """Where each cell came from, for one start tempo: shape (m, n)."""

    source: Ints
    move: NDArray[np.int8]
    held_from: NDArray[np.int8]


def _trace(trail: _Trail, end: NDArray[np.int64], states: States) -> tuple[Step, ...]:
    """Walk back from the last struck note to the first."""
    n = len(states)
    steps: list[Step] = []
    i, j, layer = int(end[0]), int(end[1]), 0
    while i >= 0:
        if layer == 1:
            layer = int(trail.held_from[i, j])
            i -= 1
            continue
        how, where = Move(int(trail.move[i, j])), int(trail.source[i, j])
        turn = None
        if how is Move.TURN:
            edges = (states.turn_from == where % n) & (states.turn_to == j)
            turn = int(states.turn_index[int(np.flatnonzero(edges)[0])])
        steps.append(Step(i, j, how, turn))
        if how is Move.START:
            break
        layer, j = divmod(where, n)
        i -= 1
    return tuple(reversed(steps))
