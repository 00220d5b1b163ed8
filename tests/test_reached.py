"""Nothing exists that neither a command nor a public name reaches: closure over names and imports, tests left out."""

import ast
import re
from functools import cache

from rooms import NAMES, statements, tree

import chain
from chain.cli.main import COMMANDS

ROOTS = {
    *((f"chain.cli.{name}", "command") for section in COMMANDS.values() for name in section),
    *((home.partition(":")[0], home.partition(":")[2] or name) for name, home in chain._HOMES.items()),
    ("chain.cli.main", "main"),
    ("chain", "__getattr__"),
    ("chain", "__dir__"),
}
CALLED_BY_NAME = {
    "render": ("chain.setup_report.", "chain.antenna_report.", "chain.outlet_report."),
    "describe": ("chain.plots.",),
}
"""What a room's modules all define; the module is asked for, its function follows."""


def top_level(body):
    """Statements of a module, those under an `if` or `try` too."""
    for node in body:
        if isinstance(node, (ast.If, ast.Try)):
            inner = [*node.body, *node.orelse, *(each for one in getattr(node, "handlers", ()) for each in one.body)]
            yield from top_level(inner)
        else:
            yield node


def defined(node):
    """Names that a statement of a module defines."""
    if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
        return [node.name]
    targets = node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
    return [each.id for target in targets for each in ast.walk(target) if isinstance(each, ast.Name)]


@cache
def definitions(module):
    """Definitions of a module by name, and its other statements, which run when it is imported."""
    named, rest = {}, []
    for node in top_level(tree(NAMES[module]).body):
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            continue
        names = [name for name in defined(node) if name != "__all__"]
        for name in names:
            named.setdefault(name, []).append(node)
        if not names and not (isinstance(node, ast.Assign) and "__all__" in defined(node)):
            rest.append(node)
    return named, rest


def registers(node, own):
    """Whether a definition hangs itself on another of its module, as a subcommand on its group."""
    decorators = [each.func if isinstance(each, ast.Call) else each for each in getattr(node, "decorator_list", ())]
    return any(isinstance(each, ast.Attribute) and ast.unparse(each.value) in own for each in decorators)


@cache
def aliases(module):
    """What the imported names of a module stand for: (module, name), or (module, None) for a module itself."""
    found = {}
    for node in statements(tree(NAMES[module]), lazy=True, typed=True):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] in ("chain", "library"):
            for each in node.names:
                whole = f"{node.module}.{each.name}"
                found.setdefault(each.asname or each.name, set()).add(
                    (whole, None) if whole in NAMES else (node.module, each.name)
                )
        elif isinstance(node, ast.Import):
            for each in node.names:
                if each.asname and each.name in NAMES:
                    found.setdefault(each.asname, set()).add((each.name, None))
    return found


def uses(module, node):
    """Definitions that a piece of a module's code names."""
    own, known = definitions(module)[0], aliases(module)
    for each in ast.walk(node):
        if isinstance(each, ast.Name):
            if each.id in own:
                yield module, each.id
            yield from (target for target in known.get(each.id, ()))
        elif isinstance(each, ast.Attribute) and isinstance(each.value, ast.Name):
            yield from ((target, each.attr) for target, name in known.get(each.value.id, ()) if name is None)
        elif isinstance(each, ast.Constant) and isinstance(each.value, str):
            # Annotations in quotes, and names handed over as text.
            if each.value in own:
                yield module, each.value
            yield from known.get(each.value, ())


@cache
def reached():
    """Every definition that the roots lead to."""
    waiting, done, awake = list(ROOTS), set(), set()
    while waiting:
        module, name = waiting.pop()
        if module not in NAMES or (module, name) in done:
            continue
        done.add((module, name))
        named, rest = definitions(module)
        if module not in awake:
            awake.add(module)
            waiting += [found for node in rest for found in uses(module, node)]
            waiting += [
                (module, each) for each, nodes in named.items() if any(registers(node, named) for node in nodes)
            ]
            waiting += [
                (module, each) for each, home in CALLED_BY_NAME.items() if module.startswith(home) and each in named
            ]
        if name in named:
            waiting += [found for node in named[name] for found in uses(module, node)]
        elif name is not None:
            waiting += list(aliases(module).get(name, ()))
    return done


def test_every_definition_is_reached():
    """No function, class or constant of a module is there for tests alone."""
    every = {(module, name) for module in NAMES for name in definitions(module)[0]}
    idle = sorted(f"{module}.{name}" for module, name in every - reached() if not re.fullmatch(r"__\w+__|_HOMES", name))
    assert not idle, "reached by no command and no public name:\n" + "\n".join(idle)
