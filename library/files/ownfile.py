"""A user's own part files: read, validated whole, and every defect reported with its place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from library.errors import Defect, LibraryError, near_names
from library.files.expand import adapter_rows, termination_rows
from library.files.rows import PART_KINDS
from library.files.schema import PartFile
from library.files.store import read_plain, tomllib

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

    from library.parts import Library

Row = dict[str, Any]

MOST_BYTES = 1_000_000
MOST_LEVELS = 50
CONNECTOR_KEYS = ("near", "far", "connector")
LEAST_WORDS = 2
NUMBERS = ("float_type", "int_type")


def read_rows(path: str | PathLike[str], families: tuple[Row, ...] = ()) -> dict[str, list[Row]]:
    """Read a part file of the user's own."""
    name = str(path)
    document = _parsed(_text(Path(path)), name)
    found = (*defects_of(document), *_cross_checks(document, families))
    if found:
        reported = "; ".join(f"{'.'.join(map(str, where))}: {what}" for where, what in found)
        raise LibraryError(f"{name}: {reported}", defects=found, source=name)
    rows: dict[str, list[Row]] = {kind: each for kind, each in document.items() if isinstance(each, list)}
    if "adapter" in rows or "adapter_set" in rows:
        rows["adapter"] = list(adapter_rows(rows).values())
    if "termination" in rows or "termination_set" in rows:
        rows["termination"] = list(termination_rows(rows).values())
    for kind in PART_KINDS:
        rows[kind] = [{"source": Path(path).name} | row for row in rows.get(kind, ())]
    return rows


