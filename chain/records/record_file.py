"""A record read back from its file, every key checked; a damaged one is reported, never guessed at."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from chain.errors import Defect, InputError
from chain.records.record import FORMAT, ChannelRecord, Record, SweepRecord, seal_state
from library.files.store import tomllib

REMEDY = "restore the file from a copy; a record is never changed by this program"
Finite = Annotated[float, Field(allow_inf_nan=False)]


class _RecordTable(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class ChannelModel(_RecordTable):
    """A channel: what was found in it."""

    name: str
    low_hz: Finite
    high_hz: Finite
    loss_db: Annotated[float, Field(description="Mismatch loss of the channel, or loss of the lead one way, in dB.")]
    repeat_db: Annotated[
        float, Field(ge=0, description="Standard uncertainty of the loss from reading to reading, in dB.")
    ]
    vswr: float | None = None
    vswr_low: float | None = None
    vswr_high: float | None = None
    reflection: Annotated[float | None, Field(description="Largest |reflection| in the channel.")] = None
    reflection_repeat: float | None = None
    fixed_db: Annotated[float | None, Field(description="Part of a lead's loss that is no cable's, in dB.")] = None
    verdict: str = ""


class SweepModel(_RecordTable):
    """A sweep as read."""

    end: Literal["antenna", "open", "short"]
    source: str
    source_sha256: str
    processed: Annotated[str, Field(description="What was done to it after it was measured, such as time-gated.")] = ""
    columns: list[Literal["frequency_hz", "real", "imaginary", "magnitude"]]
    points: Annotated[list[list[Finite]], Field(min_length=1)]


class SealModel(_RecordTable):
    """Digest of all that stands before it."""

    sha256: str


class RecordModel(_RecordTable):
    """A measurement as it was kept."""

    format: Literal[1]
    time: Annotated[datetime, Field(description="When it was taken, with the offset from universal time.")]
    name: Annotated[str, Field(description="What was measured; records of one name make a series.")]
    kind: Literal["antenna", "lead"]
    answer: str
    verdict: str
    title: str = ""
    plane: str
    standards: str
    setup: Annotated[str, Field(description="File of the set-up, beside the records.")]
    setup_sha256: str
    temperature_c: Annotated[float | None, Field(description="Air temperature, in degrees C.")] = None
    operator: str = ""
    note: str = ""
    warnings: list[str] = []
    versions: dict[str, str] = {}
    channel: list[ChannelModel] = []
    sweep: list[SweepModel] = []
    seal: SealModel


def record_schema() -> dict[str, Any]:
    """JSON Schema of a record."""
    found = RecordModel.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **found, "title": "Record of a measurement"}


def parse_record(raw: bytes, path: str, answers_only: bool = False) -> Record:
    """Record of a file's bytes; with `answers_only`, its sweeps are left out and not parsed."""
    state = seal_state(raw)
    if state != "whole":
        what = "is cut short: its seal is missing" if state == "cut short" else "was altered after it was written"
        raise InputError([Defect(path, 0, 0, what, REMEDY)])
    try:
        text = raw.decode("utf-8").replace("\r\n", "\n")
        if answers_only and "\n[[sweep]]" in text:
            text = text.partition("\n[[sweep]]")[0] + "\n[seal]\nsha256 = ''\n"
        model = RecordModel.model_validate(tomllib.loads(text))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError([Defect(path, 0, 0, f"is not a record: {error}", REMEDY)]) from error
    except ValidationError as error:
        raise InputError([_defect(path, each) for each in error.errors()]) from error
    return _record(model)


def _defect(path: str, error: Any) -> Defect:
    where = ".".join(str(step) for step in error["loc"])
    if where == "format":
        return Defect(
            path, 0, 0, f"is of a format this program does not know (it knows {FORMAT})", "use a later version"
        )
    return Defect(path, 0, 0, f"{where}: {error['msg']}", REMEDY)


def _record(model: RecordModel) -> Record:
    return Record(
        time=model.time,
        name=model.name,
        kind=model.kind,
        answer=model.answer,
        verdict=model.verdict,
        title=model.title,
        plane=model.plane,
        setup=model.setup,
        setup_sha256=model.setup_sha256,
        standards=model.standards,
        channels=tuple(ChannelRecord(**each.model_dump()) for each in model.channel),
        sweeps=tuple(
            SweepRecord(
                each.end, each.source, each.source_sha256, tuple(tuple(row) for row in each.points), each.processed
            )
            for each in model.sweep
        ),
        temperature_c=model.temperature_c,
        operator=model.operator,
        note=model.note,
        warnings=tuple(model.warnings),
        versions=tuple(model.versions.items()),
    )
