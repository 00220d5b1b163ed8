"""A need file read whole: every defect at once and in place, or a `Need` with all that was assumed and left out."""

from __future__ import annotations

import re
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chain.errors import quoted
from chain.files.whole_file import check_top, parse_whole, source_of
from chain.selection.need import Need, Offer
from chain.units import is_return_loss

if TYPE_CHECKING:
    from chain.files.tables import Diagnostics
    from chain.selection.need_rows import Rules
    from chain.selection.need_schema import NeedModel
    from chain.setups import Near
    from library.parts import Library

POINTS = 21
MOST_ITEMS = 4
MOST_REMARKS = 20
KEYS = ("title", "library", "offers", "need", "have", "offer")
NEEDED = {"need": "add [need] with near, far, start, stop and limit"}


def load_need(source: str | PathLike[str], library: Library | None = None) -> Need:
    """Read a need file.

    Parameters
    ----------
    source : path of the file; `-` reads standard input.
    library : parts to choose from; the built-in library, with what the file adds, if left out.

    Returns
    -------
    Need, figures of parts resolved.

    Raises
    ------
    InputError : the file, or a table of offers that it names, is at fault; `defects` hold every defect.

    Examples
    --------
    >>> from chain import load_need
    >>> need = load_need("demo/need.toml")
    >>> need.currency, need.limit_vswr, need.most_items
    ('EUR', 2.0, 4)

    Source
    ------
    Keys and defaults: `chain schema need`.
    """
    return parse_need(*source_of(fspath(source)), library)


def parse_need(raw: bytes, path: str = "need", folder: Path | None = None, library: Library | None = None) -> Need:
    """Read a need from the bytes of its file."""

    def read(document: dict[str, Any], text: str, into: Diagnostics) -> Need | None:
        return _read(document, text, path, into, library is None)

    return parse_whole(raw, path, folder, library, read)[0]


def _read(document: dict[str, Any], text: str, path: str, into: Diagnostics, own_library: bool) -> Need | None:
    from chain.files.tables import read_table
    from chain.selection.need_parts import read_new_parts
    from chain.selection.need_rows import Rules, read_rows_of
    from chain.selection.need_schema import NeedModel
    from library.files.rows import PART_KINDS

    check_top(document, (*KEYS, *PART_KINDS), NEEDED, into, "the need file")
    read_new_parts(document, path, into, own_library)
    rules = Rules()
    raw = document.get("need")
    model = read_table(NeedModel, raw, ("need",), into) if raw is not None else NeedModel()
    if model.lead_length:
        rules.lead_length = f"{model.lead_length!r} m"
    if model.budget:
        rules.currency, rules.first_price = model.budget.currency, "the budget"
    offers: list[Offer] = []
    for key in ("have", "offer"):
        if key in document:
            offers += read_rows_of(key, document[key], _places(text, path, key, document[key]), into, rules)
    offers += _tables(document.get("offers", []), into, rules)
    if isinstance(raw, dict):
        _settle(model, into, rules)
    if into.defects or into.elsewhere or not isinstance(raw, dict):
        return None
    if not offers:
        into.defect(
            ("need",), "nothing is owned and nothing is on offer", "add [[have]], [[offer]] or offers", "header"
        )
        return None
    return _need(model, document, tuple(offers), path, into, rules)


def _places(text: str, path: str, key: str, rows: object) -> list[str]:
    """File and line of each row of a list of tables."""
    count = len(rows) if isinstance(rows, list) else 0
    lines = [at for at, line in enumerate(text.split("\n"), 1) if re.match(rf"\s*\[\[\s*{key}\s*\]\]", line)]
    return [f"{path}:{line}" for line in lines] if len(lines) == count else [path] * count


def _tables(raw: object, into: Diagnostics, rules: Rules) -> list[Offer]:
    from chain.selection.offers import read_offers

    names = [raw] if isinstance(raw, str) else raw
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        into.defect(("offers",), "the name of a table of offers is needed here", 'write offers = "shop.csv"')
        return []
    found: list[Offer] = []
    for number, name in enumerate(names):
        where = ("offers",) if isinstance(raw, str) else ("offers", number)
        try:
            there = (into.folder / name).is_file()
        except (OSError, ValueError):
            there = False
        if there:
            found += read_offers(name, into.folder, into, rules)
        else:
            into.defect(where, f"there is no file {quoted(name)}", "the path starts at the need file")
    return found


