"""Build the demo season's folder: papers, truth, and every take as a real video file.

Each take is one job; with two processes two are made at a time. A take that is there already is
kept, so that a build that was stopped goes on where it was.
"""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

from fairhearing.core.errors import FairHearingError
from fairhearing.demo.cast import INVENTED, PLAYERS, player
from fairhearing.demo.papers import write_papers
from fairhearing.demo.performance import perform
from fairhearing.demo.takes import film_take, truth_of

#: Raised whenever the same player would sound or look different: older folders are refused.
EDITION = 1

Progress = Callable[[int, int, str], None]


def make_season(
    folder: Path | str,
    *,
    progress: Progress | None = None,
    processes: int = 2,
    language: str = "en",
) -> Path:
    """Write the complete demo season into a folder.

    Parameters
    ----------
    folder : Path or str
        New, empty, or a demo season that was begun before.
    progress : callable, optional
        Called as ``progress(done, total, what)`` when a take is finished (first with done = 0).
    processes : int
        How many takes are made at a time; 1 works in this process.
    language : {"en", "es"}
        Of the papers; the takes are the same.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    FairHearingError
        If the folder holds anything else.
    """
    folder = Path(folder)
    _refuse_strange(folder)
    takes = folder / "takes"
    takes.mkdir(parents=True, exist_ok=True)
    (folder / "truth.json").write_text(truth_json(), encoding="utf-8", newline="\n")
    write_papers(folder, language)
    for leftover in takes.glob("*.part"):
        leftover.unlink()
    sent = [who for who in PLAYERS if who.take is not None]
    missing = [who.number for who in sent if not (takes / str(who.take)).exists()]
    # The longest jobs first, so that no process idles at the end: the joined take is made twice.
    missing.sort(key=lambda number: (player(number).home != "joined", player(number).film != "mov"))
    done = len(sent) - len(missing)
    if progress:
        progress(done, len(sent), "")
    for name in _film(missing, takes, processes):
        done += 1
        if progress:
            progress(done, len(sent), name)
    return folder


def truth_json() -> str:
    """Return the text of truth.json: one entry a take, a note a line."""
    whole = {
        "made_by": f"fairhearing demo, edition {EDITION}",
        "invented": INVENTED,
        "takes": {who.number: truth_of(perform(who)) for who in PLAYERS if who.take is not None},
    }
    return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


def _refuse_strange(folder: Path) -> None:
    if not folder.exists() or not any(folder.iterdir()):
        return
    truth = folder / "truth.json"
    wanted = f'"made_by": "fairhearing demo, edition {EDITION}"'
    if truth.is_file():
        with truth.open(encoding="utf-8") as file:
            if wanted in file.read(500):
                return
    raise FairHearingError(
        f'"{folder}" is not empty and not this program\'s demo season; name a new folder'
    )


def _film(numbers: list[str], takes: Path, processes: int) -> Iterator[str]:
    """Make the takes and yield each one's file name as it is finished."""
    if processes <= 1 or len(numbers) <= 1:
        for number in numbers:
            yield _film_one(number, takes)
        return
    # "spawn" behaves alike on every system and is safe beside threads.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(processes, len(numbers)), mp_context=context) as pool:
        jobs = [pool.submit(_film_one, number, takes) for number in numbers]
        try:
            for job in as_completed(jobs):
                yield job.result()
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _film_one(number: str, takes: Path) -> str:
    return film_take(player(number), takes).name
