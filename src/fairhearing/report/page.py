"""Fills a template: style sheet and script inlined, everything from outside escaped."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from fairhearing import __version__
from fairhearing.report import words

HERE = Path(__file__).parent


def render(template: str, **context: Any) -> str:
    """Return one self-contained HTML page made from ``templates/<template>``.

    SVG strings must be passed as :class:`markupsafe.Markup` by the caller who drew them; every
    other value is escaped.
    """
    return (
        _environment()
        .get_template(template)
        .render(
            css=Markup((HERE / "programme.css").read_text(encoding="utf-8")),
            player_script=Markup((HERE / "player.js").read_text(encoding="utf-8")),
            version=__version__,
            **context,
        )
    )


def how_sure(confidence: float | None) -> str:
    """Return a confidence between 0 and 1 in words; a percentage would promise too much."""
    if confidence is None:
        return "not measurable"
    if confidence >= 0.8:
        return "sure"
    return "fairly sure" if confidence >= 0.5 else "not sure"


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        clock=words.clock,
        clock_tenths=lambda seconds: words.clock(seconds, tenths=True),
        tonic=words.tonic_name,
        how_sure=how_sure,
    )
    return environment
