"""Legal set-ups, needs and installations with extreme figures: those of the demo moved, keys added, chains of parts at random."""

from functools import cache
from pathlib import Path

from chain.files import quantities as of
from chain.files.schema import (
    ALWAYS,
    KEYS_OF,
    AntennaModel,
    CalibrationModel,
    FarModel,
    FrequenciesModel,
    ItemModel,
    NearModel,
)
from chain.files.toml_text import toml_text
from chain.reception import schema as installed
from chain.selection import need_schema as wanted
from library.files.store import tomllib
from library.load import load_library
from library.mating import mate
from library.records import MAGNITUDE_KINDS, Connector

DEMO = Path(__file__).parent.parent.parent / "demo"

LOSSES = ["0 dB", "1e-9 dB", "0.001 dB", "1 dB", "19 dB", "60 dB", "120 dB", "200 dB"]
OHMS = ["0.001 ohm", "0.01 ohm", "0.1 ohm", "50 ohm", "75 ohm", "300 ohm", "1e5 ohm", "1000 kohm"]
SHARES = ["0 %", "1e-9 %", "1 %", "20 %", "99 %", "99.9 %"]
EXTREMES = (
    (of.LENGTH, ["0 m", "1e-9 m", "1 mm", "0.3 m", "100 m", "9000 m", "10000 m"]),
    (of.FREQUENCY, ["1 Hz", "10 kHz", "1 MHz", "30 MHz", "200 MHz", "700 MHz", "3 GHz", "30 GHz", "1000 GHz"]),
    (of.LOSS, LOSSES),
    (of.LOSS_TOLERANCE, ["0 dB", "1e-9 dB", "0.2 dB", "3 dB", "19.99 dB", "20 dB"]),
    (of.READING_ERROR, ["0 dB", "1e-9 dB", "0.2 dB", "3 dB", "20 dB"]),
    (of.IMPEDANCE, OHMS),
    (of.INDUCTANCE, ["0 H", "1 pH", "5 nH", "1 uH", "1 H"]),
    (of.CAPACITANCE, ["0 F", "1 fF", "5 pF", "1 uF", "1 F"]),
    (of.VOLTAGE, ["0 V", "1e-6 V", "-12 V", "5 V", "24 V", "-1e4 V", "1e4 V"]),
    (of.POWER, ["-200 dBm", "-100 dBm", "0 dBm", "60 dBm", "100 dBm"]),
    (of.ANGLE, ["0 deg", "1e-6 deg", "5 deg", "90 deg", "180 deg", "360 deg"]),
    (of.TEMPERATURE, ["-100 °C", "-40 °C", "85 °C", "300 °C"]),
    (of.PERCENT, SHARES),
    (of.RETURN_LOSS, [*LOSSES, "VSWR 1", "VSWR 1.0000001", "VSWR 1e6"]),
    (
        of.RATIO,
        ["VSWR 1", "VSWR 1.0000001", "VSWR 1.01", "VSWR 3", "VSWR 100", "VSWR 1e6", "0.0001 dB", "40 dB", "200 dB"],
    ),
    (of.TOLERANCE, [*OHMS[:4], *SHARES]),
    (
        of.REFLECTION,
        [
            *LOSSES,
            "VSWR 1",
            "VSWR 1e6",
            [["174 MHz", "40 dB"], ["862 MHz", "0 dB"]],
            *({"magnitude": size, "known": kind} for size in ("0 dB", "6 dB", "120 dB") for kind in MAGNITUDE_KINDS),
        ],
    ),
    (of.REFERENCE, [*OHMS, ["50 ohm", "75 ohm"], ["0.001 ohm", "1e5 ohm"]]),
    (installed.GAIN_OF, ["0 dB", "1e-6 dB", "30 dB", "60 dB"]),
    (installed.NEED_OF, ["-10 dB", "0 dB", "60 dB"]),
    (installed.SPREAD_OF, ["0 dB", "1e-6 dB", "30 dB"]),
    (installed.LEVEL_OF, ["-60 dBuV", "0 dBuV", "140 dBuV", "-100 dBm"]),
    (installed.FIELD_OF, ["-40 dBuV/m", "0 dBuV/m", "160 dBuV/m", "1 V/m"]),
    (installed.POWER_OF, ["1 mW", "1 kW", "100 MW"]),
    (installed.DISTANCE_OF, ["1 m", "1000 km"]),
)
"""Figures at the ends of what is legal, by what a key takes; some set-ups made of them are refused, which is no fault."""
BY_KIND = {id(kind): values for kind, values in EXTREMES}
BY_NAME = {
    "gain": ["0 dB", "60 dB", "-30 dBi", "40 dBi", [["470 MHz", "-30 dBi"], ["694 MHz", "40 dBi"]]],
    "antenna_gain": ["-30 dBi", "40 dBi"],
    "level": ["-60 dBuV at antenna", "140 dBuV at antenna", "52 dBuV at mast", "-60 dBuV", "140 dBuV"],
    "max_output": ["-60 dBuV at 60 dB", "140 dBuV at 1 dB", "103 dBuV at 60 dB"],
    "match": ["VSWR 1", "VSWR 1e6", "0 dB"],
    "end": ["open", "0.001 ohm", "75 ohm", "1e5 ohm"],
    "noise": ["residential", "city", "rural", "quiet rural"],
    "channels": ["5-12", "21", "21-48", "60-69"],
    "region": ["europe", "us", "new-zealand"],
    "plane": ["near", "adapter", "pad", "lead", "item 1", "item 2", "item 3"],
    "known": [["load"], ["open", "short"], ["load", "open", "short"]],
    "budget": ["0 EUR", "40 EUR", "1000000 EUR"],
    "price": ["0 EUR", "0.01 EUR", "1000000 EUR", "1 EUR/m"],
}
"""The same where the kind of the key says less than its name."""
FIXED = (
    "id",
    "after",
    "title",
    "touchstone",
    "offers",
    "path",
    "arm",
    "near",
    "far",
    "connector",
    "element",
    "part",
    "port",
)
"""Keys that other tables refer to, or that a random figure would only ever break."""
SETUP = {"sweep": FrequenciesModel, "near": NearModel, "chain": ItemModel, "far": FarModel, "antenna": AntennaModel,
         "calibration": CalibrationModel}  # fmt: skip
