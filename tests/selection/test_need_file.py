"""The need file and its tables of offers: what is read, and every fault in its place."""

import json
import re
from contextlib import suppress
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from further import wide

from chain.errors import InputError, UnitError
from chain.money import Price, money_text, parse_price
from chain.selection.need_file import load_need, parse_need
from chain.selection.need_schema import need_schema
from library.load import load_library

ROOT = Path(__file__).parent.parent.parent
NEED = """
[need]
near = "N-50 jack"
far = "F-75 jack"
start = "174 MHz"
stop = "240 MHz"
limit = "VSWR 2.0"
"""
HAVE = '[[have]]\npart = "min-loss-pad"\n'


def read(text, folder=None):
    return parse_need(text.encode(), "need.toml", folder)


def defects(text, folder=None):
    with pytest.raises(InputError) as caught:
        read(text, folder)
    return caught.value.defects


def one(text, folder=None):
    found = defects(text, folder)
    assert len(found) == 1, [each.message for each in found]
    return found[0]


def with_table(tmp_path, table, rest=""):
    (tmp_path / "shop.csv").write_bytes(table if isinstance(table, bytes) else table.encode())
    return 'offers = "shop.csv"\n' + NEED + rest


def test_the_example_holds_what_it_says():
    need = load_need(ROOT / "demo" / "need.toml")
    owned = [offer.name for offer in need.offers if offer.owned]
    assert owned == ["min-loss-pad", "bnc75-plug-f-plug"]
    assert (need.currency, need.budget, need.most_items, need.limit_vswr) == ("EUR", 4000, 4, 2.0)
    assert (need.sweep.start_hz, need.sweep.stop_hz, need.sweep.points) == (174e6, 240e6, 21)
    lead = next(offer for offer in need.offers if offer.name == "rg59")
    # 0.6 m at 0.90 EUR/m; 50 m make 83 such leads.
    assert (lead.price, lead.stock, lead.item.length_m) == (54, 83, 0.6)
    assert lead.where.endswith("need.toml:40")
    worn = next(offer for offer in need.offers if offer.name == "bnc75-plug-f-plug")
    assert worn.item.part.limit.return_loss_db == (20.0,)


def test_the_example_says_that_its_prices_are_made_up():
    for name in ("need.toml", "shop.csv"):
        head = (ROOT / "demo" / name).read_text(encoding="utf-8")[:200]
        assert "made up" in head
        assert "nvented" in head


@pytest.mark.parametrize(
    ("text", "price"),
    [
        ("6.50 EUR", Price(650, "EUR")),
        ("6.5 EUR", Price(650, "EUR")),
        ("6 USD", Price(600, "USD")),
        ("6.500 EUR", Price(650, "EUR")),
        ("0 EUR", Price(0, "EUR")),
        ("0.80 EUR/m", Price(80, "EUR", True)),
        ("0.80 EUR / m", Price(80, "EUR", True)),
        ("6,50 EUR", Price(650, "EUR")),
        ("6.50 eur", Price(650, "EUR")),
        ("EUR 6,50", Price(650, "EUR")),
        ("€6.50", Price(650, "EUR")),
        ("6,50 €", Price(650, "EUR")),
        ("$4.20", Price(420, "USD")),
        ("£ 5", Price(500, "GBP")),
        ("0,80 €/m", Price(80, "EUR", True)),
        ("1.234,50 EUR", Price(123450, "EUR")),
        ("1,234.50 USD", Price(123450, "USD")),
        ("1 234,50 EUR", Price(123450, "EUR")),
    ],
)
def test_prices(text, price):
    assert parse_price(text) == price


