"""Fixtures for every room; ``--long`` adds the tests that take more than a few seconds."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="also run the long tests")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--long"):
        return
    skip = pytest.mark.skip(reason="long; run with --long")
    for item in items:
        if "long" in item.keywords:
            item.add_marker(skip)