NEED = {"need": wanted.NeedModel, "have": wanted.HaveModel, "offer": wanted.OfferModel}
INSTALLATION = {"antenna": installed.ReceivingAntennaModel, "signal": installed.SignalModel, "item": installed.InstalledModel,
                "interferer": installed.InterfererModel, "outlet": installed.OutletModel}  # fmt: skip
HOLDS = ("ok", "costed", "caution")


@cache
def demo(name):
    """A file of the demo, as plain tables."""
    return tomllib.loads((DEMO / name).read_text(encoding="utf-8"))


@cache
def setups():
    """Names of the demo's set-ups."""
    return tuple(path.name for path in sorted(DEMO.glob("*.toml")) if "chain" in demo(path.name))


def copied(value):
    """Tables that may be changed."""
    if isinstance(value, dict):
        return {key: copied(each) for key, each in value.items()}
    return [copied(each) for each in value] if isinstance(value, list) else value


def extreme_setup(rng):
    """A set-up of the demo or of parts at random on one to three points, figures at the ends of what is legal; ids, span in Hz."""
    tables = copied(demo(rng.choice(setups()))) if rng.random() < 0.5 else of_random_parts(rng)
    tables["sweep"]["points"] = rng.choice([1, 1, 1, 2, 3])
    moved(rng, tables, SETUP, rng.choice([0, 1, 1, 2, 3, 6]))
    span = settled_sweep(tables["sweep"])
    ids = [each["id"] for each in tables["chain"]]
    if tables["calibration"].get("plane") not in ids:
        tables["calibration"]["plane"] = "near"
    return toml_text(tables), ids, span


def settled_sweep(sweep):
    """Take from a sweep what would only be refused; lowest and highest frequency of a reading of it in Hz."""
    if "region" in sweep and "channels" in sweep:
        sweep.pop("start", None), sweep.pop("stop", None)
        # The demo's channels of Band III, or those of the UHF bands.
        return (177.5e6, 226.5e6) if sweep["channels"] == "5-12" else (578e6, 626e6)
    sweep.pop("region", None), sweep.pop("channels", None)
    ends = sorted((of.reader("frequency")(sweep[end]), sweep[end]) for end in ("start", "stop"))
    sweep["start"], sweep["stop"] = ends[0][1], ends[1][1]
    return ends[0][0], max(ends[1][0], ends[0][0] * 1.001)


def extreme_need(rng):
    """The need of the demo, some figures of it at the ends of what is legal."""
    tables = copied(demo("need.toml"))
    tables["need"]["most_items"] = rng.choice([1, 2, 3])
    moved(rng, tables, NEED, rng.choice([1, 2, 4]))
    return toml_text(tables)


def extreme_installation(rng):
    """The installation of the demo, some figures of it at the ends of what is legal."""
    tables = copied(demo("outlets.toml"))
    for signal, channel in zip(tables["signal"], ("21", "40"), strict=True):
        signal["channels"] = channel
    moved(rng, tables, INSTALLATION, rng.choice([1, 2, 4]))
    return toml_text(tables)


