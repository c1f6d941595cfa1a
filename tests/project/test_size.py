"""Files, functions and templates stay short enough to be read at one sitting (DEVELOPERS.md, rule 26)."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
FILE_LINES = 300
FUNCTION_LINES = 40
TEMPLATE_LINES = 120

CODE = [
    path
    for folder in ("facility", "maintenance", "treatments", "tests")
    for path in sorted((ROOT / folder).rglob("*.py"))
    if "migrations" not in path.parts
]
#: one file by its nature: it goes along in packs and must run alone, without this project beside it
ALONE = ROOT / "facility/pack/verifier/verify.py"
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))


def lines_of(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return how long a function is without its docstring."""
    length = (function.end_lineno or function.lineno) - function.lineno + 1
    first = function.body[0]
    if ast.get_docstring(function) is not None:
        length -= (first.end_lineno or first.lineno) - first.lineno + 1
    return length


def long_files(paths: list[Path], limit: int) -> list[str]:
    lengths = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in paths}
    return [f"{path.relative_to(ROOT)}: {lines} lines" for path, lines in lengths.items() if lines > limit]


def long_functions(path: Path) -> list[str]:
    return [
        f"{path.relative_to(ROOT)}: {node.name} has {lines_of(node)} lines"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and lines_of(node) > FUNCTION_LINES
    ]


def test_a_file_has_at_most_300_lines() -> None:
    assert "\n".join(long_files([path for path in CODE if path != ALONE], FILE_LINES)) == ""


def test_a_function_has_at_most_40_lines() -> None:
    assert "\n".join(found for path in CODE for found in long_functions(path)) == ""


def test_a_template_has_at_most_120_lines() -> None:
    assert "\n".join(long_files(TEMPLATES, TEMPLATE_LINES)) == ""


def test_a_docstring_does_not_count() -> None:
    tree = ast.parse('def f():\n    """One.\n\n    Two.\n    """\n    return 1\n')
    assert isinstance(tree.body[0], ast.FunctionDef)
    assert lines_of(tree.body[0]) == 2
