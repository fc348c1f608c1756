"""Nothing that the program says about a take accuses anybody; every sentence names a cause."""

import ast
import importlib
import pkgutil
import re
from pathlib import Path

import pytest

import fairhearing
import fairhearing.core.continuity
import fairhearing.core.quality
from fairhearing.core.quality.advice import TEXTS

FORBIDDEN = re.compile(
    r"\b(edit(ed|ing)?|forg(ed|ery|eries|ing)|fak(e|ed|ing)|cheat\w*|tamper\w*|manipulat\w*|"
    r"dishonest\w*|fraud\w*|suspicious|suspect\w*|guilty|doctored|spliced?|lied|lying|"
    r"trampa\w*|falsific\w*|editad\w*|manipulad\w*|fraude)\b",
    re.IGNORECASE,
)
# In the rest of the program "edit the file" may be said to a director; these words never.
NEVER = re.compile(
    r"\b(edited|forged|forger(y|ies)|fak(e|ed|ing)|cheat\w*|tampered|doctored|fraud\w*|"
    r"falsificad\w*|manipulad\w*)\b",
    re.IGNORECASE,
)
PACKAGE = Path(fairhearing.__file__).parent
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


def literals(path):
    yield from literals_of(path.read_text(encoding="utf-8"))


def literals_of(source):
    """Every string of a module that is not documentation."""
    tree = ast.parse(source)
    documentation = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        literal = isinstance(node, ast.Constant) and isinstance(node.value, str)
        if literal and id(node) not in documentation:
            yield node.value


ROOMS = [p for room in ("continuity", "quality") for p in (PACKAGE / "core" / room).glob("*.py")]


@pytest.mark.parametrize("path", ROOMS, ids=lambda p: p.name)
def test_no_string_of_the_two_rooms_accuses(path):
    for text in literals(path):
        assert not FORBIDDEN.search(text), text


def test_no_string_and_no_template_of_the_program_accuses():
    for path in PACKAGE.rglob("*.py"):
        for text in literals(path):
            assert not NEVER.search(text), f"{path.name}: {text}"
    pages = [p for p in PACKAGE.rglob("*") if p.suffix in {".html", ".jinja", ".j2", ".txt", ".md"}]
    for path in pages:
        found = NEVER.search(path.read_text(encoding="utf-8"))
        assert not found, f"{path.name}: {found and found.group()}"


def test_the_test_can_fail():
    assert NEVER.search("this take was edited") and not NEVER.search("edit roster.csv")
    assert "cheating" in next(iter(literals_of("x = f'{a} is cheating'")))
    assert FORBIDDEN.search("This take was edited.") and FORBIDDEN.search("a forged joint")
    assert PERCENT.search("87 % sure")
