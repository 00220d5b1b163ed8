"""`chain learn`."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

import click

from chain.cli.completing import any_file, part_names, setup_files, sweep_files
from chain.cli.learn_options import (
    USUAL_DIFFERENCE_DB,
    USUAL_FACING_DB,
    USUAL_LENGTH_TOLERANCE_M,
    Asked,
    asked,
)
from chain.cli.options import Command, Common, common
from chain.cli.output import asked_console, deliver, note, progress
from chain.cli.writing import refuse_overwriting, write_whole

if TYPE_CHECKING:
    from chain.characterize.records import Learnt

Function = TypeVar("Function", bound=Callable[..., Any])

ENDS = {"lead": ("open", "short"), "ends": ("open", "short", "load")}
"""Sweeps that a method takes by the end they were made with; the other methods take two-port files."""

QUANTITIES = {
    "length": ("LENGTH", "Length of a lead; of an adapter, about its electrical length."),
    "length-tolerance": ("LENGTH", "How far the length may be off either way."),
    "velocity-factor": ("NUMBER", "Velocity factor of a lead, instead of its length or beside it."),
    "impedance": ("OHM", "Nominal impedance of a lead, such as '75 ohm'."),
    "near-impedance": ("OHM", "Impedance of the near end, if not its connector's."),
    "far-impedance": ("OHM", "Impedance of the far end, if not its connector's."),
    "reference": ("OHM", "Impedance the analyzer was calibrated in, if not the header's."),
    "load-impedance": ("OHM", "Impedance of the load, if not the far end's."),
    "load-match": ("DB", "Return loss of the load."),
    "open-capacitance": ("FARAD", "Largest capacitance of the open, such as '0.05 pF'."),
    "short-inductance": ("HENRY", "Largest inductance of the short, such as '0.3 nH'."),
    "difference": ("DB", "Back to back: largest difference of the two pads."),
    "facing": ("DB", "Back to back: return loss of the ends that face one another."),
    "between": ("DB", "Back to back: loss of an adapter between them."),
    "directivity": ("DB", "Residual directivity of the analyzer."),
    "source-match": ("DB", "Residual source match of the analyzer."),
    "tracking": ("DB", "Residual tracking of the analyzer."),
    "trace-noise": ("DB", "Trace noise of the analyzer."),
    "repeatability": ("DB", "Return loss of a re-mated connector."),
    "drift": ("DB", "Drift since the calibration."),
}


def quantities(function: Function) -> Function:
    """Add the options that take a quantity."""
    for name, (metavar, text) in reversed(QUANTITIES.items()):
        function = click.option(f"--{name}", metavar=metavar, help=text)(function)
    return function


sweep_option = partial(click.option, multiple=True, metavar="FILE", shell_complete=sweep_files)


@click.command("learn", cls=Command)
@click.argument("way", type=click.Choice(["lead", "two-port", "ends", "back-to-back"]))
@click.argument("files", nargs=-1, metavar="[FILE]...", shell_complete=sweep_files)
@sweep_option("--open", "open_", help="Sweep with the far end open; repeatable.")
@sweep_option("--short", "short", help="Sweep with the far end shorted; repeatable.")
@sweep_option("--load", "load", help="Sweep with a load at the far end; repeatable.")
@click.option("--id", "id_", default="my-part", show_default=True, help="What set-up files will call the part.")
@click.option("--name", help="What people call it.")
@click.option("--date", metavar="DATE", help="Day of the measurement; today if left out.")
@click.option("--kind", type=click.Choice(["pad", "adapter", "lead"]), help="What a two-port is (pad if left out).")
@click.option("--ports", nargs=2, metavar="NEAR FAR", help="Two ports of a two-port file that has more, such as '1 3'.")
@click.option("--near", metavar="CONNECTOR", help="Connector of the near end, such as 'N-50 plug'.")
@click.option("--far", metavar="CONNECTOR", help="Connector of the far end.")
@click.option("--from", "from_", metavar="FREQUENCY", help="Lowest frequency the part is described for.")
@click.option("--to", metavar="FREQUENCY", help="Highest frequency the part is described for.")
@click.option(
    "--in",
    "setup_path",
    metavar="SETUP",
    shell_complete=setup_files,
    help="Set-up the part goes into: shown before and after.",
)
@click.option("--item", metavar="ID", help="Item of that set-up that was measured.")
@click.option(
    "--like",
    metavar="PART",
    shell_complete=part_names,
    help="Type of the lead's cable: its loss is kept where it is known better.",
)
@click.option(
    "--touchstone",
    metavar="FILE",
    shell_complete=any_file,
    help="Write the two-port itself as well (.s2p or .ts, version 2.1).",
)
@quantities
@common
def command(shared: Common, way: str, files: tuple[str, ...], touchstone: str | None, **given: Any) -> None:
    """Make a part file from your own sweeps of a part: its figures with their intervals, marked as measured.

    \b
    lead          a lead's far end open and shorted: loss, velocity, impedance
    two-port      a two-port file (.s2p) of a pad, an adapter or a lead
    ends          the same by an open, a short and a load at its far end
    back-to-back  a two-port file of two equal pads joined at their far ends

    Give a sweep for every time that the part was taken off, put on and measured again: repeats show their own spread.
    Nothing but the standards belongs on the part meanwhile: no antenna, no DC, no transmitter, no charge on the line.

    \b
    Examples:
      chain learn lead --open demo/lead-open.s1p --short demo/lead-short.s1p \\
        --length "0.6 m" --id my-lead -o my-lead.toml
      chain learn two-port demo/pad.s2p --near "BNC-50 jack" --far "BNC-75 jack" \\
        --id my-pad
      chain learn ends --open demo/pad-open.s1p --short demo/pad-short.s1p \\
        --load demo/pad-load.s1p --in demo/boathouse.toml --item pad
      chain learn back-to-back demo/pads-back-to-back.s2p --near "BNC-50 jack" \\
        --far "BNC-75 jack"
    """
    given |= {"open": given.pop("open_"), "id": given.pop("id_")}
    paths = _paths(way, files, given)
    inputs = [path for names in paths.values() for path in names] + (
        [given["setup_path"]] if given["setup_path"] else []
    )
    for path in (shared.output, touchstone):
        refuse_overwriting(path, shared.force, inputs)
    reported = asked(given, ENDS.get(way, ()))
    found = METHODS[way](paths, reported, shared.seed)
    if reported.setup is not None:
        from chain.characterize.part_use import compared
        from chain.results import SEED

        seed = SEED if shared.seed is None else shared.seed
        with progress(shared) as report:
            found = replace(found, comparison=compared(reported.setup, given["item"], found, seed, report))
    if touchstone:
        _write_two_port(touchstone, found, shared, inputs)
    _deliver(shared, found, inputs, touchstone or "")


def _paths(method: str, files: Sequence[str], given: Mapping[str, Any]) -> dict[str, Sequence[str]]:
    """Files by the end they were made with; whatever does not belong to the method is refused."""
    ends = {end: given[end] for end in ("open", "short", "load") if given[end]}
    if "-" in (*files, *(name for names in ends.values() for name in names)):
        raise click.UsageError(
            "Sweeps to learn from are read from files: several are needed, and each is named in the part."
        )
    if method not in ENDS:
        if not files or ends:
            raise click.UsageError(
                f"'learn {method}' takes one two-port file or more (.s2p), and no --open or the like."
            )
        return {"through": files}
    wanted = ENDS[method]
    missing = [f"--{end} FILE" for end in wanted if end not in ends]
    if missing:
        raise click.UsageError(f"'learn {method}' needs {' and '.join(missing)} too.")
    if files:
        raise click.UsageError(f"'learn {method}' takes its sweeps by {', '.join(f'--{end}' for end in wanted)}.")
    if "load" in ends and "load" not in wanted:
        raise click.UsageError("With a load as well, learn it from its ends: chain learn ends --kind lead.")
    return {end: ends[end] for end in wanted}


def _lead(paths: Mapping[str, Sequence[str]], reported: Asked, seed: int | None) -> Learnt:
    from chain.characterize.characterize import learn_lead
    from chain.characterize.intervals import DRAWS, SEED
    from chain.characterize.sweeps import one_port_sweeps

    sweeps = one_port_sweeps(paths, reported.value("reference", "impedance"))
    length, factor = reported.value("length", "length"), _factor(reported)
    if length is None and reported.item is not None and reported.item.length_m:
        length = reported.item.length_m
    reported, tolerance = _tolerance(reported, length)
    ohm = reported.value("impedance", "impedance")
    if ohm is None and reported.item is not None:
        ohm = getattr(reported.item.part, "impedance_ohm", None)
    seed = SEED if seed is None else seed
    return learn_lead(
        sweeps,
        reported.about,
        reported.analyzer,
        length,
        factor,
        ohm,
        tolerance,
        DRAWS,
        seed,
        reported.like(),
        bool(reported.given["like"]),
    )


def _factor(reported: Asked) -> float | None:
    from chain.errors import UnitError, quoted

    text = reported.given["velocity_factor"]
    if text is None:
        return None
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0 < value <= 1:
        raise UnitError(f"{quoted(text)} is no velocity factor", "write a number up to 1, such as 0.66")
    return value


def _tolerance(reported: Asked, length: float | None) -> tuple[Asked, float]:
    stated = reported.value("length_tolerance", "length")
    if length is None:
        if stated is not None:
            raise click.UsageError("--length-tolerance is of a lead's length: give that too, --length '0.6 m'.")
        return reported, 0.0
    if stated is None:
        reported = reported.assuming(f"length tolerance {USUAL_LENGTH_TOLERANCE_M * 1e3:g} mm (practice)")
        stated = USUAL_LENGTH_TOLERANCE_M
    return reported, min(stated, length)


def _delay(reported: Asked, kind: str, length: float | None) -> float | None:
    """Delay as far as it is known: of an adapter by its electrical length, of a lead with its velocity factor."""
    from library.formulas import LIGHT_M_PER_S

    factor = _factor(reported) if kind == "coax" else 1.0
    return None if length is None or factor is None else length / LIGHT_M_PER_S / factor


def _two_port(paths: Mapping[str, Sequence[str]], reported: Asked, seed: int | None) -> Learnt:
    from chain.characterize.characterize import learn_two_port
    from chain.characterize.intervals import DRAWS, SEED
    from chain.characterize.sweeps import two_port_sweeps

    ohm = reported.value("reference", "impedance")
    sweeps = two_port_sweeps(paths["through"], None if ohm is None else (ohm, ohm), reported.given["ports"])
    kind = reported.kind()
    reported, ends, length = _placed(reported, kind)
    seed = SEED if seed is None else seed
    delay = _delay(reported, kind, length)
    reported, tolerance = _tolerance(reported, length if kind == "coax" else None)
    return learn_two_port(sweeps, reported.about, reported.analyzer, ends, kind, delay, length, DRAWS, seed, tolerance)


def _placed(reported: Asked, kind: str) -> tuple[Asked, Any, float | None]:
    """Ends and length of a part, and what is assumed of them."""
    length = reported.value("length", "length")
    if length is None and kind == "coax" and reported.item is not None:
        length = reported.item.length_m or None
    ends = reported.ends(kind)
    if kind != "coax" and reported.item is None:
        reported = reported.assuming("DC: passed (a sweep does not show it)")
    return reported, ends, length


def _ends(paths: Mapping[str, Sequence[str]], reported: Asked, seed: int | None) -> Learnt:
    from chain.characterize.characterize import learn_ends
    from chain.characterize.intervals import DRAWS, SEED
    from chain.characterize.sweeps import one_port_sweeps

    sweeps = one_port_sweeps(paths, reported.value("reference", "impedance"))
    kind = reported.kind()
    reported, ends, length = _placed(reported, kind)
    load_ohm = reported.value("load_impedance", "impedance")
    if load_ohm is None:
        reported = reported.assuming(f"load: of {ends.far_ohm:g} ohm, as the far end")
    seed = SEED if seed is None else seed
    delay = _delay(reported, kind, length)
    reported, tolerance = _tolerance(reported, length if kind == "coax" else None)
    about, analyzer = reported.about, reported.analyzer
    return learn_ends(sweeps, about, analyzer, ends, kind, delay, length, load_ohm, DRAWS, seed, tolerance)


def _back_to_back(paths: Mapping[str, Sequence[str]], reported: Asked, seed: int | None) -> Learnt:
    from chain.characterize.characterize import learn_back_to_back
    from chain.characterize.intervals import DRAWS, SEED
    from chain.characterize.sweeps import two_port_sweeps

    if reported.given["kind"] not in (None, "pad"):
        raise click.UsageError("Back to back, two pads are learnt: leave --kind out.")
    ohm = reported.value("reference", "impedance")
    sweeps = two_port_sweeps(paths["through"], None if ohm is None else (ohm, ohm), reported.given["ports"])
    reported, ends, _ = _placed(reported, "pad")
    difference, facing = reported.value("difference", "loss"), reported.value("facing", "return_loss")
    if difference is None:
        difference = USUAL_DIFFERENCE_DB
        reported = reported.assuming(f"difference of the two pads up to {difference:g} dB (practice)")
    if facing is None:
        facing = USUAL_FACING_DB
        reported = reported.assuming(f"reflection of the ends that face one another {facing:g} dB (practice)")
    between = reported.value("between", "loss") or 0.0
    seed = SEED if seed is None else seed
    return learn_back_to_back(sweeps, reported.about, reported.analyzer, ends, difference, facing, between, DRAWS, seed)


METHODS: dict[str, Callable[[Mapping[str, Sequence[str]], Asked, int | None], Learnt]] = {
    "lead": _lead,
    "two-port": _two_port,
    "ends": _ends,
    "back-to-back": _back_to_back,
}


def _write_two_port(path: str, found: Learnt, shared: Common, inputs: Sequence[str]) -> None:
    from chain.errors import RangeError
    from chain.sweeps.touchstone import text_of_two_port

    if found.s is None:
        raise RangeError(
            f"'learn {'lead' if found.kind == 'coax' else 'back-to-back'}' does not measure a whole two-port, so there is none to write",
            "measure open, short and load: chain learn ends",
        )
    text = text_of_two_port(found.sweep_hz, found.s, found.near_ohm, found.far_ohm)
    write_whole(path, text, shared.force, inputs)
    note(shared, f"written: {path}")


def _deliver(shared: Common, found: Learnt, inputs: Sequence[str], two_port: str) -> None:
    """The part file to stdout or to its file; what there is to say of it beside, on stderr or stdout."""
    from chain.setup_report import learn as page

    to_file = shared.output not in (None, "-")
    if shared.json:
        deliver(shared, lambda console: None, found.to_dict, inputs)
        return
    if to_file:
        write_whole(str(shared.output), found.text, shared.force, inputs)
        deliver(
            replace(shared, output=None),
            lambda console: page.render(found, console, str(shared.output), two_port),
            dict,
        )
        note(shared, f"written: {shared.output}")
        return
    sys.stdout.write(_spelt(found.text, getattr(sys.stdout, "encoding", None) or "utf-8"))
    sys.stdout.flush()
    if not shared.quiet:
        page.render(found, asked_console(sys.stderr, shared), "", two_port)


def _spelt(text: str, encoding: str) -> str:
    """TOML with the characters that an encoding lacks as TOML's own escapes, so that names survive any terminal."""

    def spell(sign: str) -> str:
        try:
            sign.encode(encoding)
        except UnicodeEncodeError:
            return f"\\u{ord(sign):04x}" if ord(sign) <= 0xFFFF else f"\\U{ord(sign):08x}"
        return sign

    return text if text.isascii() else "".join(map(spell, text))