def _text(path: Path) -> str:
    try:
        raw = read_plain(path, MOST_BYTES)
        if len(raw) > MOST_BYTES:
            raise LibraryError(f"{path}: larger than {MOST_BYTES / 1e6:g} MB", source=str(path))
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise LibraryError(f"{path}: not UTF-8 at byte {error.start}", source=str(path)) from None
    except (OSError, ValueError) as error:
        if isinstance(error, LibraryError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        raise LibraryError(f"{path}: cannot be read: {reason}", source=str(path)) from None


def _parsed(text: str, name: str) -> Row:
    # Brackets inside strings count too: no part file comes near fifty of either sort open at once.
    level = deepest = 0
    for sign in text:
        level = max(0, level + (sign in "[{") - (sign in "]}"))
        deepest = max(deepest, level)
    if deepest > MOST_LEVELS:
        raise LibraryError(f"{name}: nested over {MOST_LEVELS} levels deep", source=name)
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        message = str(error) if isinstance(error, tomllib.TOMLDecodeError) else "nested too deeply"
        raise LibraryError(f"{name}: {message}", defects=(((), message),), source=name) from None


def defects_of(document: Mapping[str, Any]) -> tuple[Defect, ...]:
    """Find the defects of shape in a parsed part file."""
    try:
        PartFile.model_validate(document)
    except ValidationError as error:
        details = error.errors(include_url=False)
        missing = {(*each["loc"][:-1],): str(each["loc"][-1]) for each in details if each["type"] == "missing"}
        return tuple(_reported(document, details, missing))
    return ()


def _reported(document: Mapping[str, Any], details: list[ErrorDetails], missing: dict[Any, str]) -> Iterator[Defect]:
    meant = {
        (*where, key): lacked
        for where, lacked in missing.items()
        for key in near_names(lacked, [str(d["loc"][-1]) for d in details if _unknown_at(d, where)], 1)
    }
    # A misspelt key is one defect, although it is one key too many and one too few.
    excused = {(*where[:-1], lacked) for where, lacked in meant.items()}
    for each in details:
        where = each["loc"]
        if each["type"] == "missing" and where in excused:
            continue
        if each["type"] == "extra_forbidden":
            yield where, _unknown_key(where, meant.get(where))
        else:
            yield where, _sentence(each)


def _unknown_at(detail: ErrorDetails, where: Any) -> bool:
    return detail["type"] == "extra_forbidden" and detail["loc"][:-1] == where


def _unknown_key(where: tuple[int | str, ...], meant: str | None) -> str:
    model: Any = PartFile
    for step in where[:-1]:
        if isinstance(step, str):
            model = _model_in(model.model_fields[step].annotation) or model
    near = (meant,) if meant else near_names(str(where[-1]), model.model_fields, 1)
    if near and model is not PartFile:
        return f"unknown key; did you mean '{near[0]}'?"
    return f"unknown key; there are {', '.join(model.model_fields)}"


def _model_in(annotation: Any) -> Any:
    if hasattr(annotation, "model_fields"):
        return annotation
    return next((found for each in getattr(annotation, "__args__", ()) if (found := _model_in(each))), None)


def _sentence(detail: ErrorDetails) -> str:
    kind, given = detail["type"], detail["input"]
    if kind == "missing":
        return f"'{detail['loc'][-1]}' is missing"
    if kind in NUMBERS:
        return f"a bare number is needed, in the unit its key ends in (got {given!r})"
    if kind == "finite_number":
        return "a finite number is needed"
    if kind == "string_pattern_mismatch" and detail["loc"][-1] in CONNECTOR_KEYS:
        return f"'{given}' is no connector: a family and a gender are needed, such as 'BNC-75 jack'"
    if kind == "string_pattern_mismatch" and detail["loc"][-1] == "id":
        return f"'{given}': an id is made of letters, digits, '.', '_' and '-'"
    message = detail["msg"].removeprefix("Value error, ")
    return message[:1].lower() + message[1:]


def _cross_checks(document: Mapping[str, Any], families: tuple[Row, ...]) -> tuple[Defect, ...]:
    rows = list(_rows(document))
    return (*_connector_defects(document, rows, families), *_grade_defects(rows), *_double_ids(rows))


def _rows(document: Mapping[str, Any]) -> Iterator[tuple[str, int, Row]]:
    """Whatever looks like a row, the file's shape not being known to be sound."""
    for kind, rows in document.items():
        for at, row in enumerate(rows if isinstance(rows, list) else ()):
            if isinstance(row, dict):
                yield kind, at, row


def _texts(value: Any) -> Iterator[tuple[tuple[int, ...], str]]:
    if isinstance(value, str):
        yield (), value
    elif isinstance(value, list):
        yield from (((i,), each) for i, each in enumerate(value) if isinstance(each, str))


def _connector_defects(
    document: Mapping[str, Any], rows: list[tuple[str, int, Row]], families: tuple[Row, ...]
) -> Iterator[Defect]:
    from library.files.schema import ROWS
    from library.mating import exact_connector
    from library.parts import Library

    own = [row for kind, _, row in rows if kind == "family" and _sound(ROWS["family"], row)]
    library = Library({"family": [*own, *families]})
    for kind, at, row in rows:
        bare = kind == "adapter_set"
        if kind == "mating":
            yield from _rule_defects(at, row, library)
        for key in (*CONNECTOR_KEYS, "connectors", "families"):
            for where, text in _texts(row.get(key)):
                named = f"{text} plug" if bare or key == "families" else text
                if len(named.split()) < LEAST_WORDS:
                    continue  # its shape has been reported already
                try:
                    exact_connector(named, library)
                except LibraryError as error:
                    yield (kind, at, key, *where), str(error)


def _rule_defects(at: int, row: Row, library: Library) -> Iterator[Defect]:
    from library.mating import exact_connector

    for i, pair in enumerate(row["pairs"] if isinstance(row.get("pairs"), list) else ()):
        for (j, *_), text in _texts(pair) if isinstance(pair, list) else ():
            if len(text.split()) < LEAST_WORDS or text.startswith("* "):
                continue
            try:
                exact_connector(text.replace(" any", " plug", 1), library)
            except LibraryError as error:
                yield ("mating", at, "pairs", i, j), str(error)


def _sound(model: Any, row: Row) -> bool:
    try:
        model.model_validate(row)
    except ValidationError:
        return False
    return True


def _grade_defects(rows: list[tuple[str, int, Row]]) -> Iterator[Defect]:
    known = [row.get("id") for kind, _, row in rows if kind == "grade"]
    for kind, at, row in rows:
        for where, grade in _texts(row.get("grades")) if kind == "adapter_set" else ():
            if grade not in known:
                yield (kind, at, "grades", *where), f"no [[grade]] '{grade}' in this file"


def _double_ids(rows: list[tuple[str, int, Row]]) -> Iterator[Defect]:
    seen: set[str] = set()
    for kind, at, row in rows:
        name = row.get("id")
        if kind in PART_KINDS and isinstance(name, str):
            if name in seen:
                yield (kind, at, "id"), f"'{name}' is used twice"
            seen.add(name)
