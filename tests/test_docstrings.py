"""Public formulas tell the unit of every number that goes in and comes out."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
FOLDERS = ("weather/calc", "sites/calc", "fleet/calc")
# A number's annotation; other arguments (texts, days, tables) need no unit.
NUMBERS = ("float", "FloatArray", "NDArray[np.float64]", "Number")


def _public_functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    """(where, function) of every public function that takes a number."""
    for folder in FOLDERS:
        for path in sorted((ROOT / folder).rglob("*.py")):
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                    yield f"{path.relative_to(ROOT)}:{node.name}", node


def _number_arguments(function: ast.FunctionDef) -> list[str]:
    """Names of the arguments that are plain numbers or arrays of them."""
    arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    return [
        argument.arg
        for argument in arguments
        if argument.annotation is not None and ast.unparse(argument.annotation) in NUMBERS
    ]


FUNCTIONS = dict(_public_functions())


@pytest.mark.parametrize("where", sorted(FUNCTIONS))
def test_every_number_has_its_unit(where: str) -> None:
    function = FUNCTIONS[where]
    text = ast.get_docstring(function) or ""
    first = text.splitlines()[0] if text else ""
    numbers = _number_arguments(function)

    assert first.endswith((".", "]")), f"{where}: the first line says what comes back"
    one_liner = len(text.splitlines()) == 1
    missing = [] if one_liner else [name for name in numbers if not _has_unit(text, name)]
    assert missing == [], f"{where}: no [unit] in the text of {missing}"
    if one_liner and numbers:
        assert "[" in text, f"{where}: a one-line docstring with numbers names their unit"


def _has_unit(text: str, name: str) -> bool:
    """Whether the paragraph of an argument carries a unit in brackets."""
    lines = text.splitlines()
    for number, line in enumerate(lines):
        names = [part.strip() for part in line.split(":")[0].split(",")]
        if name in names:
            paragraph = []
            for following in lines[number + 1 :]:
                if following.strip() and not following.startswith(" "):
                    break
                paragraph.append(following)
            return "[" in " ".join(paragraph)
    return False
