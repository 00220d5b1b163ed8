"""Which way imports run, how long files and functions are, and that every public function is documented."""

import ast
import re
from collections import Counter

import pytest
import rooms
from rooms import NAMES, ROOMS, ROOT, RULES, imported, module_name, room_of, tree

import chain

HEAVY = {name: set(homes) for name, homes in RULES["heavy"].items()}
LONGEST_FILE, LONGEST_BODY = RULES["longest"]["file"], RULES["longest"]["body"]
FOLDERS = RULES["folders"]

FRONT = {"chain", "chain.__main__"}
"""The package's own front, which names the public functions of every room (each imported when first asked for)."""


def test_the_table_lists_the_folders_that_there_are():
    """Rooms are folders: none without rules, no rule without a folder, and none deeper than one."""
    assert {room_of(name) for name in NAMES} == set(ROOMS)
    assert all(name.count(".") <= 2 for name in NAMES)


def test_rooms_are_neither_crowded_nor_nearly_empty():
    """At most 10 modules directly in `chain`, 4 to 19 in a folder; only `cli` has more, one for each command."""
    count = Counter(path.parent.relative_to(ROOT).as_posix() for path in NAMES.values() if path.stem != "__init__")
    assert count["chain"] <= 10
    for folder, number in count.items():
        assert folder in ("chain", "chain/cli") or 4 <= number <= 19, f"{folder}: {number} modules"


def test_tests_live_in_the_same_folders():
    """Every folder of tests is a room's, or one of the four that serve all."""
    folders = {path.parent.name for path in (ROOT / "tests").rglob("*.py") if path.parent != ROOT / "tests"}
    assert folders <= {*ROOMS, "benchmarks", "helpers", "published"}


@pytest.mark.parametrize("room", [room for room in ROOMS if room not in ("top", "library")])
def test_a_room_names_what_others_may_take(room):
    """Other rooms import the modules that its `__init__` names and no others; it names none that nobody takes."""
    path = ROOT / "chain" / room / "__init__.py"
    assert path.read_text(encoding="utf-8") == rooms.fronts()[path], "run 'python tests/rooms.py'"


@pytest.mark.parametrize("name", NAMES)
def test_imports_run_one_way(name):
    """A module imports its own room and the rooms that the table allows, nothing else of the project."""
    room = room_of(name)
    for other in () if name in FRONT else imported(NAMES[name]):
        if other.split(".")[0] in ("chain", "library"):
            target = room_of(other)
            assert target == room or target in ROOMS[room], f"{name} ({room}) imports {other} ({target})"


def test_no_import_cycle():
    """No way leads from a module back to itself; imports inside functions count too."""
    graph = {
        name: {each for each in imported(path) if each in NAMES} for name, path in NAMES.items() if name not in FRONT
    }
    done = set()

    def visit(name, trail):
        assert name not in trail, f"cycle: {' > '.join([*trail, name])}"
        if name not in done:
            for other in graph.get(name, ()):
                visit(other, [*trail, name])
            done.add(name)

    for name in graph:
        visit(name, [])


@pytest.mark.parametrize("name", NAMES)
def test_heavy_libraries_stay_in_their_modules(name):
    """A light command stays light: few modules may import what is slow to import."""
    for other in imported(NAMES[name]):
        top = other.split(".")[0]
        if top in HEAVY and not name.startswith("library."):
            homes = HEAVY[top]
            assert any(name == home or name.startswith(f"{home}.") for home in homes), f"{name} imports {other}"


