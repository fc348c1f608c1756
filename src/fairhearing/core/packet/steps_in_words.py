"""What the packet says about each step of the audition: on the cover and on the cue card."""

from __future__ import annotations

from fairhearing.core.packet.instruments import Instrument
from fairhearing.core.packet.spec import PacketSpec, Step
from fairhearing.core.packet.wording import Wording

RUDIMENT_NAMES = ("rudiments", "rudimentos")


def key_name(instrument: Instrument, wording: Wording) -> str:
    """Say what a transposing instrument reads and what sounds."""
    shift = instrument.sounding_minus_written
    if instrument.kind == "drum":
        return ""
    if shift % 12 == 0:
        octaves = {12: "octave_up", 24: "two_octaves_up"}.get(shift, "not_transposing")
        return wording(octaves)
    flat_names = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
    return wording(
        "transposing", written=wording.key("C"), concert=wording.key(flat_names[shift % 12])
    )


def step_name(step: Step, wording: Wording) -> str:
    """Return the section's name in the language, or the director's own."""
    return wording(step.kind) if step.name in {"", step.kind} else step.name


def what_to_play(step: Step, spec: PacketSpec, wording: Wording) -> str:
    """Return one or two sentences on what is played."""
    on = ""
    if step.on is not None and step.on.id != spec.instrument.id:
        name = step.on.names.get(spec.language, step.on.name)
        on = " " + wording("what_on", instrument=name)
    if step.piece is None:
        kind = step.kind if step.kind in {"introduction", "chromatic", "scales"} else "other"
        if step.name in RUDIMENT_NAMES and "rudiments" in spec.instrument.asks:
            kind = "rudiments"
        return wording(f"what_{kind}") + on
    name = "what_honors" if step.kind == "honors" else "what_etude"
    title = step.piece.title or step.piece.file.stem
    if step.piece.tempo_bpm is None:
        return wording(f"{name}_no_tempo", title=title) + on
    tempo = wording("tempo", bpm=f"{step.piece.tempo_bpm:g}")
    return wording(name, title=title, tempo=tempo) + on


def cue_lines(spec: PacketSpec, wording: Wording, number: str) -> list[dict[str, str]]:
    """Return the cue card: what to say, what to play, a remark, in order."""
    instrument = spec.instrument.names.get(spec.language, spec.instrument.name)
    cards = []
    for step in spec.steps:
        play, remark = "", wording("optional") if step.optional else ""
        if step.kind == "introduction":
            say = wording("say_introduction", number=number or "…", instrument=instrument)
        else:
            say = wording("say_section", section=capital(step_name(step, wording)))
            if step.piece is not None:
                title = step.piece.title or step.piece.file.stem
                play = wording("play_piece", title=title)
            elif step.kind == "chromatic":
                play = wording("play_chromatic")
            elif step.kind == "scales":
                play = wording("play_scales", seconds=f"{step.limit_s or 60:g}")
        cards.append({"say": say, "play": play, "remark": remark})
    cards.append({"say": wording("say_thanks"), "play": wording("play_thanks"), "remark": ""})
    return cards


def capital(text: str) -> str:
    """Return the text with a capital letter first."""
    return text[:1].upper() + text[1:]
