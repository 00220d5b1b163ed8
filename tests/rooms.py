"""The rooms as the code has them: which module imports which, and what each room offers to the others.

`python tests/rooms.py` rewrites the `__init__.py` of every room: its sentence from tests/rooms.toml, and in `__all__` the
modules that other rooms take. After a merge that stops in such a file, run it and add the file.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
sys.path[:0] = [str(ROOT)] if __name__ == "__main__" else []

from library.files.store import tomllib  # noqa: E402

RULES = tomllib.loads((ROOT / "tests" / "rooms.toml").read_text(encoding="utf-8"))
ROOMS: dict[str, list[str]] = {name: room["may_import"] for name, room in RULES["rooms"].items()}
ROOT_PACKAGES = ("chain", "library")


@cache
def tree(path: Path) -> ast.Module:
    """Syntax tree of a file."""
    return ast.parse(path.read_text(encoding="utf-8"))


def module_name(path: Path) -> str:
    """Dotted name of a file of the project."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


NAMES = {module_name(path): path for package in ROOT_PACKAGES for path in sorted((ROOT / package).rglob("*.py"))}


@cache
def room_of(name: str) -> str:
    """Room of a module: its folder, or the top of `chain`."""
    parts = name.split(".")
    if parts[0] == "library":
        return "library"
    return parts[1] if len(parts) > 1 and (ROOT / "chain" / parts[1]).is_dir() else "top"


def _only_for_types(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"


def statements(node: ast.AST, lazy: bool, typed: bool = False) -> Iterator[ast.Import | ast.ImportFrom]:
    """Import statements of a module; those inside functions only with `lazy`, those for types alone only with `typed`."""
    for child in ast.iter_child_nodes(node):
        # No expression holds a statement.
        if (
            isinstance(child, ast.expr)
            or (not typed and _only_for_types(child))
            or (not lazy and isinstance(child, (ast.FunctionDef, ast.ClassDef)))
        ):
            continue
        if isinstance(child, (ast.Import, ast.ImportFrom)):
            yield child
        yield from statements(child, lazy, typed)


@cache
def imported(path: Path, lazy: bool = True) -> tuple[str, ...]:
    """Full names of the modules that a file imports."""
    return tuple(_imported(path, lazy))


def _imported(path: Path, lazy: bool) -> Iterator[str]:
    for node in statements(tree(path), lazy):
        if isinstance(node, ast.Import):
            yield from (each.name for each in node.names)
        else:
            assert not node.level, f"{path}: relative import"
            whole = [f"{node.module}.{each.name}" for each in node.names]
            yield from [name for name in whole if name in NAMES] or [str(node.module)]
    # By its name as text it is an import all the same.
    for node in ast.walk(tree(path)) if lazy and "import_module" in path.read_text(encoding="utf-8") else ():
        match node:
            case ast.Call(func=ast.Name("import_module"), args=[ast.Constant(str(name)), *_]):
                yield name


@cache
def homes() -> dict[str, str]:
    """Public names and the module of each, read from the text of `chain/__init__.py`."""
    for node in tree(ROOT / "chain" / "__init__.py").body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "_HOMES":
            found: dict[str, str] = ast.literal_eval(node.value)
            return {name: home.partition(":")[0] for name, home in found.items()}
    raise AssertionError("chain/__init__.py has no table of public names")


def offered(room: str) -> list[str]:
    """Modules of a room that other rooms or the package's own front take."""
    taken = {
        other
        for name, path in NAMES.items()
        if room_of(name) != room and not path.match("chain/*/__init__.py")
        for other in imported(path)
    }
    return sorted({name.split(".")[2] for name in taken | set(homes().values()) if name.startswith(f"chain.{room}.")})


def front(room: str) -> str:
    """Text of a room's `__init__.py`."""
    sentence = RULES["rooms"][room]["holds"]
    names = "".join(f'    "{name}",\n' for name in offered(room))
    return f'"""{sentence[0].upper()}{sentence[1:]}."""\n\n__all__ = [\n{names}]\n'


@cache
@cache
def fronts() -> dict[Path, str]:
    """Every `__init__.py` of a room, as it should be."""
    return {ROOT / "chain" / room / "__init__.py": front(room) for room in ROOMS if room not in ("top", "library")}


def main() -> None:
    """Write the front of every room that has changed."""
    for path, text in fronts().items():
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
            print(f"changed: {path.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
