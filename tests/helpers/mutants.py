"""Plugin of a test run that meets mutants: each is put into a child of the process that has collected the tests.

A first child runs the unbroken tests and sees which functions of `chain` each enters: a mutant meets only those that enter its
function, the quickest and most particular first, up to the first that fails. What a fixture enters counts for every test that uses it,
what collecting enters for all.
A mutant takes the place of its function's code: neither what that function made while collecting nor a program that a test starts
changes, so a mutant may be called a survivor wrongly, and none noticed.
"""

import ast
import copy
import functools
import gc
import importlib
import json
import os
import resource
import sys
import threading
import time
from pathlib import Path
from types import CodeType, FunctionType

import pytest

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
SLACK_S, SLOWER = 30, 5
"""Processor time after which a mutant does not end: so much, and so many times what its tests take unbroken."""
ROOT = str(Path.cwd()) + os.sep
ALL = ""


def change(node: ast.AST) -> bool:
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
        if id(node) in inside and hasattr(node, "lineno") and change(copy.copy(node)):
            found.append((number, node.lineno))
    return found


def changed_tree(path: Path, number: int) -> tuple[ast.Module, str, str]:
    """A module with its node of that number changed, and the node's text before and after."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    node = list(ast.walk(tree))[number]
    before = ast.unparse(node)
    change(node)
    return ast.fix_missing_locations(tree), before, ast.unparse(node)


def _codes(code: CodeType) -> list[CodeType]:
    """A module's code with that of every function in it."""
    return [code, *(inner for each in code.co_consts if isinstance(each, CodeType) for inner in _codes(each))]


def _put(path: Path, number: int) -> None:
    """Give every function of a module its code with that node changed; what was remembered of earlier calls is forgotten."""
    # Whatever a test imports no sooner than it runs is imported now, or it would come unbroken.
    importlib.import_module(str(path)[len(ROOT) : -len(".py")].replace(os.sep, "."))
    module = compile(changed_tree(path, number)[0], str(path), "exec", dont_inherit=True)
    new = {(code.co_name, code.co_firstlineno): code for code in _codes(module) if not code.co_name.startswith("<")}
    for each in gc.get_objects():
        if isinstance(each, FunctionType) and each.__code__.co_filename == str(path):
            own = each.__code__
            each.__code__ = new.get((own.co_name, own.co_firstlineno), own)
        elif isinstance(each, functools._lru_cache_wrapper):
            each.cache_clear()


_current: set[CodeType] = set()
_of: dict[str, set[CodeType]] = {ALL: _current}
_of_fixture: dict[int, set[CodeType]] = {}
_seconds: dict[str, float] = {}


def _call(frame, event, arg):
    if event == "call" and frame.f_code.co_filename.startswith(ROOT + "chain" + os.sep):
        _current.add(frame.f_code)


def _into(found):
    global _current
    _current = found


def _watch(function):
    threading.settrace(function)
    sys.settrace(function)


def pytest_configure():
    """Watch from before the first test is collected."""
    _watch(_call)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item, nextitem):
    """Gather what one test enters, its fixtures included."""
    before, start = _current, time.process_time()
    _of[item.nodeid] = found = set()
    _into(found)
    done = yield
    for fixtures in getattr(getattr(item, "_fixtureinfo", None), "name2fixturedefs", {}).values():
        for each in fixtures:
            found |= _of_fixture.get(id(each), set())
    _seconds[item.nodeid] = time.process_time() - start
    _into(before)
    return done


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(fixturedef, request):
    """Gather what a fixture enters, which may serve later tests as well."""
    before = _current
    found = _of_fixture.setdefault(id(fixturedef), set())
    _into(found)
    done = yield
    before |= found
    _into(before)
    return done


def _failing(session, items) -> bool:
    """Run tests up to the first that fails, and say whether one did."""
    for item, following in zip(items, [*items[1:], None], strict=True):
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        if session.testsfailed:
            return True
    return False


def _in_child(work, longest_s: float | None = None) -> bool:
    """Whether a child of this process that does the work ends well, within so much processor time."""
    child = os.fork()
    if not child:
        failed = True
        try:
            if longest_s is not None:
                resource.setrlimit(resource.RLIMIT_CPU, (int(longest_s), int(longest_s) + 1))
            failed = bool(work())
        finally:
            os._exit(failed)
    return os.waitpid(child, 0)[1] == 0


def _trace(session, kept: Path, to: int) -> bool:
    """Run all tests, and keep functions and seconds of processor time for each; or answer by the one that fails."""
    _watch(_call)
    failed = _failing(session, session.items)
    _watch(None)
    if failed:
        os.write(to, json.dumps(["", list(_of)[-1]]).encode() + b"\n")
        return True
    found = {
        test: [
            _seconds.get(test, 0.0),
            sorted({(code.co_filename[len(ROOT) :], code.co_firstlineno) for code in codes}),
        ]
        for test, codes in _of.items()
    }
    kept.write_text(json.dumps(found), encoding="utf-8")
    return False


def _meeting(session, path: Path, line: int, entered) -> tuple[list, float]:
    """Tests that enter the function of a line, in order, with their processor time together [s]."""
    own = str(path)[len(ROOT) :]
    holding = {
        (own, min([node.lineno, *(each.lineno for each in node.decorator_list)]))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and node.lineno <= line <= (node.end_lineno or line)
    }
    functions = {test: {tuple(each) for each in found} for test, (_, found) in entered.items()}
    always = holding & functions[ALL]
    tests = [item for item in session.items if always or holding & functions[item.nodeid]]

    def costs(item) -> float:
        return max(entered[item.nodeid][0], 0.03) * (20 + len(functions[item.nodeid]))

    return sorted(tests, key=costs), sum(entered[item.nodeid][0] for item in tests)


@pytest.hookimpl(tryfirst=True)
def pytest_runtestloop(session):
    """Meet the mutants that MUTANTS asks for, and answer each by a line to its descriptor."""
    _watch(None)
    asked = json.loads(os.environ["MUTANTS"])
    kept = Path(asked["kept"])
    if session.testsfailed or (not kept.exists() and not _in_child(lambda: _trace(session, kept, asked["to"]))):
        pytest.exit("the unbroken tree fails its tests", returncode=1)
    entered = json.loads(kept.read_text(encoding="utf-8"))
    for place, path, line, number in asked["mutants"]:
        tests, seconds = _meeting(session, Path(path), line, entered)

        def broken(path=path, number=number, tests=tests) -> bool:
            _put(Path(path), number)
            return _failing(session, tests)

        noticed = bool(tests) and not _in_child(broken, SLACK_S + SLOWER * seconds)
        os.write(asked["to"], json.dumps([place, noticed]).encode() + b"\n")
    return True
