"""Nothing that the program says about a take accuses anybody; every sentence names a cause."""

import importlib
import pkgutil
import re

import pytest

import fairhearing.core.continuity
import fairhearing.core.quality
from fairhearing.core.quality.advice import TEXTS

FORBIDDEN = re.compile(
    r"\b(edit(ed|ing)?|forg(ed|ery|eries|ing)|fak(e|ed|ing)|cheat\w*|tamper\w*|manipulat\w*|"
    r"dishonest\w*|fraud\w*|suspicious|suspect\w*|guilty|doctored|spliced?|lied|lying|"
    r"trampa\w*|falsific\w*|editad\w*|manipulad\w*|fraude)\b",
    re.IGNORECASE,
)
PERCENT = re.compile(r"\d\s*%|per ?cent", re.IGNORECASE)


def spoken():
    """Every constant of the two rooms that can reach a reader."""
    for room in (fairhearing.core.continuity, fairhearing.core.quality):
        for module in pkgutil.iter_modules(room.__path__, room.__name__ + "."):
            loaded = importlib.import_module(module.name)
            for name, value in vars(loaded).items():
                if isinstance(value, str) and (name.endswith("SAYS") or name == "NOTHING_FOUND"):
                    yield f"{module.name}.{name}", value
    for key, texts in TEXTS.items():
        for language, text in texts.items():
            yield f"advice {key} {language}", text


SENTENCES = dict(spoken())


def test_the_sentences_are_found():
    assert len(SENTENCES) >= 25
    assert any("coincidence" in name for name in SENTENCES)


@pytest.mark.parametrize("name", SENTENCES)
def test_no_sentence_accuses_or_gives_a_percentage(name):
    sentence = SENTENCES[name]
    assert not FORBIDDEN.search(sentence)
    assert not PERCENT.search(sentence)
    assert sentence.rstrip().endswith(".")


def test_the_test_can_fail():
    assert FORBIDDEN.search("This take was edited.") and FORBIDDEN.search("a forged joint")
    assert PERCENT.search("87 % sure")
