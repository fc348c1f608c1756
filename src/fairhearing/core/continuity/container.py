"""Container and time stamps: joints inside the timeline, a beginning left out, other software.

Genuine camera files have edit lists, long gaps between pictures, trembling time stamps and odd
first durations. None of that counts. What counts is an irregularity *inside* the timeline that a
recording device does not make, mostly two at the same instant: time stamps squeezed into single
ticks, an odd step in an otherwise even sound track, a key frame out of its rhythm, a second
description of the coder, an edit list that jumps.

Times are those of the player. Sources: ISO/IEC 14496-12 §8.6 (time tables and edit lists);
Iuliani et al., IEEE TIFS 14:635–645 (2019) and Yang et al., arXiv 2101.10795, on what file
containers tell about their making. Their rates come from matched data and are no promise here.
"""

from __future__ import annotations

from collections.abc import Iterator

from fairhearing.core.continuity.finding import Channel, Finding, clock
from fairhearing.core.continuity.timeline import Irregularity, Timeline, timelines
from fairhearing.core.recording.facts import ContainerFacts

# Points: what one sign is worth; a joint needs two, and in a film a key frame.
_SQUEEZED, _DESCRIPTION, _EDIT_JUMP = 2.0, 2.0, 3.0
_STEP, _RHYTHM, _GAP, _KEY = 1.0, 1.0, 0.5, 0.5
_ENOUGH = 2.0
_SAME_JOINT_S = 0.25
# Coders need up to 0.11 s of sound before the first that is heard (HE-AAC); pictures none.
_SOUND_LEAD_S = 0.15
_PICTURE_LEAD_FRAMES = 1.5
_LATE_PICTURE_S = 0.25

# General programs and libraries that write films; a camera or a browser writes none of these.
_WRITERS = ("lavf", "lavc", "x264", "x265", "gpac", "handbrake", "vlc", "mencoder", "mkvmerge")
_DEVICES = ("com.apple.quicktime.make", "com.android.version", "mak:", "mod:", "core media")


def container_findings(facts: ContainerFacts) -> tuple[Finding, ...]:
    """Find what the container alone shows.

    Parameters
    ----------
    facts : ContainerFacts
        From the probe of the recording.

    Returns
    -------
    tuple of Finding
        In order of time; empty for containers without such tables.
    """
    lines = timelines(facts)
    if not lines:
        return ()
    other = written_by_other_software(facts)
    found = [*_joints(lines), *_beginning_left_out(lines)]
    if other:
        found += _late_picture(lines)
        end = max(line.end_s for line in lines)
        found.append(
            Finding(
                Channel.ORIGIN,
                0.0,
                end,
                0.6,
                "This file was written by other software; ask for the camera's original.",
            )
        )
    return tuple(sorted(found, key=lambda finding: (finding.start_s, finding.channel)))


def written_by_other_software(facts: ContainerFacts) -> bool:
    """Tell whether the file names a program that is no camera, or has lost its date.

    A messenger, a converter or a video program does that, often without anybody asking.
    """
    said = [text.lower() for text in (*facts.writers, *(t.handler for t in facts.tracks))]
    if any(name in text for text in said for name in _WRITERS):
        return True
    if facts.container != "iso" or facts.fragmented or not facts.tracks:
        return False
    dated = facts.created is not None or any(t.created is not None for t in facts.tracks)
    device = any(name in text for text in said for name in _DEVICES)
    return not dated and not device


def _joints(lines: list[Timeline]) -> Iterator[Finding]:
    video = next((line for line in lines if line.kind == "video"), None)
    audio = next((line for line in lines if line.kind == "audio"), None)
    places: list[tuple[float, float]] = []
    for line in lines:
        places += [(time, _EDIT_JUMP) for time in line.edit_jumps_s]
        for event in line.irregular:
            scored = _scored(event, line, video, audio)
            if scored is not None:
                places.append(scored)
        places += [(time, _DESCRIPTION) for time in line.new_descriptions_s]
    places.sort()
    while places:
        near = [place for place in places if place[0] - places[0][0] <= _SAME_JOINT_S]
        places = places[len(near) :]
        time, points = max(near, key=lambda place: place[1])
        yield Finding(
            Channel.TIME_STAMPS,
            time,
            time,
            min(1.0, 0.6 + 0.1 * points),
            f"The file's time stamps show a joint at {clock(time)}. A recording that was paused "
            "and a program that saves in pieces leave one too. Watch five seconds.",
        )


def _scored(
    event: Irregularity, line: Timeline, video: Timeline | None, audio: Timeline | None
) -> tuple[float, float] | None:
    """Place and points of a possible joint at an irregularity, or None."""
    reach = sum(1.5 * other.step_s for other in (video, audio) if other is not None)
    start, end = event.start_s - reach, event.end_s + reach
    time = event.end_s if line.kind == "video" else event.start_s
    points = _worth(event)
    other = audio if line is video else video
    if other is not None:
        near = [e for e in other.irregular if e.start_s <= end and e.end_s >= start]
        points += max((_worth(e) for e in near), default=0.0)
    if video is not None and video.key_frames_s is not None:
        keys = [key for key in video.key_frames_s if start <= key.time_s <= end]
        if not keys:
            return None
        key = max(keys, key=lambda k: (k.out_of_rhythm, -abs(k.time_s - time)))
        points += _KEY + (_RHYTHM if key.out_of_rhythm else 0.0)
        time = key.shown_s
    return (max(0.0, time), points) if points >= _ENOUGH else None


def _worth(event: Irregularity) -> float:
    return {"squeezed": _SQUEEZED, "step": _STEP, "gap": _GAP}[event.manner]


def _beginning_left_out(lines: list[Timeline]) -> Iterator[Finding]:
    leads = []
    for line in lines:
        usual = _SOUND_LEAD_S if line.kind == "audio" else _PICTURE_LEAD_FRAMES * line.step_s
        if line.hidden_lead_s > usual:
            leads.append((line.kind != "video", line.hidden_lead_s, line.kind))
    if leads:
        _, seconds, kind = min(leads)
        what = "picture" if kind == "video" else "sound"
        yield Finding(
            Channel.TIME_STAMPS,
            0.0,
            0.0,
            0.5,
            f"The file still holds {seconds:.1f} s of {what} before the first moment that is "
            "shown. A phone's gallery does this when a beginning is left out. Ask for the "
            "camera's original if the beginning matters.",
        )


def _late_picture(lines: list[Timeline]) -> Iterator[Finding]:
    starts = {line.kind: line.start_s for line in lines}
    late = starts.get("video", 0.0) - starts.get("audio", starts.get("video", 0.0))
    if late > _LATE_PICTURE_S:
        yield Finding(
            Channel.TIME_STAMPS,
            0.0,
            starts["video"],
            0.4,
            f"The picture starts {late:.1f} s after the sound, in a file that other software "
            "wrote. Copying a part of a film leaves this, and some programs start so. Watch the "
            "first seconds.",
        )
