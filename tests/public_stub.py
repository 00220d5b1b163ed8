"""Make `chain/__init__.pyi`: the public names with what each function takes in truth, for editors and type checkers.

Inside, a function is annotated with the record that it works on; `chain.calls.given` settles paths, texts, arrays and the like
before it is called. The stub says so: an annotation that has a taker there becomes the union of what that takes.
"""

from __future__ import annotations

import ast
import builtins
import inspect
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parent.parent
STUB = ROOT / "chain" / "__init__.pyi"
HEAD = '''"""The public names, made by tests/make_references.py from the functions and from what chain.calls takes for them."""

from collections.abc import Mapping, Sequence
from os import PathLike
from typing import Any, Protocol, TypeAlias

from numpy.typing import ArrayLike
'''
GIVEN = '''
class _Network(Protocol):
    """A scikit-rf Network of one port."""

    @property
    def s(self) -> Any: ...
    @property
    def z0(self) -> Any: ...
    @property
    def f(self) -> Any: ...

class _Table(Protocol):
    """A table with named columns, such as a DataFrame."""

    @property
    def columns(self) -> Any: ...
    def __getitem__(self, name: Any, /) -> Any: ...

_Path: TypeAlias = str | PathLike[str]
_Paths: TypeAlias = _Path | Sequence[_Path]
_Ratios: TypeAlias = float | str | Sequence[float | str] | ArrayLike
_Setup: TypeAlias = Setup | _Path
_Need: TypeAlias = Need | _Path
_Installation: TypeAlias = Installation | _Path
_Readings: TypeAlias = (
    Readings | _Path | Sequence[_Path] | tuple[ArrayLike, ArrayLike] | Mapping[str, ArrayLike] | _Network | _Table
)
'''
TAKES = {
    "Setup": "_Setup",
    "Readings": "_Readings",
    "Need": "_Need",
    "Installation": "_Installation",
    "str | PathLike[str]": "_Path",
    "Mapping[str, Sequence[str]]": "Mapping[str, _Paths]",
    "Sequence[str]": "_Paths",
    "Sequence[float]": "_Ratios",
}
"""What is taken for an annotation; the rest as it stands."""
WIDE = 120


def stub_text() -> str:
    """The whole stub."""
    import chain

    needed: dict[str, tuple[str, str]] = {}
    functions, names = [], []
    for name in chain.__all__[1:]:
        home, _, other = chain._HOMES[name].partition(":")
        found = getattr(chain, name)
        if inspect.isfunction(found):
            functions.append(_function(name, found, needed))
        else:
            names.append(f"from {home} import {other or name} as {name}")
    imports = sorted({f"from {module} import {own} as {name}" for name, (module, own) in needed.items()} - set(names))
    listed = "".join(f'    "{name}",\n' for name in chain.__all__)
    body = "\n".join(functions)
    return f"{HEAD}\n{chr(10).join(sorted([*imports, *names]))}\n{GIVEN}\n__version__: str\n__all__ = [\n{listed}]\n\n{body}\n"


def _function(name: str, found: Callable[..., Any], needed: dict[str, tuple[str, str]]) -> str:
    from chain.calls.given import PATHS, TAKEN

    inner = inspect.unwrap(found)
    parts, starred = [], False
    for each in inspect.signature(inner).parameters.values():
        kind = str(each.annotation)
        taken = kind in TAKEN or (kind == "str" and each.name in PATHS)
        if each.kind is each.KEYWORD_ONLY and not starred:
            parts.append("*")
        starred = starred or each.kind in (each.KEYWORD_ONLY, each.VAR_POSITIONAL)
        star = "*" if each.kind is each.VAR_POSITIONAL else ""
        words = _given(each.name, kind) if taken else kind
        _note(words, inner.__module__, needed)
        parts.append(f"{star}{each.name}: {words}{'' if each.default is each.empty else ' = ...'}")
    answer = str(inspect.signature(inner).return_annotation)
    _note(answer, inner.__module__, needed)
    line = f"def {name}({', '.join(parts)}) -> {answer}: ..."
    if len(line) <= WIDE:
        return line
    return "\n".join([f"def {name}(", *(f"    {part}," for part in parts), f") -> {answer}: ..."])


def _given(name: str, kind: str) -> str:
    base, _, rest = kind.partition(" | None")
    if base == "Chain | Setup":
        return "Chain | _Setup"
    if base == "str":
        return "_Path"
    return TAKES.get(base, base) + (" | None" if kind.endswith("| None") else rest)


def _note(words: str, module: str, needed: dict[str, tuple[str, str]]) -> None:
    """Where the names of an annotation come from, for the stub's imports."""
    for node in ast.walk(ast.parse(words, mode="eval")):
        if not isinstance(node, ast.Name) or node.id.startswith("_") or hasattr(builtins, node.id):
            continue
        if node.id in (
            "Mapping",
            "Sequence",
            "PathLike",
            "Any",
            "None",
            "str",
            "int",
            "float",
            "bool",
            "bytes",
            "tuple",
            "dict",
        ):
            continue
        origin = _origins(module)[node.id]
        assert needed.setdefault(node.id, origin) == origin, f"{node.id} means two things"


@cache
def _origins(module: str) -> dict[str, tuple[str, str]]:
    """Names of a module: what it imports, also for type checkers alone, and what it defines itself."""
    tree = ast.parse(Path(str(sys.modules[module].__file__)).read_text(encoding="utf-8"))
    found = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            found |= {each.asname or each.name: (str(node.module), each.name) for each in node.names}
    for node in tree.body:
        names = [node.name] if isinstance(node, (ast.ClassDef, ast.FunctionDef)) else []
        if isinstance(node, (ast.Assign, ast.AnnAssign)):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names = [each.id for each in targets if isinstance(each, ast.Name)]
        found |= {name: (module, name) for name in names}
    return found
