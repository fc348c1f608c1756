"""The errors of Fair Hearing: what is wrong, where, and what to do about it.

Every error that a user can cause derives from :class:`FairHearingError`. Its text is one plain
sentence (or two) that can be shown as it is: on the terminal (exit code 2) or on a page (4xx).
A quantity that could not be measured is *not* an error: it is ``None`` with a reason.
"""

from __future__ import annotations

from pathlib import Path


class FairHearingError(Exception):
    """Something the user can put right; ``str(error)`` says what, where and what to do."""


class RecordingError(FairHearingError):
    """A recording that cannot be opened, is not a recording, or broke a limit."""


class TableError(FairHearingError):
    """A table or settings file with a wrong, missing or doubtful entry.

    Parameters
    ----------
    problem : str
        What is wrong and what to do, without a closing full stop being required.
    path : Path or str, optional
        The file; shown first.
    line : int, optional
        The line in the file, counted from 1 as an editor does.
    """

    def __init__(self, problem: str, *, path: Path | str | None = None, line: int | None = None):
        where = f"{Path(path).name}" if path is not None else ""
        if line is not None:
            where = f"{where}, line {line}" if where else f"line {line}"
        super().__init__(f"{where}: {problem}" if where else problem)
        self.problem = problem
        self.path = path
        self.line = line


class ScoreFileError(FairHearingError):
    """Sheet music that cannot be read without losing or inventing notes."""


class JudgingError(FairHearingError):
    """Marks from which no fair score can be computed; names the judges or marks to add."""


class SeatingError(FairHearingError):
    """A seat plan that cannot exist under the rules given; names the rule."""
