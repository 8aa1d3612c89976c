"""The rules of the house, held by the test run: style, types, layers, sizes, and what lies where."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

ROOT = Path(__file__).resolve().parent.parent
CODE = ("fleet", "shop")
LONGEST_MODULE = 400
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "Makefile", "Dockerfile", "docker-compose.yml", "pyproject.toml",
    "manage.py", "requirements.txt", "fleet", "shop", "templates", "tests",
}  # fmt: skip
UNFINISHED = re.compile(r"\b(TO" r"DO|FIX" r"ME|X" r"XX|HA" r"CK)\b")
TEXTS = {".py", ".html", ".txt", ".js", ".css", ".md", ".toml", ".yml", ".svg", ".sh", ".po"}


def _tracked() -> list[Path]:
    """Files under version control that are there, or every file where the tree came without its history."""
    asked = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False)
    if asked.returncode == 0:
        names = [name for name in asked.stdout.decode().split("\0") if name]
        return [ROOT / name for name in names if (ROOT / name).is_file()]
    hidden = re.compile(r"(^|/)\.|__pycache__")
    return [p for p in ROOT.rglob("*") if p.is_file() and not hidden.search(str(p.relative_to(ROOT)))]


def _modules(*rooms: str) -> list[Path]:
    within = [ROOT / room for room in rooms]
    return [p for p in _tracked() if p.suffix == ".py" and any(room in p.parents for room in within)]


def _run(*command: str) -> None:
    """Run a tool of this environment; its output is the failure."""
    done = subprocess.run([sys.executable, *command], cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.fail(f"{' '.join(command)}\n{done.stdout}{done.stderr}", pytrace=False)


def test_style() -> None:
    _run("-m", "ruff", "check", "--quiet", ".")


def test_types() -> None:
    _run("-m", "mypy", "--no-error-summary", *CODE)


def test_layers() -> None:
    _run("-c", "from importlinter.cli import lint_imports_command; lint_imports_command()", "--no-logo")


@pytest.mark.django_db
def test_migrations_are_up_to_date() -> None:
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_modules_stay_short() -> None:
    lengths = {p: len(p.read_text().splitlines()) for p in _modules(*CODE, "tests") if "migrations" not in p.parts}
    long = {str(p.relative_to(ROOT)): n for p, n in lengths.items() if n > LONGEST_MODULE}
    assert not long, f"longer than {LONGEST_MODULE} lines; split by topic: {long}"


def test_no_module_collects_odds_and_ends() -> None:
    assert not [p for p in _modules(*CODE, "tests") if p.stem in {"utils", "util", "misc", "common", "base_utils"}]


def test_nothing_is_marked_unfinished() -> None:
    marked = []
    for path in _tracked():
        if path.suffix in TEXTS or path.name in {"Makefile", "Dockerfile"}:
            if "vendor" in path.parts:
                continue
            for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
                if UNFINISHED.search(line):
                    marked.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()}")
    assert not marked, "\n".join(marked)


def _stubs(tree: ast.Module) -> list[str]:
    """Functions that do nothing at all: no body but ``pass``, ``...``, a docstring or NotImplementedError."""
    protocols = {
        child
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef) and any("Protocol" in ast.unparse(base) for base in node.bases)
        for child in node.body
    }
    found = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) or node in protocols:
            continue
        decorators = " ".join(ast.unparse(d) for d in node.decorator_list)
        if "overload" in decorators or "abstractmethod" in decorators:
            continue
        body = [s for s in node.body if not (isinstance(s, ast.Expr) and isinstance(s.value, ast.Constant))]
        if all(isinstance(s, ast.Pass) or "NotImplementedError" in ast.unparse(s) for s in body):
            found.append(f"{node.lineno}: {node.name}")
    return found


def test_no_function_is_a_stub() -> None:
    found = [f"{p.relative_to(ROOT)}:{s}" for p in _modules(*CODE) for s in _stubs(ast.parse(p.read_text()))]
    assert not found, "\n".join(found)


def test_top_level_is_short() -> None:
    names = {p.relative_to(ROOT).parts[0] for p in _tracked()}
    odd = {name for name in names if name not in TOP_LEVEL and not name.startswith(".")}
    assert not odd


def test_statistics_import_without_the_web_framework() -> None:
    assert (ROOT / "fleet" / "__init__.py").read_text() == ""
    code = "import sys, fleet.reliability, fleet.simulation; sys.exit('django' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False)
    assert done.returncode == 0


def _settings_read() -> set[str]:
    """Names of environment variables that the code reads: ``env.kind("NAME")`` and ``os.environ``."""
    read = set()
    for path in _modules(*CODE):
        for node in ast.walk(ast.parse(path.read_text())):
            if not isinstance(node, ast.Call | ast.Subscript):
                continue
            target = ast.unparse(node.func if isinstance(node, ast.Call) else node.value)
            first = (node.args[0] if node.args else None) if isinstance(node, ast.Call) else node.slice
            asks = re.fullmatch(r"env(\.\w+)?|(os\.)?environ(\.get)?|(os\.)?getenv", target)
            if asks and isinstance(first, ast.Constant) and isinstance(first.value, str):
                read.add(first.value)
    return read


def test_every_setting_is_in_the_example_file() -> None:
    read = _settings_read()
    assert {"SECRET_KEY", "DATABASE_URL", "REDIS_URL"} <= read, "the search for settings finds nothing"
    read |= set(re.findall(r"\$\{(\w+)", (ROOT / "docker-compose.yml").read_text()))
    told = set(re.findall(r"^#?\s?([A-Z][A-Z0-9_]+)=", (ROOT / ".env.example").read_text(), re.M))
    assert not read - told, f"not in .env.example: {sorted(read - told)}"
    assert not told - read, f"in .env.example, but nothing reads them: {sorted(told - read)}"


def test_requirements_are_pinned() -> None:
    for name in ("requirements.txt", "tests/requirements.txt"):
        for line in (ROOT / name).read_text().splitlines():
            if line.strip() and not line.startswith(("#", "-r")):
                assert re.match(r"^[\w.\-]+(\[[\w,]+\])?==[\w.]+$", line.strip()), f"{name}: {line}"
