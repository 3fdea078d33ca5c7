"""The table of OWASP ASVS 5.0 names every requirement of its chapters, and tests that are there.

`asvs.csv` answers the chapters on encoding, validation, the browser, files, sessions and authorization of the
Application Security Verification Standard 5.0.0 (OWASP, 2025), levels 1 and 2. What a requirement is about is
told in our own short words; its text is the standard's.
"""

from __future__ import annotations

import ast
import csv
from pathlib import Path
from typing import Final

import pytest

ROOT: Final = Path(__file__).resolve().parents[3]
# How many requirements of levels 1 and 2 each section has, as printed in the standard.
SECTIONS: Final = {
    "1.1": 2, "1.2": 9, "1.3": 11, "1.4": 3, "1.5": 2, "2.1": 3, "2.2": 3, "2.3": 4, "2.4": 1,
    "3.2": 2, "3.3": 4, "3.4": 6, "3.5": 5, "3.7": 2, "5.1": 1, "5.2": 3, "5.3": 2, "5.4": 3,
    "7.1": 3, "7.2": 4, "7.3": 2, "7.4": 5, "7.5": 2, "7.6": 2, "8.1": 2, "8.2": 3, "8.3": 1, "8.4": 1,
}  # fmt: skip


@pytest.fixture(scope="module")
def rows() -> list[dict[str, str]]:
    """The table."""
    with Path(__file__).with_name("asvs.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_requirement_has_its_answer(rows: list[dict[str, str]]) -> None:
    told = [row["requirement"] for row in rows]
    wanted = [f"{section}.{number}" for section, count in SECTIONS.items() for number in range(1, count + 1)]

    assert told == wanted
    assert not [row["requirement"] for row in rows if not row["answer"] or row["level"] not in "12"]


def test_every_test_that_is_named_is_there(rows: list[dict[str, str]]) -> None:
    missing = []
    for row in rows:
        for one in row["tests"].split():
            file, _, name = one.partition("::")
            path = ROOT / file
            if not path.is_file() or (name and name not in _functions(path)):
                missing.append((row["requirement"], one))

    assert missing == []


def test_most_requirements_that_apply_are_held_by_a_test(rows: list[dict[str, str]]) -> None:
    applying = [row for row in rows if row["answer"] != "does not apply"]
    by_word = [row["requirement"] for row in applying if not row["tests"]]

    # Those that a sentence answers; another one needs a reason to stand here.
    assert by_word == ["1.3.11", "2.1.3", "3.5.4", "3.5.5", "3.7.1", "5.1.1", "7.1.3", "8.4.1"]


def _functions(path: Path) -> set[str]:
    """Names of a module's functions."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
