"""Shape of the library's data files and of a user's part file, which are one and the same.

A part file is TOML. Each table below may stand in it any number of times, as `[[pad]]`, `[[coax]]` and so on; values are bare
numbers in the unit at the end of their key. A user's part goes before the built-in one of the same id. An
example of a whole file::

    [[pad]]
    id = "my-pad"
    near = "BNC-50 jack"
    far = "F-75 jack"
    near_ohm = 50
    far_ohm = 75
    loss_db = 5.8
    loss_tolerance_db = 0.3
    near_reflection = {return_loss_db = 24}
    far_reflection = {points_mhz_db = [[47, 26], [862, 21]]}
    source = "own sweep of last spring"
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from pydantic import Field, create_model, model_validator

from library.files.expand import end_ohm
from library.files.rows import PART_KINDS, PartField, fields_of
from library.files.schematypes import (
    Arm,
    Direct,
    Exact,
    Extra,
    Id,
    Loss,
    Mates,
    Name,
    NotNegative,
    Numbers,
    Percent,
    Piece,
    Positive,
    Reflection,
    Row,
    Sourced,
    Span,
    Standing,
    Text,
    Tolerance,
    Verdict,
    Way,
)

LINE_ARMS = ("line_ohm", "open_stub_ohm", "short_stub_ohm")
NETWORK_ARMS = ("series_inductor_nh", "series_capacitor_pf", "shunt_inductor_nh", "shunt_capacitor_pf", *LINE_ARMS)


class GradeRow(Sourced):
    """A class of quality that adapter sets refer to."""

    id: Id
    reflection: Reflection
    loss_at_1ghz_db: NotNegative
    max_mhz: Positive


class AdapterSetRow(Row):
    """Adapters between two families, in all ways of genders and several grades at once."""

    near: Text
    far: Text
    genders: Annotated[list[Way] | None, Field(description="Left out: every sensible way.")] = None
    grades: Annotated[list[Text], Field(min_length=1)]
    plain: Annotated[str, Field(description="Grade that goes by the plain id where 'general' is not among them.")] = ""
    max_mhz: Positive
    length_mm: Annotated[Span, Field(description="Least and greatest electrical length.")]
    length_evidence: Standing
    length_source: Text
    impedance_ohm: Positive | None = None
    reflection: Reflection | None = None
    loss_at_1ghz_db: NotNegative | None = None
    lossless_section: Annotated[bool, Field(description="A bare line, without a reflection limit.")] = False
    evidence: Standing | None = None
    source: str = ""
    note: str = ""

    @model_validator(mode="after")
    def _impedance_known(self) -> AdapterSetRow:
        if self.impedance_ohm is None and not any(end_ohm(family) for family in (self.near, self.far)):
            raise ValueError("impedance_ohm is needed, neither family's id ends in one")
        return self


class NetworkArmRow(Row):
    """One arm of a matching network: exactly one of the first seven keys, which says what it is."""

    series_inductor_nh: Annotated[Positive | None, Field(description="Coil in the way.")] = None
    series_capacitor_pf: Annotated[Positive | None, Field(description="Capacitor in the way.")] = None
    shunt_inductor_nh: Annotated[Positive | None, Field(description="Coil across the way.")] = None
    shunt_capacitor_pf: Annotated[Positive | None, Field(description="Capacitor across the way.")] = None
    line_ohm: Annotated[Positive | None, Field(description="Piece of line in the way: its impedance.")] = None
    open_stub_ohm: Annotated[Positive | None, Field(description="Piece of line across the way, its end open.")] = None
    short_stub_ohm: Annotated[Positive | None, Field(description="The same, its end shorted.")] = None
    tolerance_percent: Annotated[Percent, Field(description="Half-width of the value; of a line's length.")] = 0.0
    quality_factor: Annotated[NotNegative, Field(description="Of a coil or capacitor; 0: no loss.")] = 0.0
    length_mm: Annotated[Positive | None, Field(description="Length of a line.")] = None
    velocity_factor: Annotated[float, Field(gt=0, le=1, description="Of a line.")] = 1.0
    per_sqrt_mhz_db_per_100m: Annotated[NotNegative, Field(description="Attenuation of a line at 1 MHz.")] = 0.0
    per_mhz_db_per_100m: Annotated[NotNegative, Field(description="Attenuation that grows with f.")] = 0.0

    @model_validator(mode="after")
    def _one_thing(self) -> NetworkArmRow:
        reported = self.model_dump()
        if sum(reported[key] is not None for key in NETWORK_ARMS) != 1:
            raise ValueError(f"exactly one of {', '.join(NETWORK_ARMS)} is needed")
        if any(reported[key] is not None for key in LINE_ARMS) != (self.length_mm is not None):
            raise ValueError("length_mm is needed for a line, and for nothing else")
        return self


class MatingRow(Sourced):
    """A mating rule."""

    pairs: Annotated[list[Mates], Field(min_length=1, description="Connectors that meet, order without meaning.")]
    verdict: Verdict
    reason: Text


class RasterRow(Sourced):
    """A channel raster."""

    id: Id
    region: Annotated[Text, Field(description="Rasters a user picks together.")]
    service: str = ""
    band: str = ""
    first: Annotated[int, Field(ge=0, le=9999)] = 1
    last: Annotated[int, Field(ge=0, le=9999)] = 0
    a: Exact = "0"
    b: Exact = "0"
    c: Exact = "0"
    # Ellipsis: the lowest pydantic lets the default of the lines above into every later field of that type.
    width_mhz: Exact = Field(..., description="Width of a channel.")
    occupied_mhz: Annotated[Exact | None, Field(description="Bandwidth the signal fills.")] = None
    edge_c: Annotated[Exact | None, Field(description="Value of c for the edges, if another.")] = None
    omit: list[int] = Field(default_factory=list)
    extra: Annotated[list[Extra], Field(default_factory=list, description="[name, centre in MHz] outside the formula.")]
    subsets: Annotated[
        dict[str, Numbers], Field(default_factory=dict, description="Regions that use a part of the raster.")
    ]


def _described(row: Any) -> Any:
    if row.model == "resistors" and not row.arms:
        raise ValueError("model 'resistors' needs arms")
    if not row.arms and row.loss_db is None:
        raise ValueError("loss_db or arms is needed")
    return row


def _consistent(row: Any) -> Any:
    if row.valid_from_mhz >= row.valid_to_mhz:
        raise ValueError("valid_from_mhz must lie below valid_to_mhz")
    for mhz, values, name in (
        (row.points_mhz, row.points_db_per_100m, "points"),
        (row.impedance_points_mhz, row.impedance_points_ohm, "impedance_points"),
    ):
        if len(mhz) != len(values):
            raise ValueError(f"{name}: as many values as frequencies are needed")
        if mhz != sorted(set(mhz)):
            raise ValueError(f"{name}: frequencies must rise")
    if not row.points_mhz and not (row.flat_db_per_100m or row.per_sqrt_mhz_db_per_100m or row.per_mhz_db_per_100m):
        raise ValueError("loss coefficients or loss points are needed")
    if row.points_mhz and (row.points_mhz[0] > row.valid_from_mhz or row.points_mhz[-1] < row.valid_to_mhz):
        raise ValueError("the points must reach from valid_from_mhz to valid_to_mhz")
    return row


def _named(row: Any) -> Any:
    if len(row.connectors) != len(row.ports) or len(set(row.ports)) != len(row.ports):
        raise ValueError("every port needs a name of its own and one connector")
    unknown = {port for pair in row.loss_db for port in pair[:2]} - set(row.ports)
    if unknown:
        raise ValueError(f"loss_db names ports that do not exist: {', '.join(sorted(unknown))}")
    return row


def _loaded(row: Any) -> Any:
    if row.type == "load" and not row.impedance_ohm:
        raise ValueError("a load needs impedance_ohm")
    return row


def _impedances_known(row: Any) -> Any:
    if row.type == "load" and not all(end_ohm(family) for family in row.families):
        raise ValueError("a load's families need ids that end in their impedance")
    return row


TYPES: dict[str, Any] = {
    "Arm": Arm,
    "Celsius": Annotated[float, Field(ge=-60, le=200)],
    "Count": Annotated[int, Field(ge=0)],
    "Direct": Direct,
    "Id": Id,
    "Loss": Loss,
    "Name": Name,
    "NetworkArmRow": NetworkArmRow,
    "NotNegative": NotNegative,
    "Percent": Percent,
    "Piece": Piece,
    "Positive": Positive,
    "Reflection": Reflection,
    "Share": Annotated[float, Field(ge=0, lt=1)],
    "Standing": Standing,
    "Text": Text,
    "Tolerance": Tolerance,
    "Velocity": Annotated[float, Field(gt=0, le=1)],
    "bool": bool,
    "str": str,
}
"""Words of the column `takes` of the table of fields, and the types that they name."""
LENGTHS = re.compile(r"(?P<takes>.+?)(?: from (?P<least>\d+))?(?: to (?P<most>\d+))?")


def _type(takes: str) -> Any:
    """Type of a word of the table: one of `TYPES`, a list or table of it, one of several texts, or nothing beside it."""
    if takes.endswith(" | None"):
        return _type(takes.removesuffix(" | None")) | None
    if takes.startswith("list["):
        return list[_type(takes[5:-1])]  # type: ignore[misc]
    if takes.startswith("dict["):
        return dict[str, _type(takes[len("dict[str, ") : -1])]  # type: ignore[misc]
    if takes.startswith("Literal["):
        return Literal[tuple(word.strip(' "') for word in takes[len("Literal[") : -1].split(","))]
    return TYPES[takes]


def _field(each: PartField) -> tuple[Any, Any]:
    found = LENGTHS.fullmatch(each.takes)
    assert found is not None, each
    about: dict[str, Any] = {"description": each.words} if each.words else {}
    about |= {"min_length": int(found["least"])} if found["least"] else {}
    about |= {"max_length": int(found["most"])} if found["most"] else {}
    kind = Annotated[_type(found["takes"]), Field(**about)] if about else _type(found["takes"])
    if each.required:
        return kind, ...
    if each.default in ([], {}):
        return kind, Field(default_factory=type(each.default))
    return kind, each.default


def _model(name: str, about: str, kind: str, check: Any = None, base: type[Row] = Sourced) -> type[Row]:
    own: dict[str, Any] = {each.key: _field(each) for each in fields_of(kind)}
    checks: dict[str, Any] = {} if check is None else {"_checked": model_validator(mode="after")(check)}
    return create_model(name, __base__=base, __doc__=about, __validators__=checks, **own)


TerminationFigures = _model("TerminationFigures", "Figures that terminations share.", "termination-figures")


class TerminationSetRow(TerminationFigures):  # type: ignore[misc, valid-type]
    """Terminations alike but for their connectors."""

    families: Annotated[list[Text], Field(min_length=1)]
    genders: Annotated[list[Literal["plug", "jack"]], Field(min_length=1)]

    _checked = model_validator(mode="after")(_impedances_known)


CHECKS = {"pad": _described, "coax": _consistent, "splitter": _named, "termination": _loaded}
"""What a row of a kind of part must be besides having its fields."""
ROWS: dict[str, type[Row]] = {
    kind: _model(f"{kind.capitalize()}Row", each.words, kind, CHECKS.get(kind)) for kind, each in PART_KINDS.items()
} | {
    "grade": GradeRow,
    "adapter_set": AdapterSetRow,
    "termination_set": TerminationSetRow,
    "family": _model("FamilyRow", "A connector family.", "family"),
    "mating": MatingRow,
    "analyzer": _model(
        "AnalyzerRow", "Errors that a class of analyzer has left after its own calibration.", "analyzer"
    ),
    "standards": _model("StandardsRow", "Standards of a calibration behind the port.", "standards"),
    "raster": RasterRow,
}
"""Table of a part file, and the model of one of its rows."""


def _part_file() -> type[Row]:
    about = "A file of parts, or of connector families, mating rules and channel rasters."
    version: Any = (Annotated[Literal[1], Field(description="Version of this shape.")], 1)
    lists: dict[str, Any] = {kind: (list[model], Field(default_factory=list)) for kind, model in ROWS.items()}  # type: ignore[valid-type]
    return create_model("PartFile", __base__=Row, __doc__=about, format=version, **lists)


PartFile = _part_file()


def library_schema() -> dict[str, Any]:
    """Give the JSON Schema of a part file."""
    return PartFile.model_json_schema()
