"""Why a recording is refused: one plain sentence for each reason.

The child process only names a reason and its figures; the sentence is made here, so that
nothing a hostile file says about itself reaches a screen.
"""

from __future__ import annotations

from collections.abc import Mapping

from fairhearing.core.errors import RecordingError

READABLE = "mp4, mov, webm, m4a, wav or mp3"

SENTENCES: Mapping[str, str] = {
    "missing": "{name} does not exist; check the name and the folder.",
    "folder": "{name} is a folder, not a recording; name the files inside it.",
    "special": "{name} is not an ordinary file; save the recording as a file first.",
    "unreadable": "{name} cannot be opened; check that you are allowed to read it.",
    "empty": "{name} is empty (0 bytes); send the recording again.",
    "too_big": "{name} is larger than {limit} GB; film it in a lower resolution.",
    "text": f"{{name}} holds text, not a recording; send the {READABLE} file itself.",
    "not_recording": (
        "{name} is not a kind of recording that can be read here; "
        f"send the camera's own file ({READABLE})."
    ),
    "cut_off": (
        "{name} breaks off before its table of contents, so nothing in it can be played; "
        "the recording or the upload stopped early: send it again."
    ),
    "damaged": "{name} is damaged and cannot be played; send the camera's own file again.",
    "no_sound": "{name} has no sound track; record it again with the microphone on.",
    "no_tracks": "{name} has neither sound nor picture; send the recording itself.",
    "silent_track": "{name} has a sound track with nothing in it; record it again.",
    "codec": (
        "{name} is coded in a way that is not read here ({codec}); "
        f"send the camera's own file ({READABLE})."
    ),
    "picture_size": (
        "{name} has a picture of {width} × {height}, which is larger than 4K; "
        "film it in 4K or less."
    ),
    "too_long": "{name} is longer than {limit} minutes; send one audition in one file.",
    "too_many_pictures": "{name} holds more than {limit} pictures; film it at a usual frame rate.",
    "memory": (
        "{name} needs more memory than a recording may take; "
        "film it in a lower resolution or send it again."
    ),
    "time": (
        "{name} takes far longer to read than it plays; "
        "it may be damaged: send the camera's own file again."
    ),
    "ended": (
        "Reading {name} ended without a result, as damaged files can cause; "
        "send the camera's own file again."
    ),
    "not_started": (
        "{name} cannot be read because the decoder did not start; "
        "install the program again and try once more."
    ),
}


def refusal(reason: str, name: str, **figures: object) -> RecordingError:
    """Make the error for a reason.

    Parameters
    ----------
    reason : str
        A key of :data:`SENTENCES`; an unknown one counts as "ended".
    name : str
        File name as the user knows it.
    **figures
        What the sentence leaves open.

    Returns
    -------
    RecordingError
        Ready to be raised.
    """
    sentence = SENTENCES.get(reason, SENTENCES["ended"])
    return RecordingError(sentence.format_map({"name": name, **_shown(figures)}))


def _shown(figures: Mapping[str, object]) -> dict[str, str]:
    """Figures fit for a screen: short, printable, and never absent."""
    shown = {"codec": "unknown", "width": "?", "height": "?", "limit": "?"}
    for key, value in figures.items():
        text = "".join(c for c in str(value)[:40] if c.isalnum() or c in " ._-")
        shown[key] = text
    return shown