@pytest.mark.parametrize(
    ("text", "message", "remedy"),
    [
        ("-1 EUR", "'-1 EUR' is below zero", "what you own goes under [[have]]"),
        ("-0.5 EUR", "'-0.5 EUR' is below zero", "[[have]]"),
        ("1,234 EUR", "'1,234 EUR': thousands, or decimals?", "'1234 EUR'"),
        ("1.2.3 EUR", "'1.2.3 EUR' is not a price", "6.50 EUR"),
        ("6.50", "'6.50' names no currency", "'6.50 EUR'"),
        ("6.505 EUR", "'6.505 EUR' has parts of a hundredth", "two decimals"),
        ("six EUR", "'six EUR' is not a price", "6.50 EUR"),
        ("", "the price is missing", "6.50 EUR"),
        ("nan EUR", "'nan EUR' is not a price", "6.50 EUR"),
        ("9999999999999 EUR", "more than anything here costs", "6.50 EUR"),
    ],
)
def test_what_is_no_price(text, message, remedy):
    with pytest.raises(UnitError) as caught:
        parse_price(text)
    assert message in caught.value.message
    assert remedy in caught.value.help


@pytest.mark.parametrize("hundredths", [0, 5, 99, 100, 650, 123456])
def test_money_is_read_back_as_written(hundredths):
    assert parse_price(money_text(hundredths, "EUR")) == Price(hundredths, "EUR")


def test_what_is_left_out_is_reported():
    need = read(NEED + HAVE + '[[offer]]\npart = "rg59"\nnear = "BNC-75 plug"\nfar = "F-75 plug"\nprice = "1 EUR"')
    reported = " | ".join(need.assumed)
    for words in (
        "near_impedance 50 ohm",
        "far_impedance 75 ohm",
        "most_items 4",
        "directivity",
        "0.6 m",
        "as many as",
    ):
        assert words in reported


@pytest.mark.parametrize(
    ("rows", "line", "column", "message"),
    [
        ('[[offer]]\npart = "n-plug-bnc-plug"\nprice = "-2 EUR"', 10, 9, "'-2 EUR' is below zero"),
        ('[[offer]]\npart = "n-plug-bnc-plug"', 8, 1, "price is missing"),
        ('[[offer]]\npart = "n-plug-bnc-plug"\nprice = 6.5', 10, 9, "a price is needed here, not a number"),
        ('[[offer]]\npart = "n-plug-bnc-plug"\npirce = "2 EUR"', 10, 1, "'pirce' is not a key of [[offer]]"),
        ('[[offer]]\npart = "n-plug-bnc-plugg"\nprice = "2 EUR"', 9, 8, "the library has no part 'n-plug-bnc-plugg'"),
        ('[[offer]]\npart = "rg59"\nprice = "2 EUR"\nnear = "F-75 plug"', 8, 1, "far is missing"),
        ('[[offer]]\npart = "n-plug-bnc-plug"\nprice = "2 EUR/m"', 10, 9, "is no cable"),
        ('[[offer]]\npart = "n-plug-bnc-plug"\nprice = "2 EUR"\nstock = -1', 11, 9, "out of range"),
        ('[[have]]\npart = "n-plug-bnc-plug"\ncount = 1.5', 10, 9, "a whole number is needed here"),
        ('[[have]]\npart = "n-plug-bnc-plug"\nlength = "1 m"', 10, 1, "length does not apply to an adapter"),
        ('[[have]]\npart = "n-plug-bnc-plug"\nprice = "1 EUR"', 10, 1, "'price' is not a key of [[have]]"),
        ("have = 3", 8, 8, "a list of tables is needed here"),
    ],
)
def test_a_fault_of_a_row_is_reported_in_its_place(rows, line, column, message):
    text = f"{rows}\n{NEED}" if rows.startswith("have =") else NEED + rows
    found = one(text)
    expected = (1, 8) if rows.startswith("have =") else (line, column)
    assert (found.line, found.column) == expected
    assert message in found.message


def test_currencies_are_not_mixed():
    rows = '[[offer]]\npart = "n-plug-bnc-plug"\nprice = "2 EUR"\n[[offer]]\npart = "n-plug-f-jack"\nprice = "3 USD"'
    found = one(NEED + rows)
    assert found.line == 13
    assert found.message == "this price is in USD, that of need.toml:8 in EUR"
    assert "one currency" in found.help