@pytest.mark.parametrize("name", NAMES)
def test_files_and_functions_are_short(name):
    """No file and no function body (its docstring not counted) over the alarms of the table."""
    path = NAMES[name]
    assert len(path.read_text(encoding="utf-8").splitlines()) < LONGEST_FILE
    for node in ast.walk(tree(path)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            body = node.body[1:] if ast.get_docstring(node) else node.body
            lines = body[-1].end_lineno - body[0].lineno + 1 if body else 0
            assert lines < LONGEST_BODY, f"{name}.{node.name}: {lines} lines"


@pytest.mark.parametrize("path", sorted((ROOT / "tests").rglob("*.py")), ids=lambda path: path.stem)
def test_files_of_tests_are_short_too(path):
    """The same cap."""
    assert len(path.read_text(encoding="utf-8").splitlines()) < LONGEST_FILE


def public_functions(path):
    """Functions of a file that can be had from `chain` itself: the tool's surface."""
    homes = [(name, *home.partition(":")[::2]) for name, home in chain._HOMES.items()]
    public = {other or name for name, home, other in homes if home == module_name(path)}
    return [node for node in tree(path).body if isinstance(node, ast.FunctionDef) and node.name in public]


def arguments(node):
    """Arguments of a function in the order of its signature."""
    every = node.args
    stars = [each for each in (every.vararg, every.kwarg) if each]
    return [*every.posonlyargs, *every.args, *stars[:1], *every.kwonlyargs, *stars[1:]]


def section(text, title):
    """Lines of one section of a docstring, up to the next blank line."""
    found = re.search(rf"\n{title}\n-{{{len(title)}}}\n(.*?)(?=\n\n|\Z)", text, flags=re.DOTALL)
    return found[1] if found else ""


def entries(text):
    """Entries of the section Parameters: the names reported, and the text of each."""
    reported = [re.match(r"(\w+(?:, \w+)*) : ", each) for each in re.split(r"\n(?=\w)", section(text, "Parameters"))]
    return {name: each.string for each in reported if each for name in each[1].split(", ")}


def has_figures(annotation):
    """Whether an annotation is that of an array of figures, which have a unit."""
    text = "" if annotation is None else ast.unparse(annotation)
    return not text.startswith("Callable") and re.search(r"\b(Real|Complex|ArrayLike)\b", text)


def raises_itself(node):
    """Whether a function raises in its own body, not in a function inside it."""
    inner = [each for each in ast.walk(node) if isinstance(each, (ast.FunctionDef, ast.Lambda)) and each is not node]
    hidden = {id(each) for function in inner for each in ast.walk(function)}
    return any(isinstance(each, ast.Raise) and each.exc and id(each) not in hidden for each in ast.walk(node))


@pytest.mark.parametrize("name", sorted(set(rooms.homes().values())))
def test_public_functions_are_documented(name):
    """Every public function says what it takes and gives, with units, errors, an example and a source.

    The names reported are those of the signature, in its order; arrays of figures have their unit in brackets (`[-]` for a
    ratio), or say that they have any.
    """
    for node in public_functions(NAMES[name]):
        text = ast.get_docstring(node) or ""
        assert text, f"{name}.{node.name}: no docstring"
        takes = [each.arg for each in arguments(node)]
        gives = node.returns is not None and ast.unparse(node.returns) not in ("None", "NoReturn")
        wanted = {
            "Examples": True,
            "Source": True,
            "Parameters": takes,
            "Returns": gives,
            "Raises": raises_itself(node),
        }
        for title, needed in wanted.items():
            assert section(text, title) or not needed, f"{name}.{node.name}: no section {title}"
        reported = entries(text)
        assert list(reported) == takes, f"{name}.{node.name}: takes {takes}, tells {list(reported)}"
        figures = {each.arg: reported[each.arg] for each in arguments(node) if has_figures(each.annotation)}
        if has_figures(node.returns):
            figures["what it returns"] = section(text, "Returns")
        figures.pop("out", None)
        for what, entry in figures.items():
            assert "[" in entry or "unit" in entry, f"{name}.{node.name}: no unit for {what}"


@pytest.mark.parametrize(
    "path",
    [path for folder in FOLDERS for path in sorted((ROOT / "chain" / folder).glob("*.py"))],
    ids=lambda p: p.stem,
)
def test_folders_hold_siblings_of_one_signature(path):
    """A folder is there for siblings: each defines the same thing, in the same way."""
    rule = FOLDERS[path.parent.name]
    if path.stem in {"__init__", *rule["served_by"]}:
        return
    defined, first = rule["defines"], rule["arguments"]
    found = [node for node in tree(path).body if isinstance(node, ast.FunctionDef) and node.name == defined]
    assert len(found) == 1, f"{path}: no function {defined}"
    assert [each.arg for each in found[0].args.args][: len(first)] == first


def test_nothing_is_written_in_tests_that_would_shadow_a_package():
    """No `__init__.py` below tests: it would hide the real `library`."""
    assert not list((ROOT / "tests").rglob("__init__.py"))
