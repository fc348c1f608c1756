"""Runs steps on this machine: one process a job, so that a death harms no neighbour.

A job is ``(function, argument)``: a dotted path to a plain function and a JSON-able mapping; the
function returns a JSON-able mapping. Exceptions that a person can put right come back as their
sentence; a process that dies (out of memory, killed) is reported as that and never retried here.
"""

from __future__ import annotations

import importlib
import json
import multiprocessing
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.context import BaseContext
from typing import Any

from fairhearing.core.errors import FairHearingError


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one job: a `result`, or an `error` in one plain sentence."""

    job: Mapping[str, Any]
    result: dict[str, Any] | None
    error: str | None


@dataclass(slots=True)
class _Running:
    job: Mapping[str, Any]
    process: Any
    answers: Connection


def run(
    function: str,
    jobs: Iterable[Mapping[str, Any]],
    *,
    workers: int | None = None,
    preload: str | None = None,
    started: Callable[[Mapping[str, Any]], None] | None = None,
) -> Iterator[Outcome]:
    """Run `function` on every job and yield outcomes as they come.

    Parameters
    ----------
    function : str
        ``"package.module:name"`` of a function that takes and returns a JSON-able mapping.
    jobs : iterable of mapping
        Taken lazily, one as soon as a place is free.
    workers : int, optional
        Processes at a time; the number of cores by default.
    preload : str, optional
        A module that is imported once and shared by the processes, where the system can.
    started : callable, optional
        Told about each job when it begins.
    """
    context = _context(preload)
    limit = workers or os.cpu_count() or 1
    waiting = iter(jobs)
    running: dict[int, _Running] = {}
    exhausted = False
    try:
        while running or not exhausted:
            while not exhausted and len(running) < limit:
                job = next(waiting, None)
                if job is None:
                    exhausted = True
                    break
                one = _start(context, function, job)
                running[one.answers.fileno()] = one
                if started:
                    started(job)
            if running:
                for ready in wait([one.answers for one in running.values()]):
                    assert isinstance(ready, Connection)
                    yield _collect(running.pop(ready.fileno()))
    finally:
        for one in running.values():
            one.process.kill()
            one.process.join()


def _context(preload: str | None) -> BaseContext:
    # A fork server starts a job in milliseconds and never forks a process that has threads.
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    if preload:
        context.set_forkserver_preload([preload])
    return context


def _start(context: BaseContext, function: str, job: Mapping[str, Any]) -> _Running:
    answers, write = context.Pipe(duplex=False)
    # JSON there and back: what works here works on any engine.
    process = context.Process(target=_work, args=(function, json.dumps(job), write))  # type: ignore[attr-defined]
    process.start()
    write.close()
    return _Running(job, process, answers)


def _work(function: str, job: str, answers: Connection) -> None:
    module, name = function.split(":")
    try:
        step = getattr(importlib.import_module(module), name)
        answers.send_bytes(json.dumps({"result": step(json.loads(job))}).encode())
    except FairHearingError as error:
        answers.send_bytes(json.dumps({"error": str(error)}).encode())
    answers.close()


def _collect(one: _Running) -> Outcome:
    try:
        answer = json.loads(one.answers.recv_bytes())
    except (EOFError, OSError):
        answer = None
    one.answers.close()
    one.process.join()
    if answer is None:
        code = one.process.exitcode
        return Outcome(one.job, None, f"the process ended without a result (exit code {code})")
    return Outcome(one.job, answer.get("result"), answer.get("error"))