def test_the_currency_of_the_budget_counts():
    found = one(NEED + 'budget = "40 USD"\n[[offer]]\npart = "n-plug-bnc-plug"\nprice = "2 EUR"')
    assert found.message == "this price is in EUR, that of the budget in USD"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('near = "N-50 jack"\n', "", "near is missing"),
        ('"174 MHz"', '"300 MHz"', "stop lies below start"),
        ('"VSWR 2.0"', '"VSWR 2.0"\nplanes = ["near", "fra"]', "'fra' is no plane"),
        ('"VSWR 2.0"', '"VSWR 2.0"\nplanes = []', "no plane is allowed"),
        ('"VSWR 2.0"', '"VSWR 2.0"\ndc = "blok"', "'blok' says nothing of DC"),
        ('"VSWR 2.0"', '"VSWR 2.0"\nmost_items = 9', "out of range"),
        ('"VSWR 2.0"', '"VSWR 2.0"\nbudget = "40 EUR/m"', "a budget is not per metre"),
        ('"VSWR 2.0"', '"VSWR 1"', "no chain can measure that limit"),
        ('"N-50 jack"', '"N-50 jakc"', "is no gender"),
        ("[need]", "[nede]", "'nede' is not a key of the need file"),
    ],
)
def test_a_fault_of_the_need_is_reported(old, new, message):
    assert message in one(NEED.replace(old, new) + HAVE).message


def test_nothing_to_build_from():
    assert "nothing is owned and nothing is on offer" in one(NEED).message


def test_every_fault_is_reported_at_once_in_file_order():
    rows = '[[have]]\npart = "rg95"\n[[offer]]\npart = "n-plug-f-jack"\nprice = "x"\n[[offer]]\nprice = "1 EUR"\n'
    found = defects(NEED.replace('"240 MHz"', '"240"') + rows)
    assert [each.line for each in found] == sorted(each.line for each in found)
    assert [each.line for each in found] == [6, 9, 12, 13]


def test_none_in_stock_is_left_out_with_a_remark():
    need = read(NEED + HAVE + '[[offer]]\npart = "n-plug-f-jack"\nprice = "1 EUR"\nstock = 0')
    assert [offer.name for offer in need.offers] == ["min-loss-pad"]
    assert need.warnings == ("need.toml:10: 'n-plug-f-jack' is out of stock and left out",)


NEW_PART = """
[[adapter]]
id = "my-adapter"
near = "N-50 plug"
far = "F-75 plug"
impedance_ohm = 50
electrical_length_mm = 40
reflection = {return_loss_db = 23}
"""


def test_a_new_part_is_given_in_full():
    need = read(NEED + '[[have]]\npart = "my-adapter"\n' + NEW_PART)
    part = need.offers[0].item.part
    assert (str(part.near_connector), part.electrical_length_m, part.evidence.source) == (
        "N-50 plug",
        0.04,
        "need.toml",
    )


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("impedance_ohm = 50", "impedence_ohm = 50", "unknown key"),
        ('"F-75 plug"', '"F-57 plug"', "no connector family"),
        ("impedance_ohm = 50", 'impedance_ohm = "50"', "a bare number is needed"),
    ],
)
def test_a_fault_of_a_new_part_is_reported_at_the_part(old, new, message):
    found = one(NEED + '[[have]]\npart = "my-adapter"\n' + NEW_PART.replace(old, new))
    assert message in found.message
    assert found.line > 9


def test_a_part_file_is_read_beside_new_parts(tmp_path):
    (tmp_path / "own.toml").write_text(NEW_PART.replace("my-adapter", "other"), encoding="utf-8")
    text = 'library = ["own.toml"]\n' + NEED + '[[have]]\npart = "my-adapter"\n[[have]]\npart = "other"\n' + NEW_PART
    assert [offer.name for offer in read(text, tmp_path).offers] == ["my-adapter", "other"]


TABLE = "part,price,currency,stock\nn-plug-bnc-plug,6.50,EUR,3\nn-plug-f-jack,7.50,EUR,1\n"


