"""The house: each room of the package imports only from rooms that stand above it."""

import ast
import re
from pathlib import Path

import casting_econ

PACKAGE = Path(casting_econ.__file__).parent
# from the top: what a room may import stands before it; rooms in one line do not know each other
ROOMS = """
controls faults formatting palette
models templates
reference draws units
ledger
study
evidence
assumptions
kit
charts
pages
orders
projects
starting
running
accounts explore sharing
telling
cli
"""
FLOOR = {room: floor for floor, line in enumerate(ROOMS.split("\n")) for room in line.split()}


def room_of(module: str) -> str:
    """The first name below the package."""
    return module.split(".")[1]


def imports(path: Path) -> set[str]:
    """Modules of the package that a module imports, inside functions too."""
    parts = ("casting_econ", *path.relative_to(PACKAGE).with_suffix("").parts)
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.level:
            base = parts[: -node.level]
            target = (*base, *(node.module.split(".") if node.module else ()))
            found |= {".".join((*target, name.name)) if len(target) == 1 else ".".join(target) for name in node.names}
    return found


def test_every_room_imports_from_above_only():
    """From the models at the top to the command line at the bottom no arrow runs back up, nor sideways within a line."""
    back = []
    for path in sorted(PACKAGE.rglob("*.py")):
        if path.parts[-2:] == ("casting_econ", "__init__.py") or "_kit" in path.parts:
            continue
        here = room_of("casting_econ." + ".".join(path.relative_to(PACKAGE).with_suffix("").parts))
        for module in imports(path):
            there = room_of(module)
            if there != here and FLOOR[there] >= FLOOR[here]:
                back.append(f"{path.relative_to(PACKAGE)} imports {module}")
    assert not back


def test_every_room_is_in_the_house():
    """No room of the package is missing from the list, and none in the list is gone."""
    there = {path.stem for path in PACKAGE.iterdir() if path.suffix == ".py" or (path / "__init__.py").is_file()}
    assert there - {"__init__", "_kit"} == set(FLOOR)


def test_what_developers_are_told_to_look_for_is_there():
    """Every `file.py: name` of DEVELOPERS.md is defined in that file, and every file named there is one."""
    text = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(r"`((?:\w+/)?\w+\.py): ?(\w+)?`", text)
    assert len(named) > 20
    for place, name in named:
        code = (PACKAGE / place).read_text(encoding="utf-8")
        assert not name or re.search(rf"(def|class) {name}\b|^{name} ?[:=]", code, re.MULTILINE), f"{place}: {name}"


def test_nobody_takes_what_is_private_to_another_module():
    """No module imports, or asks another module for, a name that begins with an underscore."""
    taken = []
    for path in sorted(PACKAGE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        ours = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.level]
        modules = {alias.asname or alias.name for node in ours for alias in node.names}
        names = [alias.name for node in ours for alias in node.names]
        names += [
            node.attr
            for node in ast.walk(tree)
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in modules
        ]
        taken += [f"{path.name}: {name}" for name in names if name.startswith("_") and not name.startswith("__")]
    assert not taken
