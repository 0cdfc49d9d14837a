"""The house rules: every file has its place, the core is pure, imports point one way."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "trainer"

PURE = (
    "pitch",
    "estimates",
    "chords",
    "voicings",
    "leading",
    "charts",
    "capture",
    "grading",
    "naming",
    "timing",
    "drills",
    "accompaniment",
    "progress",
    "scheduling",
    "session",
    "in_time",
    "regrading",
    "desk",
    "results",
    "manual",
)
"""In the order of import: a module may import only those before it."""

EDGES = ("inputs", "sound", "storage", "sheets", "screens")

BENEATH = ("midi",)
"""Touches the world beneath two folders, so that neither needs the other: `inputs` and `sound` share a library."""

WIRING = ("commands",)
"""Brings the folders of the world together; nothing but `__main__` imports it."""

IMPURE_IMPORTS = {
    "os", "io", "sys", "time", "datetime", "random", "pathlib", "socket", "subprocess", "threading", "asyncio",
    "sqlite3", "tempfile", "shutil", "logging", "secrets", "uuid", "mido", "rtmidi", "rtmidi2", "textual", "rich",
    "platformdirs", "psycopg", "urllib", "http",
}  # fmt: skip
ALLOWED_NAMES = {
    "random": {"Random"},
    "datetime": {"date", "datetime", "timedelta", "UTC", "timezone"},
    # A file in memory: bytes in, bytes out, for what the standard library unpacks only from a file (zip).
    "io": {"BytesIO"},
}
IMPURE_CALLS = {"open", "print", "input", "exec", "eval"}
CLOCK_CALLS = {"now", "utcnow", "today", "time", "perf_counter", "perf_counter_ns", "monotonic"}


def files_of(module: str) -> list[Path]:
    path = PACKAGE / module
    return sorted(path.rglob("*.py")) if path.is_dir() else [PACKAGE / f"{module}.py"]


def present(modules: tuple[str, ...]) -> list[str]:
    return [name for name in modules if (PACKAGE / name).is_dir() or (PACKAGE / f"{name}.py").exists()]


def imports_of(path: Path) -> list[tuple[str, set[str]]]:
    """(module, names) of every import anywhere in a file."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(alias.name, set[str]()) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are written in full"
            found.append((node.module or "", {alias.name for alias in node.names}))
    return found


def trainer_modules(path: Path) -> set[str]:
    named = set()
    for module, names in imports_of(path):
        if module == "trainer":
            named |= names
        elif module.startswith("trainer."):
            named.add(module.split(".")[1])
    return named


def test_every_file_and_folder_has_its_place() -> None:
    entries = {entry.stem if entry.suffix == ".py" else entry.name for entry in PACKAGE.iterdir()}
    assert entries - {"__pycache__", "_drills", "__init__", "__main__"} <= {*PURE, *BENEATH, *EDGES, *WIRING}


@pytest.mark.parametrize("module", present(PURE))
def test_a_core_module_imports_only_what_stands_above_it(module: str) -> None:
    allowed = {*PURE[: PURE.index(module)], module}
    for path in files_of(module):
        assert trainer_modules(path) <= allowed, path


@pytest.mark.parametrize("module", present((*BENEATH, *EDGES)))
def test_a_folder_of_the_world_imports_the_core_and_itself_only(module: str) -> None:
    beneath = BENEATH if module in ("inputs", "sound") else ()
    for path in files_of(module):
        assert trainer_modules(path) <= {*PURE, *beneath, module}, path


@pytest.mark.parametrize("module", present(PURE))
def test_a_core_module_is_pure(module: str) -> None:
    for path in files_of(module):
        for imported, names in imports_of(path):
            top = imported.split(".")[0]
            if top in ALLOWED_NAMES:
                assert names and names <= ALLOWED_NAMES[top], f"{path} imports {imported} {names}"
            else:
                assert top not in IMPURE_IMPORTS, f"{path} imports {imported}"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in IMPURE_CALLS, f"{path}:{node.lineno} calls {node.func.id}"
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                owner = node.func.value
                if isinstance(owner, ast.Name) and owner.id in {"datetime", "date", "time"}:
                    assert node.func.attr not in CLOCK_CALLS, f"{path}:{node.lineno} reads a clock"


def loaded_by(statement: str) -> set[str]:
    """Names of the modules that a fresh interpreter has loaded after a statement."""
    code = f"import sys\n{statement}\nprint('\\n'.join(sys.modules), file=sys.stderr)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=PACKAGE.parent)
    return set(run.stderr.split())


def test_the_core_loads_nothing_that_touches_the_world() -> None:
    core = "\n".join(f"import trainer.{module}" for module in present(PURE))
    heavy = {"textual", "rich", "mido", "rtmidi", "rtmidi2", "sqlite3", "asyncio", "socket", "subprocess", "fsrs"}
    assert not loaded_by(core) & heavy


def test_spelling_a_chord_never_loads_the_screen() -> None:
    spell = "from trainer.__main__ import main\nmain(['spell', 'Cm7', '--voicing', 'rootless from the third'])"
    assert not loaded_by(spell) & {"textual", "mido", "rtmidi", "rtmidi2", "sqlite3", "fsrs"}


def test_the_map_names_every_module() -> None:
    text = (PACKAGE / "__init__.py").read_text(encoding="utf-8")
    for module in present((*PURE, *BENEATH, *EDGES, *WIRING)):
        name = module + "/" if (PACKAGE / module).is_dir() else module
        assert f"\n    {name} " in text, name