@pytest.mark.parametrize(
    "table",
    [
        TABLE,
        TABLE.replace(",", ";"),
        TABLE.replace(",", "\t"),
        TABLE.replace("\n", "\r\n"),
        "\ufeff" + TABLE,
        "# a remark, with commas,,,,\n\n" + TABLE,
        TABLE.replace("part,price", "Part, Price"),
        TABLE.replace(",EUR", " EUR,"),
        TABLE.replace("6.50", '"6.50"'),
    ],
)
def test_tables_of_offers(tmp_path, table):
    need = read(with_table(tmp_path, table), tmp_path)
    assert [(each.name, each.price, each.stock) for each in need.offers] == [
        ("n-plug-bnc-plug", 650, 3),
        ("n-plug-f-jack", 750, 1),
    ]


def test_a_table_states_figures_of_its_own(tmp_path):
    table = "part,price,currency,near,far,length,velocity_factor,reversed,reflection\n"
    table += "rg59,3.20,EUR,BNC-75 plug,F-75 plug,1.5 m,0.7,,VSWR 1.2\nmin-loss-pad,9,EUR,,,,,true,30 dB\n"
    lead, pad = read(with_table(tmp_path, table), tmp_path).offers
    assert (lead.item.length_m, lead.item.part.velocity_factor) == (1.5, 0.7)
    assert pad.item.reversed
    assert pad.item.part.near_limit.return_loss_db == (30.0,)


@pytest.mark.parametrize(
    ("row", "column", "message", "remedy"),
    [
        ("n-plug-bnc-jack,6,50,EUR,3", 17, "5 cells, where there are 4 columns: a decimal comma?", "6.50"),
        ('n-plug-bnc-jack,"6,505",EUR,3', 18, "'6,505': thousands, or decimals?", "6505"),
        ("n-plug-bnc-jack,-6,EUR,3", 17, "'-6' is below zero", "[[have]]"),
        ("n-plug-bnc-jack,,EUR,3", 17, "the price is missing", "EUR"),
        ("n-plug-bnc-jack", 1, "the price is missing", "EUR"),
        ("n-plug-bnc-jack,6,USD,3", 19, "this price is in USD, that of shop.csv:2 in EUR", "one currency"),
        ("n-plug-bnc-jack,6,,3", 19, "'6' names no currency", "EUR"),
        ("n-plug-bnc-jack,6,Euro,3", 19, "'Euro' is no currency", "EUR"),
        ("n-plug-bnc-jack,6,EUR,-3", 23, "a stock of '-3' is below zero", "0"),
        ("n-plug-bnc-jack,6,EUR,many", 23, "'many' is no stock", "whole number"),
        ("n-plug-bnc-jakc,6,EUR,3", 1, "the library has no part 'n-plug-bnc-jakc'", "n-plug-bnc-jack"),
        (",6,EUR,3", 1, "part is missing", "part"),
    ],
)
def test_a_fault_of_a_table_is_reported_in_its_place(tmp_path, row, column, message, remedy):
    found = one(with_table(tmp_path, TABLE + row + "\n"), tmp_path)
    assert found.path.endswith("shop.csv")
    assert (found.line, found.column) == (4, column)
    assert message.replace("shop.csv", str(tmp_path / "shop.csv")) in found.message
    assert remedy in found.help


def test_a_semicolon_table_with_decimal_commas(tmp_path):
    """As spreadsheets of Windows write it: comma, euro sign of one byte, both ends of a line."""
    table = "part;price;currency;stock\nn-plug-bnc-plug;6,50;EUR;3\n"
    (offer,) = read(with_table(tmp_path, table), tmp_path).offers
    assert offer.price == 650
    table = "part;price\r\nn-plug-bnc-plug;6,50 \u20ac\r\n".encode("cp1252")
    (offer,) = read(with_table(tmp_path, table), tmp_path).offers
    assert offer.price == 650


