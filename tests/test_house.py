"""Laws of the house that no other tool holds: size, docstrings, and words that must not stand in the project."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SOURCE = ROOT / "src" / "dryside"
LONGEST_BODY = 60
LONGEST_MODULE = 500

MODULES = sorted(SOURCE.rglob("*.py"))
TEXTS = sorted(
    path
    for folder in ("src", "tests", "docs", "requirements", "benchmarks", ".ci")
    for path in (ROOT / folder).rglob("*")
    if path.is_file()
    and "__pycache__" not in path.parts
    and ".egg-info" not in str(path)
    and path.suffix
    in {
        ".py",
        ".md",
        ".txt",
        ".in",
        ".toml",
        ".typ",
        ".html",
        ".css",
        ".js",
        ".csv",
        ".json",
        ".ini",
        ".mako",
        ".svg",
        "",
    }
)
LOOSE_FILES = [ROOT / name for name in ("README.md", "CONTRIBUTING.md", "CHANGELOG.md", "Makefile", "pyproject.toml")]

# Written in pieces, so that this file does not hold what it looks for.
FORBIDDEN = {
    "a path of one machine": re.compile("|".join(["/wo" + "rk/", "/tm" + "p/brief", "/ro" + "ot/", "/ho" + r"me/\w"])),
    "a package registry's host": re.compile(
        "|".join(["py" + r"pi\.org", "pythonhos" + r"ted\.org", "registry" + r"\.npm", "deb" + r"\.debian\.org"]),
        re.IGNORECASE,
    ),
    "an index address of the installer": re.compile(
        "--(?:extra-)?index" + "-url|--find" + "-links|--trusted" + "-host"
    ),
}


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def functions(tree: ast.AST):
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from the first statement to the last, the docstring not counted."""
    statements = function.body[1:] if ast.get_docstring(function, clean=False) is not None else function.body
    return statements[-1].end_lineno - statements[0].lineno + 1 if statements else 0


def too_long(tree: ast.AST) -> list[str]:
    return [
        f"{one.name}, line {one.lineno}: {body_lines(one)} lines"
        for one in functions(tree)
        if body_lines(one) > LONGEST_BODY
    ]


def without_docstring(tree: ast.Module) -> list[str]:
    """Public functions, classes and their methods that say nothing; a property's setter and an overload need not."""
    missing = [] if ast.get_docstring(tree) or not tree.body else ["the module"]

    def look(nodes, prefix=""):
        for node in nodes:
            if not isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) or node.name.startswith("_"):
                continue
            decorators = [ast.unparse(one) for one in node.decorator_list]
            excused = any(one.endswith((".setter", "overload", "override")) for one in decorators)
            if ast.get_docstring(node) is None and not excused:
                missing.append(f"{prefix}{node.name}, line {node.lineno}")
            if isinstance(node, ast.ClassDef):
                look(node.body, f"{prefix}{node.name}.")

    look(tree.body)
    return missing


@pytest.mark.parametrize("path", MODULES, ids=named)
def test_modules_and_functions_keep_their_size_and_say_what_they_are(path):
    source = path.read_text("utf-8")
    tree = ast.parse(source)
    assert source.count("\n") <= LONGEST_MODULE, f"{named(path)} has more than {LONGEST_MODULE} lines"
    assert too_long(tree) == []
    assert without_docstring(tree) == []


def test_a_long_or_silent_function_would_be_noticed():
    long = "def long():\n    'Says so.'\n" + "    x = 1\n" * (LONGEST_BODY + 1)
    assert too_long(ast.parse(long)) == [f"long, line 1: {LONGEST_BODY + 1} lines"]
    assert too_long(ast.parse(long.removesuffix("    x = 1\n"))) == []
    silent = "'Module.'\nclass Told:\n    'Told.'\n    def shown(self): ...\n    def _kept(self): ...\n"
    assert without_docstring(ast.parse(silent)) == ["Told.shown, line 4"]


def test_no_forbidden_words_stand_in_the_project():
    found = [
        f"{named(path)}, line {number}: {what}"
        for path in (*TEXTS, *(one for one in LOOSE_FILES if one.exists()))
        for number, line in enumerate(path.read_text("utf-8", errors="replace").splitlines(), 1)
        for what, pattern in FORBIDDEN.items()
        if pattern.search(line)
    ]
    assert found == []


def test_forbidden_words_would_be_noticed():
    samples = ("/wo" + "rk/main", "https://py" + "pi.org/simple", "--index" + "-url x")
    assert all(any(pattern.search(one) for pattern in FORBIDDEN.values()) for one in samples)


def test_requirements_are_pinned_with_hashes():
    pinned = (ROOT / "requirements" / "all.txt").read_text("utf-8")
    lines = [line for line in re.sub(r"\\\n\s*", " ", pinned).splitlines() if line and not line.startswith("#")]
    assert lines
    assert [line for line in lines if "==" not in line or "--hash=sha256:" not in line] == []


def test_each_room_of_tests_belongs_to_a_room_of_the_house():
    rooms = {path.name for path in SOURCE.iterdir() if path.is_dir() and (path / "__init__.py").exists()}
    tested = {path.name for path in (ROOT / "tests").iterdir() if path.is_dir() and any(path.glob("test_*.py"))}
    assert tested <= rooms | {"journeys"}
