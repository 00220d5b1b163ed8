"""Tables of the data files written out: adapters and terminations by family, gender and grade, rasters by region."""

from __future__ import annotations

from typing import Any

from library.records import weakest

Row = dict[str, Any]

PLAIN_GRADE = "general"
ALWAYS_75 = ("F-75", "IEC-75")


def slug(family: str) -> str:
    """Family's part of an id: the plain name at 50 ohm and where there is one impedance only, else with the impedance."""
    if family in ALWAYS_75:
        family = family[:-3]
    return family.lower().removesuffix("-50").replace("-", "")


def _sentences(*texts: str) -> str:
    return " ".join(text for text in texts if text)


def end_ohm(family: str) -> float:
    """Impedance that a family's id ends in [ohm]."""
    last = family.rpartition("-")[2]
    return float(last) if "-" in family and last.isascii() and last.isdigit() else 0.0


def _ways(row: Row) -> list[tuple[str, str]]:
    if "genders" in row:
        return [(near, far) for near, far in row["genders"]]
    ways = [("plug", "plug"), ("plug", "jack"), ("jack", "jack")]
    return ways if row["near"] == row["far"] else [*ways[:2], ("jack", "plug"), ways[2]]


def adapter_rows(document: dict[str, Any]) -> dict[str, Row]:
    """Rows of single adapters from a file of grades, sets and single ones.

    Source: `library/data/adapters.toml`. A row's evidence is the weakest of its figures'.
    """
    grades = {grade["id"]: grade for grade in document.get("grade", ())}
    rows: dict[str, Row] = {}
    for each in document.get("adapter_set", ()):
        plain = PLAIN_GRADE if PLAIN_GRADE in each["grades"] else each.get("plain", each["grades"][0])
        for near, far in _ways(each):
            base = f"{slug(each['near'])}-{near}-{slug(each['far'])}-{far}"
            for name in each["grades"]:
                row = _adapter(each, grades[name], near, far)
                row["id"] = base if name == plain else f"{base}-{name}"
                rows[row["id"]] = row
    return rows | {row["id"]: row for row in document.get("adapter", ())}


def _adapter(each: Row, grade: Row, near: str, far: str) -> Row:
    low, high = each["length_mm"]
    near_ohm, far_ohm = end_ohm(each["near"]), end_ohm(each["far"])
    values = each if "evidence" in each else grade
    row: Row = {
        "name": f"{each['near']} {near} to {each['far']} {far}, {grade['id']} grade",
        "near": f"{each['near']} {near}",
        "far": f"{each['far']} {far}",
        "impedance_ohm": each.get("impedance_ohm", near_ohm or far_ohm),
        "near_ohm": near_ohm,
        "far_ohm": far_ohm,
        "electrical_length_mm": (low + high) / 2,
        "length_tolerance_mm": (high - low) / 2,
        "loss_at_1ghz_db": each.get("loss_at_1ghz_db", grade["loss_at_1ghz_db"]),
        "max_mhz": min(each["max_mhz"], grade["max_mhz"]),
        "grade": grade["id"],
        "evidence": weakest((values.get("evidence", "stated"), each["length_evidence"])),
        "evidence_of": {
            **dict.fromkeys(("impedance_ohm", "loss_at_1ghz_db", "reflection"), values.get("evidence", "stated")),
            **dict.fromkeys(("electrical_length_mm", "length_tolerance_mm"), each["length_evidence"]),
        },
        "source": f"{values.get('source', 'stated')}; length {each['length_evidence']}: {each['length_source']}",
        "note": _sentences(each.get("note", ""), grade.get("note", "") if values is grade else ""),
    }
    if not each.get("lossless_section"):
        row["reflection"] = each.get("reflection", grade["reflection"])
    return row


def termination_rows(document: dict[str, Any]) -> dict[str, Row]:
    """Rows of single terminations from a file of sets and single ones."""
    rows: dict[str, Row] = {}
    for each in document.get("termination_set", ()):
        shared = {key: value for key, value in each.items() if key not in ("families", "genders")}
        for family in each["families"]:
            for gender in each["genders"]:
                plain = each["grade"] == PLAIN_GRADE
                name = f"{each['type']}-{slug(family)}-{gender}" + ("" if plain else f"-{each['grade']}")
                rows[name] = shared | {
                    "id": name,
                    "name": f"{each['type']} with {family} {gender}, {each['grade']}",
                    "connector": f"{family} {gender}",
                    "impedance_ohm": end_ohm(family) if each["type"] == "load" else 0.0,
                }
    return rows | {row["id"]: row for row in document.get("termination", ())}


def raster_rows(rows: list[Row]) -> list[Row]:
    """Write out the countries that use a part of another region's raster as regions of their own."""
    written: list[Row] = []
    for row in rows:
        plain = {key: value for key, value in row.items() if key != "subsets"}
        written.append(plain)
        for region, text in row.get("subsets", {}).items():
            kept = {number for piece in text.split(",") for number in _numbers(piece)}
            omit = [number for number in range(row["first"], row["last"] + 1) if number not in kept]
            written.append(plain | {"id": f"{row['id']}-{region}", "region": region, "omit": omit})
    return written


def _numbers(piece: str) -> range:
    first, _, last = piece.partition("-")
    return range(int(first), int(last or first) + 1)
