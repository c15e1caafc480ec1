"""Docstrings of what is public: there is one, and it names every exception that is raised."""

import ast
from pathlib import Path

import casting_econ

PACKAGE = Path(casting_econ.__file__).parent
RAISED_BY = {"refusal": "StudyError"}  # makers of an exception


def public(node, prefix=""):
    """Functions, classes and their methods without an underscore before their name, with their full name."""
    for child in node.body:
        if isinstance(child, ast.FunctionDef | ast.ClassDef) and not child.name.startswith("_"):
            yield prefix + child.name, child
            if isinstance(child, ast.ClassDef):
                yield from public(child, f"{child.name}.")


def name_of(error):
    """Name of the exception that `raise` is given; None for one that was caught before."""
    made = error.func if isinstance(error, ast.Call) else error
    name = made.attr if isinstance(made, ast.Attribute) else getattr(made, "id", "")
    return RAISED_BY.get(name, name if name[:1].isupper() else None)


def raised(node, caught=()):
    """Exceptions that a function raises itself and does not catch."""
    if isinstance(node, ast.Raise):
        if (name := name_of(node.exc)) and name not in caught:
            yield name
    elif isinstance(node, ast.Try):
        names = {part.id for handler in node.handlers for part in ast.walk(handler.type) if isinstance(part, ast.Name)}
        for part in node.body:
            yield from raised(part, (*caught, *names))
        for part in (*node.handlers, *node.orelse, *node.finalbody):
            yield from raised(part, caught)
    else:
        for part in ast.iter_child_nodes(node):
            yield from raised(part, caught)


FOUND = [
    (f"{path.relative_to(PACKAGE).as_posix()}: {name}", node)
    for path in sorted(PACKAGE.rglob("*.py"))
    if "_kit" not in path.parts
    for name, node in public(ast.parse(path.read_text(encoding="utf-8")))
]


def test_what_is_public_has_a_docstring():
    """Every function, class and method that others may use says what it is."""
    assert len(FOUND) > 500
    assert not [name for name, node in FOUND if not ast.get_docstring(node)]


def test_what_a_function_raises_is_named():
    """Every exception that a public function raises itself stands in its docstring."""
    functions = [(name, node) for name, node in FOUND if isinstance(node, ast.FunctionDef)]
    assert sum(1 for _, node in functions for _ in raised(node)) > 50
    assert not [
        (name, error) for name, node in functions for error in raised(node) if error not in (ast.get_docstring(node) or "")
    ]