def test_a_table_that_is_too_large_is_refused_at_its_size(tmp_path, monkeypatch):
    """A byte less is read."""
    table = "part,price,currency\nn-plug-f-jack,1,EUR\n"
    monkeypatch.setattr("chain.selection.offers.LARGEST", len(table))
    assert len(read(with_table(tmp_path, table), tmp_path).offers) == 1
    assert "the table is over" in one(with_table(tmp_path, table + " "), tmp_path).message


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ("part,prize,currency\nn-plug-f-jack,1,EUR\n", "'prize' is no column of offers"),
        ("part,currency\nn-plug-f-jack,EUR\n", "column price is missing"),
        ("price,currency\n1,EUR\n", "column part is missing"),
        ("part,price,price\nn-plug-f-jack,1 EUR,2 EUR\n", "column 'price' is there twice"),
        ("", "the table is empty"),
        ("# only a remark\n", "there is no line of column names"),
        (TABLE.encode("utf-16"), "UTF-16"),
        (b"part,price\n\xff\xff,1 EUR\n", "not UTF-8"),
    ],
)
def test_a_table_that_cannot_be_read(tmp_path, table, message):
    assert message in one(with_table(tmp_path, table), tmp_path).message


def test_a_table_that_is_not_there(tmp_path):
    found = one('offers = "shop.csv"\n' + NEED, tmp_path)
    assert (found.line, found.column, found.message) == (1, 10, "there is no file 'shop.csv'")


def test_an_offer_given_twice_is_reported_and_counted_once_with_both_stocks(tmp_path):
    need = read(with_table(tmp_path, TABLE + "n-plug-bnc-plug,6.50,EUR,2\nn-plug-bnc-plug,9,EUR,1\n"), tmp_path)
    assert [(each.price, each.stock) for each in need.offers] == [(650, 5), (750, 1), (900, 1)]
    path = tmp_path / "shop.csv"
    assert need.warnings == (f"{path}:4: the same offer of 'n-plug-bnc-plug' as in line 2; their stocks are added",)


def test_stock_0_in_a_table_is_reported(tmp_path):
    need = read(with_table(tmp_path, TABLE + "n-plug-bnc-jack,6.50,EUR,0\n"), tmp_path)
    assert need.warnings == (f"{tmp_path / 'shop.csv'}:4: 'n-plug-bnc-jack' is out of stock and left out",)
    assert len(need.offers) == 2


@pytest.mark.parametrize("lines", [20_000, *wide(100_000)])
def test_a_long_table_loses_no_line(lines, tmp_path):
    rows = [f"n-plug-bnc-plug,{number // 100}.{number % 100:02d},EUR,1" for number in range(1, lines)]
    need = read(with_table(tmp_path, "part,price,currency,stock\n" + "\n".join(rows)), tmp_path)
    assert len(need.offers) == lines - 1
    assert sum(offer.price for offer in need.offers) == sum(range(1, lines))


def test_many_faults_are_counted(tmp_path):
    rows = ["n-plug-bnc-plug,x,EUR,1"] * 500
    found = defects(with_table(tmp_path, "part,price,currency,stock\n" + "\n".join(rows)), tmp_path)
    assert len(found) == 51
    assert found[-1].message == "450 more defects from here on"


def test_the_schema_file_is_what_the_models_give():
    kept = json.loads((ROOT / "chain" / "files" / "schemas" / "need.schema.json").read_text(encoding="utf-8"))
    assert kept == need_schema()


def test_the_example_keeps_to_the_schema_and_slips_do_not():
    import sys

    if sys.version_info >= (3, 11):
        import tomllib
    else:
        import tomli as tomllib
    judge = jsonschema.Draft202012Validator(need_schema())
    example = tomllib.loads((ROOT / "demo" / "need.toml").read_text(encoding="utf-8"))
    assert list(judge.iter_errors(example)) == []
    for path, value in [
        (("need", "budget"), "40"),
        (("need", "near_ohm"), 50),
        (("need", "limit"), 2.0),
        (("offer", 0, "price"), 6.5),
        (("offer", 0, "pirce"), "1 EUR"),
        (("have", 0, "count"), -1),
    ]:
        slip = json.loads(json.dumps(example))
        at = slip
        for step in path[:-1]:
            at = at[step]
        at[path[-1]] = value
        assert list(judge.iter_errors(slip)), path


