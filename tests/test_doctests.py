"""The examples in the docstrings of `analysis`, run as they stand.

Truth: what each example says it prints; the examples are closed forms or cite their source.
"""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for path in sorted((ROOT / "analysis").rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_print_what_they_say(name: str) -> None:
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted > 0
    assert found.failed == 0


def test_a_wrong_example_is_noticed() -> None:
    # Known input: an example whose answer is wrong.
    wrong = doctest.DocTestParser().get_doctest(">>> 1 + 1\n3\n", {}, "planted", None, 0)
    runner = doctest.DocTestRunner(verbose=False)
    assert runner.run(wrong, out=lambda _: None).failed == 1
