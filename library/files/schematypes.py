"""Types and common models of the data files: numbers in range, connector names, and the forms of a reflection limit."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, Strict, model_validator

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Tolerance = Annotated[float, Field(ge=0, le=20, allow_inf_nan=False)]
"""Half-width of a loss [dB]."""
Percent = Annotated[float, Field(ge=0, lt=100, allow_inf_nan=False)]
Text = Annotated[str, Field(min_length=1, max_length=500)]
ID, LONGEST_ID = r"^[A-Za-z0-9][A-Za-z0-9._-]*$", 60
Id = Annotated[str, Field(pattern=ID, max_length=LONGEST_ID)]
Name = Annotated[
    str, Field(pattern=r"^[^()]+ (plug|jack)( \([^()]+\))?$", examples=["BNC-75 jack", "F-75 plug (push-on)"])
]
AnyName = Annotated[str, Field(pattern=r"^[^()]+ (plug|jack|any)( \([^()]+\))?$", examples=["N-50 plug", "* any"])]
Exact = Annotated[str, Field(pattern=r"^-?\d+(\.\d+|/[1-9]\d*)?$", examples=["306", "142.5", "1/7"])]
Numbers = Annotated[str, Field(pattern=r"^\d{1,4}(-\d{1,4})?(,\d{1,4}(-\d{1,4})?)*$", examples=["14-36,38-51"])]
Direct = Annotated[
    Literal["pass", "block", "short"], Field(description="What becomes of DC: passed, blocked, or shorted.")
]
Standing = Literal["published", "measured", "computed", "stated", "practice", "memory"]
Verdict = Literal["ok", "costed", "caution", "no-contact", "no-mate", "destructive"]

Loose = Strict(False)
"""TOML has arrays only: they may stand for tuples, while numbers inside stay numbers."""

Pair = Annotated[tuple[NotNegative, NotNegative], Loose]
Band = Annotated[tuple[NotNegative, Positive, NotNegative], Loose]
Arm = Annotated[tuple[Literal["series", "shunt"], Positive], Loose]
Loss = Annotated[tuple[Text, Text, NotNegative], Loose]
Piece = Annotated[tuple[Positive, Positive], Loose]
Mates = Annotated[tuple[AnyName, AnyName], Loose]
Way = Annotated[tuple[Literal["plug", "jack"], Literal["plug", "jack"]], Loose]
Span = Annotated[tuple[NotNegative, NotNegative], Loose]
Extra = Annotated[tuple[Text, Exact], Loose]


class Row(BaseModel):
    """Anything in a file: unknown keys and numbers in quotes are refused."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, defer_build=True)


class Sourced(Row):
    """A row that says where its figures come from."""

    evidence: Annotated[Standing, Field(description="Standing of the figures.")] = "stated"
    source: Annotated[str, Field(max_length=500, description="Document, formula or measurement they come from.")] = ""
    note: Annotated[str, Field(max_length=1000, description="Anything else to know.")] = ""
    evidence_of: Annotated[
        dict[str, Standing], Field(default_factory=dict, description="Standing of single figures, by their keys.")
    ]

    @model_validator(mode="after")
    def _figures_exist(self) -> Sourced:
        unknown = [key for key in self.evidence_of if key not in type(self).model_fields]
        if unknown:
            raise ValueError(f"evidence_of names figures that do not exist: {', '.join(unknown)}")
        return self


class Reflection(Row):
    """Reflection limit of a whole part; exactly one of the four forms."""

    return_loss_db: Annotated[NotNegative | None, Field(description="One limit at every frequency.")] = None
    points_mhz_db: Annotated[
        list[Pair] | None, Field(min_length=1, description="[MHz, dB] in rising order, straight lines between.")
    ] = None
    bands_mhz_db: Annotated[
        list[Band] | None,
        Field(min_length=1, description="[from MHz, to MHz, dB] in rising order, constant over each."),
    ] = None
    vswr: Annotated[float | None, Field(gt=1, le=1000, description="VSWR limit at zero frequency.")] = None
    vswr_per_ghz: Annotated[NotNegative, Field(description="Growth of the VSWR limit per GHz.")] = 0.0
    to_mhz: Annotated[NotNegative, Field(description="Where the VSWR form ends; needed with `vswr_per_ghz`.")] = 0.0
    magnitude_kind: Annotated[
        Literal["disc", "ring", "uniform-radius"],
        Field(
            description="disc: anywhere in the limit, evenly over the disc; ring: at it; uniform-radius: every size alike."
        ),
    ] = "disc"

    @model_validator(mode="after")
    def _one_form(self) -> Reflection:
        forms = (self.return_loss_db, self.points_mhz_db, self.bands_mhz_db, self.vswr)
        if sum(form is not None for form in forms) != 1:
            raise ValueError("exactly one of return_loss_db, points_mhz_db, bands_mhz_db and vswr is needed")
        if self.vswr_per_ghz and not self.to_mhz:
            raise ValueError("vswr_per_ghz needs to_mhz")
        edges = [mhz for mhz, _ in self.points_mhz_db or ()]
        for low, high, _ in self.bands_mhz_db or ():
            edges += [low, high]
        if edges != sorted(edges):
            raise ValueError("frequencies must rise")
        return self
