"""Mutation run: break one place of the engine at a time and see whether the tests notice. `python tests/mutation.py --count 40`.

The sample is drawn from the seed over every place that can be changed in the rooms named below; the score and each survivor are printed.
A mutant is run against the tests of its own room first, then against those that use it.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
ROOMS = ("rf", "assembly", "uncertainty", "analyses", "diagnosis", "echoes", "characterize", "selection", "sweeps")
USERS = {
    "rf": ("assembly", "uncertainty", "published"),
    "assembly": ("uncertainty", "published", "analyses"),
    "uncertainty": ("analyses", "published"),
    "sweeps": ("analyses",),
}
"""Rooms whose tests a mutant meets after those of its own."""
SWAPS: dict[type, type] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.And: ast.Or,
    ast.Or: ast.And,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
CALLS = {
    "minimum": "maximum",
    "maximum": "minimum",
    "min": "max",
    "max": "min",
    "sin": "cos",
    "cos": "sin",
    "conj": "real",
    "any": "all",
}
LONGEST_S = 900


@dataclass(frozen=True)
class Mutant:
    """One change: the file, its line, and what stands there instead."""

    path: Path
    line: int
    before: str
    after: str
    source: str


def _changed(node: ast.AST) -> bool:
    """Change a node in place; False where it is none of the kinds that are changed."""
    match node:
        case ast.BinOp() | ast.BoolOp() if type(node.op) in SWAPS:
            node.op = SWAPS[type(node.op)]()
        case ast.Compare(ops=[op]) if type(op) in SWAPS:
            node.ops = [SWAPS[type(op)]()]
        case ast.UnaryOp(op=ast.USub() | ast.Not()):
            node.op = ast.UAdd() if isinstance(node.op, ast.USub) else ast.Not()
            if isinstance(node.op, ast.Not):
                node.operand = ast.UnaryOp(ast.Not(), node.operand)
        case ast.Constant(value=bool(value)):
            node.value = not value
        case ast.Constant(value=int(value) | float(value)):
            node.value = value * 2 if value else 1
        case ast.Attribute(attr=name) if name in CALLS:
            node.attr = CALLS[name]
        case ast.Name(id=name) if name in CALLS:
            node.id = CALLS[name]
        case _:
            return False
    return True


def places(path: Path) -> list[tuple[int, int]]:
    """Numbers of the nodes inside function bodies that can be changed, with their lines; no annotation, no text of an error."""
    found, tree = [], ast.parse(path.read_text(encoding="utf-8"))
    inside = set()
    for function in (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)):
        for statement in function.body:
            inside |= {id(node) for node in ast.walk(statement)}
    for raised in (node for node in ast.walk(tree) if isinstance(node, (ast.Raise, ast.JoinedStr))):
        inside -= {id(node) for node in ast.walk(raised)}
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in inside and hasattr(node, "lineno") and _changed(copy.copy(node)):
            found.append((number, node.lineno))
    return found


def mutant(path: Path, number: int) -> Mutant:
    """The file with its node of that number changed, written by `ast.unparse`."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    node = list(ast.walk(tree))[number]
    before = ast.unparse(node)
    _changed(node)
    return Mutant(path, node.lineno, before, ast.unparse(node), ast.unparse(ast.fix_missing_locations(tree)))  # type: ignore[attr-defined]


def sample(count: int, seed: int, rooms: tuple[str, ...]) -> list[Mutant]:
    """Mutants drawn evenly over all places."""
    every = [
        (path, number)
        for room in rooms
        for path in sorted((ROOT / "chain" / room).glob("*.py"))
        for number, _ in places(path)
    ]
    return [mutant(*each) for each in random.Random(seed).sample(every, count)]


def noticed(each: Mutant, copy_of: Path) -> bool:
    """Whether a test fails, or does not end, with the mutant in a copy of the tree."""
    path = copy_of / each.path.relative_to(ROOT)
    original, room = path.read_text(encoding="utf-8"), each.path.parent.name
    path.write_text(each.source, encoding="utf-8")
    try:
        for folder in (room, *USERS.get(room, ())):
            tests = copy_of / "tests" / folder
            if tests.is_dir() and _fails(copy_of, tests):
                return True
    finally:
        path.write_text(original, encoding="utf-8")
    return False


def _fails(copy_of: Path, tests: Path) -> bool:
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", str(tests)]
    try:
        done = subprocess.run(
            command,
            cwd=copy_of,
            capture_output=True,
            timeout=LONGEST_S,
            check=False,
            env={**os.environ, "PYTHONPATH": str(copy_of)},
        )
    except subprocess.TimeoutExpired:
        return True
    return done.returncode not in (0, 5)


def main() -> None:
    """Run the sample and print its score."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--count", type=int, default=40)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--room", action="append", choices=ROOMS)
    told = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        copy_of = Path(folder) / "tree"
        shutil.copytree(
            ROOT, copy_of, ignore=shutil.ignore_patterns(".git", ".venv*", ".ci-venv", "__pycache__", ".*_cache")
        )
        caught, every = 0, sample(told.count, told.seed, tuple(told.room or ROOMS))
        for index, each in enumerate(every, 1):
            seen = noticed(each, copy_of)
            caught += seen
            place = f"{each.path.relative_to(ROOT)}:{each.line}"
            print(
                f"{index}/{len(every)} {'caught  ' if seen else 'SURVIVES'} {place}: {each.before} -> {each.after}",
                flush=True,
            )
        print(f"caught {caught} of {len(every)} ({caught / len(every):.0%}), seed {told.seed}")


if __name__ == "__main__":
    main()
