"""House rules that no other tool holds."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from planner.indices import INDEX
from planner.weather import VARIABLE
from tests.made import ROOT

FILES = sorted((ROOT / "planner").rglob("*.py"))
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "planner",
    "tests",
    "config",
    "fixtures",
    "docs",
    "LICENSE",
}
#: The doors: the only rooms that may read a clock.
CLOCKS = ("cli", "service", "outputs", "__main__.py")
_NOW = {("datetime", "now"), ("datetime", "utcnow"), ("date", "today"), ("time", "time")}


def name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def test_nothing_else_stands_at_the_top_level():
    import subprocess

    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    seen = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {entry for entry in seen if not entry.startswith(".")} == TOP


@pytest.mark.parametrize("path", FILES, ids=name)
def test_no_file_is_longer_than_four_hundred_lines(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


@pytest.mark.parametrize("path", FILES, ids=name)
def test_every_file_is_called_after_what_it_holds(path):
    assert path.stem not in {"utils", "helpers", "common", "manager", "core", "misc"}


def test_few_modules_stand_outside_a_room():
    loose = {path.stem for path in (ROOT / "planner").glob("*.py")} - {"__init__", "__main__"}
    assert len(loose) <= 6, sorted(loose)


@pytest.mark.parametrize("room", sorted(path.parent for path in FILES if path.stem == "__init__"), ids=name)
def test_every_room_says_what_it_is(room):
    assert ast.get_docstring(tree(room / "__init__.py"))


@pytest.mark.parametrize("path", FILES, ids=name)
def test_only_the_doors_read_a_clock(path):
    if path.relative_to(ROOT / "planner").parts[0] in CLOCKS:
        return
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            assert (node.value.id, node.attr) not in _NOW, f"{name(path)}:{node.lineno}"


@pytest.mark.parametrize("path", FILES, ids=name)
def test_public_functions_and_classes_say_what_they_are(path):
    for node in tree(path).body:
        if isinstance(
            node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
        ) and not node.name.startswith("_"):
            if path.name.startswith("table_"):
                continue
            assert ast.get_docstring(node), f"{name(path)}: {node.name}"


def test_weather_columns_and_indices_do_not_share_a_name():
    assert not set(VARIABLE) & set(INDEX)


def test_the_page_of_variables_is_current():
    from tests.pages import variables_page

    assert (ROOT / "docs" / "variables.md").read_text(encoding="utf-8") == variables_page(), (
        "docs/variables.md is stale: run python -m tests.pages"
    )


def test_links_in_the_documents_lead_somewhere():
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").rglob("*.md")]
    for page in pages:
        for target in re.findall(r"\]\(([^)#]+)[^)]*\)", page.read_text(encoding="utf-8")):
            if not re.match(r"[a-z]+:", target):
                assert (page.parent / target).exists(), f"{name(page)}: {target}"


#: A letter of each stands in brackets, so that this file does not hold the words it looks for.
FORBIDDEN = re.compile(
    r"trans[c]ript|seed [d]ocument|/[w]ork/|\.[l]ibrary|p[y]pi\.org|python[h]osted", re.IGNORECASE
)


def test_no_private_word_stands_in_the_project():
    for folder in ("planner", "tests", "config", "docs", "fixtures"):
        for path in (ROOT / folder).rglob("*"):
            if path.suffix in {".py", ".toml", ".md", ".json", ".html", ".css", ".csv"}:
                found = FORBIDDEN.search(path.read_text(encoding="utf-8", errors="ignore"))
                assert found is None, f"{name(path)}: {found}"