def _settle(model: NeedModel, into: Diagnostics, rules: Rules) -> None:
    """Take down what models cannot tell: words of a list, an order, one currency."""
    from chain.files.toml import closest
    from chain.selection.need_schema import DIRECT, PLANES

    for number, plane in enumerate(model.planes or ()):
        if plane not in PLANES:
            into.defect(("need", "planes", number), f"{quoted(plane)} is no plane", closest(plane, PLANES))
    _reachable(model, into)
    if model.planes == []:
        into.defect(("need", "planes"), "no plane is allowed", f"one or more of: {', '.join(PLANES)}")
    if model.dc is not None and model.dc not in DIRECT:
        into.defect(("need", "dc"), f"{quoted(model.dc)} says nothing of DC", closest(model.dc, DIRECT))
    if model.start is not None and model.stop is not None and model.stop < model.start:
        into.defect(("need", "stop"), "stop lies below start", "swap the two")
    if model.limit is not None and not 1 < model.limit < 1e6:
        into.defect(("need", "limit"), "no chain can measure that limit", 'write it as in "VSWR 2.0"')
    if model.budget and model.budget.per_metre:
        into.defect(("need", "budget"), "a budget is not per metre", 'write it as in "40 EUR"')


def _reachable(model: NeedModel, into: Diagnostics) -> None:
    """See that the planes allowed are those that the analyzer is stated to calibrate at."""
    from chain.files.toml import closest
    from chain.selection.need_schema import PLANES

    within = model.calibrates_at
    shows = _spoken(model).shows or "complex"
    for number, plane in enumerate(within or ()):
        if plane not in PLANES:
            into.defect(("need", "calibrates_at", number), f"{quoted(plane)} is no plane", closest(plane, PLANES))
    for number, plane in enumerate(model.planes or ()):
        if within and plane in PLANES and plane not in within:
            what = f"{quoted(plane)} is not a plane that this analyzer calibrates at"
            into.defect(("need", "planes", number), what, f"calibrates_at names {', '.join(map(quoted, within))}")
        if not within and shows != "complex" and plane in PLANES and plane != "near":
            what = f"an analyzer that shows {shows} alone calibrates at its own port, not {quoted(plane)}"
            listed = ", ".join(f'"{each}"' for each in model.planes or ())
            remedy = f"leave planes out; if yours does calibrate there, add calibrates_at = [{listed}]"
            into.defect(("need", "planes", number), what, remedy)
    if model.phase is not None and model.shows is not None and model.phase != (model.shows == "complex"):
        into.defect(("need", "phase"), "phase contradicts shows", "leave phase out", "key")


def _need(
    model: NeedModel, document: dict[str, Any], offers: tuple[Offer, ...], path: str, into: Diagnostics, rules: Rules
) -> Need:
    from chain.files.sections import analyzer_of
    from chain.setups import Calibration, Far, Sweep, with_typical_standards

    assert model.near is not None, "what is required was seen to"
    assert model.far is not None
    assert model.start is not None
    assert model.stop is not None
    _say(model, into, rules)
    near = analyzer_of(_spoken(model), model.near, model.near_impedance or 50.0, into, "need")
    standards = with_typical_standards(
        Calibration(load_db=model.load, ideal=near.ideal), near, into.parts, () if model.load is None else ("load",)
    )
    if model.load is None and not near.ideal:
        into.assumed.append(f"need: load {standards.load_db:g} dB (typical with a {near.analyzer} analyzer)")
    return Need(
        document.get("title") or Path(path).stem,
        near,
        Far(
            model.far,
            model.far_impedance or 75.0,
            model.limit,
            limit_in_db=is_return_loss(document["need"].get("limit")),
        ),
        Sweep(model.start, model.stop, POINTS if model.stop > model.start else 1),
        offers,
        model.most_items or MOST_ITEMS,
        model.budget.hundredths if model.budget else None,
        rules.currency,
        tuple(dict.fromkeys(model.planes or _planes(near))),
        model.dc or "",
        bool(model.lead),
        standards,
        model.load is not None,
        tuple(into.assumed),
        tuple(dict.fromkeys([*into.warnings, *_few(rules.remarks)])),
        path,
        into.parts,
    )


def _spoken(model: NeedModel) -> NeedModel:
    """The need with `phase`, an older word, stated as `shows`."""
    if model.phase is None:
        return model
    return type(model)(**{**vars(model), "shows": "complex" if model.phase else "vswr"})


def _planes(near: Near) -> tuple[str, ...]:
    from chain.selection.need_schema import PLANES

    return tuple(plane for plane in PLANES if near.calibrates(plane))


def _few(remarks: list[str]) -> list[str]:
    more = len(remarks) - MOST_REMARKS
    if more <= 0:
        return remarks
    return [*remarks[:MOST_REMARKS], f"{more} more remarks of this kind, from {remarks[MOST_REMARKS]}"]


def _say(model: NeedModel, into: Diagnostics, rules: Rules) -> None:
    assumed = into.assumed
    if model.near_impedance is None:
        assumed.append("need: near_impedance 50 ohm (default)")
    if model.far_impedance is None:
        assumed.append("need: far_impedance 75 ohm (default)")
    if model.most_items is None:
        assumed.append(f"need: most_items {MOST_ITEMS} (default)")
    if rules.lengths_assumed:
        assumed.append(f"need: leads without a length of their own are cut to {rules.lead_length} (lead_length)")
    if rules.stock_assumed:
        assumed.append("offers without stock: as many as are wanted")
    assumed.append("parts: the library's figures, but for those stated with an offer")