def moved(rng, tables, models, count):
    """Change figures of tables or add keys that belong there."""
    for _ in range(count):
        name = rng.choice(
            sorted(each for each in models if each in tables or (each == "calibration" and each in models))
        )
        table = tables.setdefault(name, {})
        row = rng.choice(table) if isinstance(table, list) else table
        keys = sorted({*models[name].keys} - {*FIXED, "points"})
        if name in ("chain", "item", "have", "offer") and "part" in row:
            kind = load_library().part(row["part"]).kind if row["part"] in load_library().ids() else "measured"
            allowed = {*ALWAYS, *KEYS_OF.get(kind, ()), *(models[name].own_keys if name != "chain" else ())}
            keys = [each for each in keys if each in allowed] or ["ideal"]
        # A figure that is there is moved as often as one is added.
        there = [each for each in keys if each in row]
        chosen = rng.choice(there if there and rng.random() < 0.5 else keys)
        row[chosen] = value_of(rng, chosen, models[name].keys[chosen])
        if name == "outlet":
            # An outlet has a receiver or an end.
            row.pop("receiver" if "end" in row else "end", None)


def value_of(rng, name, key):
    """A value that a key takes, most often at an end of what it takes."""
    if id(key.kind) in BY_KIND:
        return rng.choice(BY_KIND[id(key.kind)])
    if name in BY_NAME:
        return rng.choice(BY_NAME[name])
    if key.kind.inner is not None:
        return {each: value_of(rng, each, inside) for each, inside in key.kind.inner.keys.items()}
    schema = key.kind.schema
    if "enum" in schema:
        return rng.choice(schema["enum"])
    if schema.get("type") == "boolean":
        return rng.random() < 0.5
    if schema.get("type") in ("number", "integer"):
        low, high = schema.get("minimum", 1e-3), schema["maximum"]
        return rng.choice(
            [low, high, *key.examples, (low * max(high, 1)) ** 0.5 if schema["type"] == "number" else low]
        )
    return rng.choice(list(key.examples))


@cache
def ways():
    """Parts of the library by what they may follow: connector, and what can be joined there with the connector behind it."""
    library, found = load_library(), {}
    two_ports = []
    for name in library.ids():
        part = library.part(name)
        if part.kind in ("pad", "adapter", "section", "transformer"):
            ends = (part.near_connector, part.far_connector)
            two_ports += [(name, False, *ends), (name, True, *reversed(ends))]
        elif part.kind == "splitter":
            two_ports += [
                (name, other, part.connectors[0], part.connectors[part.ports.index(other)]) for other in part.ports[1:]
            ]
    every = sorted({each[2] for each in two_ports} | {each[3] for each in two_ports}, key=str)
    for end in every:
        found[end] = [each for each in two_ports if mate(end, each[2]).verdict in HOLDS]
    return found


def of_random_parts(rng):
    """A chain of parts of the library that join, one after another, between an analyzer and an antenna of whatever kind."""
    library = load_library()
    end = rng.choice([Connector("N-50", "jack")] * 3 + sorted(ways(), key=str))
    near, items = str(end), []
    for number in range(rng.choice([1, 2, 3, 4, 6])):
        plug = Connector(end.family, "jack" if end.gender == "plug" else "plug")
        if rng.random() < 0.35 or not ways().get(end):
            part = rng.choice([*library.ids("coax"), "pad.s2p"])
            other = Connector(rng.choice(["F-75", "BNC-75", "N-50", "SMA-50"]), rng.choice(["plug", "jack"]))
            end = rng.choice([plug, other])
            item = {"near": str(plug), "far": str(end)}
            length = rng.choice(["1 mm", "0.6 m", "5 m", *BY_KIND[id(of.LENGTH)][1:]])
            item |= {"touchstone": part} if part == "pad.s2p" else {"part": part, "length": length}
        else:
            by_kind = {}
            for each in ways()[end]:
                by_kind.setdefault(library.part(each[0]).kind, []).append(each)
            part, turned, _, end = rng.choice(by_kind[rng.choice(sorted(by_kind))])
            item = {"part": part} | ({"reversed": True} if turned is True else {})
            if isinstance(turned, str):
                item |= with_arms(rng, library.part(part), turned)
        items.append({"id": f"item {number + 1}", **item})
    far = Connector(end.family, "jack" if end.gender == "plug" else "plug")
    ends = {"connector": str(far), "limit": rng.choice(["VSWR 2.0", "VSWR 1.5", *BY_KIND[id(of.RATIO)]])}
    # Two ends at random, most often where the parts are at home.
    low, high = rng.choice(
        [("174 MHz", "240 MHz")] * 3 + [("470 MHz", "694 MHz"), ("10 MHz", "10.1 MHz"), ("1 GHz", "1.5 GHz")]
    )
    sweep = {"start": low, "stop": high}
    plane = rng.choice(["near", *(each["id"] for each in items)])
    return {"title": "Parts at random", "sweep": sweep, "near": {"connector": near}, "chain": items, "far": ends,
            "calibration": {"plane": plane}}  # fmt: skip


def with_arms(rng, splitter, output):
    """The way through a splitter, and what hangs on its other ports."""
    arms = [{"port": each, "end": rng.choice(BY_NAME["end"])} for each in splitter.ports[1:] if each != output]
    return {"path": [splitter.ports[0], output], "arm": arms}