def test_the_schema_describes_every_key():
    schema = need_schema()
    for table in (schema["properties"]["need"], schema["$defs"]["have"], schema["$defs"]["offer"]):
        for key, reported in table["properties"].items():
            assert reported.get("description"), key
            assert reported.get("examples"), key


def test_parts_with_limits_of_a_table_are_those_of_offers_one_by_one(tmp_path):
    """Rows of a table share what they rest on; `[[offer]]` places each by itself."""
    library = load_library()
    rng = np.random.default_rng(4)
    kinds = ("adapter", "pad", "section", "transformer", "network", "termination")
    parts = [
        name for kind in kinds for name in library.ids(kind) if getattr(library.part(name), "type", "load") == "load"
    ]
    rows = [(parts[rng.integers(len(parts))], f"{rng.integers(15, 20)} dB") for _ in range(400)]
    rows += [(name, f"VSWR 1.{rng.integers(1, 4)}") for name in library.ids("pad") * 3]
    sound = []
    for number, (part, limit) in enumerate(rows):
        keys = f'part = "{part}"\nreflection = "{limit}"\n'
        with suppress(InputError):
            (offer,) = parse_need(f'{NEED}[[offer]]\n{keys}price = "{number + 1} EUR"\nstock = 2\n'.encode()).offers
            sound.append((part, limit, offer))
    table = "part,price,currency,stock,reflection\n"
    table += "".join(f"{part},{offer.price // 100},EUR,2,{limit}\n" for part, limit, offer in sound)
    offers = read(with_table(tmp_path, table), tmp_path).offers
    assert len(offers) == len(sound) > 300
    assert {type(offer.item.part).__name__ for offer in offers} >= {"Adapter", "Pad", "Termination"}
    assert len({id(offer.model) for offer in offers}) < len(offers) / 2
    for found, (_, _, expected) in zip(offers, sound, strict=True):
        assert (found.item, found.price, found.stock) == (expected.item, expected.price, expected.stock)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("n-plug-bnc-plug,6,EUR,1,26", "'26' has no unit"),
        ("open-f-plug,6,EUR,1,26 dB", "reflection belongs to a load"),
        ("rg59,6,EUR,1,26 dB", "near is missing"),
        ("n-plug-bnc-plug,6.505,EUR,1,26 dB", "parts of a hundredth"),
    ],
)
def test_a_fault_is_reported_in_a_row_like_sound_ones(tmp_path, row, message):
    table = "part,price,currency,stock,reflection\n" + "n-plug-bnc-plug,6,EUR,1,26 dB\nn-plug-bnc-plug,7,EUR,1,27 dB\n"
    with pytest.raises(InputError) as caught:
        read(with_table(tmp_path, f"{table}{row}\n{row}\n"), tmp_path)
    assert [defect.line for defect in caught.value.defects if message in defect.message] == [4, 5]


def test_a_screen_without_phase_is_calibrated_at_its_own_port_unless_stated():
    text = Path("demo/need.toml").read_text(encoding="utf-8").replace("planes =", 'shows = "vswr"\nplanes =')
    with pytest.raises(InputError) as caught:
        parse_need(text.encode(), "need.toml", Path("demo"))
    assert [each.message.rpartition(" ")[2] for each in caught.value.defects] == ["'after-pad'", "'far'"]
    stated = re.search(r"add (calibrates_at = .+)", caught.value.defects[0].help)[1]
    assert parse_need(text.replace("planes =", f"{stated}\nplanes =").encode(), "need.toml", Path("demo")).planes[1:]
    left_out = re.sub(r"planes = .*\n", "", text)
    assert parse_need(left_out.encode(), "need.toml", Path("demo")).planes == ("near",)
