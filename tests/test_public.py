"""The public surface: complete, sorted, light; results that show themselves as text, table, DataFrame and Network."""

import importlib
import inspect
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from xml.etree import ElementTree

import few_trials
import numpy as np
import pytest
from public_stub import STUB, stub_text

import chain
from chain.errors import ChainError, RangeError
from chain.results import HEAD, TAIL, ResultTable

ROOT = Path(__file__).parent.parent
DEMO = "demo/boathouse.toml"
SETUP = ROOT / DEMO
SWEEP = ROOT / "demo" / "boathouse.s1p"


@pytest.fixture(scope="module")
def setup():
    """The demo's set-up at every eleventh of its frequencies."""
    found = chain.load_setup(str(SETUP))
    return replace(found, sweep=replace(found.sweep, points=13))


def every_eleventh(readings):
    return replace(
        readings,
        freq_hz=readings.freq_hz[::11],
        magnitude=readings.magnitude[::11],
        reflection=readings.reflection[::11],
    )


@pytest.fixture(scope="module")
def results(setup):
    """One result of each kind that a set-up and its sweep give, few draws."""
    with pytest.MonkeyPatch.context() as here:
        few_trials.lower(here)
        yield made(setup)


def made(setup):
    whole = chain.read_sweep(str(SWEEP))
    readings = every_eleventh(whole)
    return {
        "setup": setup,
        "readings": readings,
        "account": chain.account(setup),
        "budget": chain.budget(setup),
        "check": chain.check(setup),
        "expect": chain.expect(setup, draws=1000),
        "recover": chain.recover(setup, readings, draws=1000),
        "planes": chain.compare_planes(setup, draws=1000),
        "improve": chain.improve(setup),
        "choose": chain.choose(chain.load_need(str(ROOT / "demo" / "need.toml"))),
        "card": chain.card(setup),
        "prove": chain.prove(setup, chain.known_ends({"open": ["2.20"], "load": ["1.67"]}, 207e6), draws=20_000),
        "ripple": chain.ripple(whole, setup, gate=False),
        "compare": chain.compare_antennas(setup, readings, readings, exchanged=False),
    }


def test_the_public_names_are_sorted_and_each_is_a_documented_function_or_class():
    """What `from chain import *` would give: nothing missing, nothing that is a module, nothing untold."""
    names = chain.__all__[1:]
    assert names == sorted(names)
    for name in names:
        found = getattr(chain, name)
        assert callable(found), name
        assert not isinstance(found, ModuleType), name
        assert found.__doc__, name
        assert name in dir(chain)


def test_type_checkers_are_reported_of_what_is_taken():
    """The stub is that of the functions as they are; it names every public name, and nothing inside is shown by dir()."""
    text = STUB.read_text(encoding="utf-8")
    assert text == stub_text(), "run 'python tests/make_references.py __init__.pyi'"
    assert set(chain.__all__) <= set(re.findall(r"^(?:def |from .* as )?(\w+)(?=[(:\n])", text, flags=re.MULTILINE))
    assert not {"import_module", "FunctionType", "_HOMES"} & set(dir(chain))


@pytest.mark.statistical
def test_what_is_taken_passes_a_type_checker(tmp_path):
    """Paths, texts, arrays and tables pass; a number in place of readings does not."""
    user = tmp_path / "user.py"
    user.write_text(
        "from pathlib import Path\nimport numpy as np\nimport chain\n"
        'a = chain.recover("x.toml", "VSWR 1.3 at 210 MHz").typical_share + 1\n'
        'b = chain.recover(Path("x.toml"), (np.array([2e8]), np.array([0.1j])), draws=4000)\n'
        'c = chain.recover("x.toml", {"freq_hz": [2e8], "vswr": [1.5]})\n'
        'd = chain.expect("x.toml", 2.0)\n'
        'e = chain.recover("x.toml", 3)\n',
        encoding="utf-8",
    )
    words = [sys.executable, "-m", "mypy", "--strict", str(user)]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert "Found 1 error" in done.stdout, done.stdout + done.stderr
    assert 'user.py:8: error: Argument 2 to "recover"' in done.stdout


def test_every_command_that_answers_has_its_function_here():
    """Commands that compute are functions of one set-up (or of a sweep, or of a need) under `chain`."""
    from chain.cli.main import COMMANDS

    without = {"new", "parts", "schema", "report", "card"}
    names = {
        "learn": "learn_lead",
        "planes": "compare_planes",
        "compare": "compare_antennas",
        "log": "log_trends",
        "follow": "follow_folder",
    }
    for command in (name for section in COMMANDS.values() for name in section):
        if command not in without:
            assert names.get(command, command) in chain.__all__, command


def test_no_room_is_called_like_a_public_function():
    """`from chain import expect` gives the function, whatever was imported first."""
    rooms = {path.parent.name for path in (ROOT / "chain").glob("*/__init__.py")}
    modules = {path.stem for path in (ROOT / "chain").glob("*.py")}
    from chain.cli.main import COMMANDS

    commands = {name for section in COMMANDS.values() for name in section}
    assert not (rooms | modules) & {*chain._HOMES, *commands}


@pytest.mark.parametrize("loaded", ["", "import chain.cli.main; "])
@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("compare", "compare_antennas, compare_levels, compare_planes or compare_seen"),
        ("planes", "compare_planes"),
        ("report", "page or page_html"),
        ("new", "setup_of"),
        ("follow", "follow_folder"),
        ("expectt", "expect"),
        ("zebra", ""),
    ],
)
def test_a_name_that_is_none_says_which_may_be_meant(name, meant, loaded):
    """In an import and as an attribute alike, whatever was imported before; `hasattr` still only says no."""
    hint = f"; did you mean {meant}?" if meant else ""
    code = (
        f"{loaded}import chain\ntry: from chain import {name}\nexcept ImportError as e: print(e)\n"
        f"try: chain.{name}\nexcept AttributeError as e: print(e)\nprint(hasattr(chain, {name!r}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.splitlines() == [
        f"cannot import name {name!r} from 'chain'{hint}",
        f"module 'chain' has no attribute {name!r}{hint}",
        "False",
    ]


def test_rooms_are_still_modules_of_the_package():
    """`from chain import files` is none of the public names, and no error."""
    from chain import files

    assert isinstance(files, ModuleType)


def test_help_tells_what_is_taken():
    """Signature and text of every function that settles an argument name what may be handed over."""
    from chain.calls.describing import TAKEN_AS

    text, shown = chain.recover.__doc__, str(inspect.signature(chain.recover))
    for words in ("Readings", "path", "VSWR 1.30 at 210 MHz", "arrays", "DataFrame", "channel", "Network"):
        assert words in text, words
    for words in ("DataFrame", "Network", "PathLike", "ArrayLike"):
        assert words in shown, words
    told = 0
    for name in chain.__all__[1:]:
        function = getattr(chain, name)
        if not inspect.isfunction(function):
            continue
        inner = inspect.signature(inspect.unwrap(function)).parameters
        outer = inspect.signature(function).parameters
        for argument, each in inner.items():
            base = str(each.annotation).removesuffix(" | None").partition(" | Setup")[0]
            if base in TAKEN_AS and hasattr(function, "__wrapped__"):
                told += 1
                assert outer[argument].annotation != each.annotation, (name, argument)
                assert f"\n{argument} : {TAKEN_AS[base][1]}." in function.__doc__, (name, argument)
        assert list(inner) == list(outer)
    assert told > 30


def test_importing_the_package_is_light():
    """`import chain` brings neither numpy nor any other library."""
    code = (
        "import sys, chain; print(sorted({'numpy', 'skrf', 'pandas', 'rich', 'click', 'networkx'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_result_shows_itself_in_one_line_and_as_a_table(results, monkeypatch):
    """The line names the kind; the text holds the head line, the names of the columns and one line a row."""
    monkeypatch.setenv("COLUMNS", "1000")
    for name, found in results.items():
        table = found.table()
        rows = len(next(iter(table.values())))
        assert {len(values) for values in table.values()} == {rows}, name
        assert re.fullmatch(rf"<{type(found).__name__}: .+; {rows} rows?>", repr(found), re.DOTALL), name
        lines = str(found).splitlines()
        assert lines[0] == found.headline()
        assert lines[1].split() == [re.sub("_hz$", "_mhz", each) for each in table]
        warnings = [f"warning: {text}" for text in getattr(found, "warnings", ())]
        assert lines[len(lines) - len(warnings) :] == warnings, name
        assert len(lines) == 2 + (rows if rows <= HEAD + TAIL + 1 else HEAD + TAIL + 1) + len(warnings), name


def test_no_result_hides_its_table_behind_the_text_of_its_dataclass():
    """Every class that shows itself was declared with `repr=False`, and says what its table holds."""
    for path in sorted((ROOT / "chain").glob("*.py")):
        if "(Shown)" in path.read_text(encoding="utf-8"):
            importlib.import_module(f"chain.{path.stem}")
    found = ResultTable.__subclasses__()
    assert len(found) > 10
    for each in found:
        assert each.__repr__ is ResultTable.__repr__, each
        assert each.__str__ is ResultTable.__str__, each
        assert each.COLUMNS or each.table is not ResultTable.table, each
        assert (
            not each.ROWS or each.ROWS in each.__dataclass_fields__ or isinstance(vars(each).get(each.ROWS), property)
        ), each


def test_a_notebook_gets_well_formed_html_of_the_same_table(results):
    """Every cell of the table is in the markup, whose text parses as XML."""
    for found in results.values():
        root = ElementTree.fromstring(found._repr_html_())
        heads = [each.text for each in root.iter("th")]
        assert len(heads) == len(found.table())
        assert root.find("caption").text == found.headline()
        assert all(len(list(row)) == len(heads) for row in root.find("tbody"))


def test_text_of_a_users_file_is_neither_markup_nor_terminal_escapes(setup):
    """A hostile title and id stay text in the table, in the line and in the markup."""
    item = replace(setup.items[0], id="<b>&\x1b[31m")
    found = replace(setup, title="<script>alert(1)</script>\x1b]0;x\x07", items=(item, *setup.items[1:]))
    assert "<script" not in found._repr_html_()
    assert "<b>" not in found._repr_html_()
    assert "&lt;b&gt;&amp;" in found._repr_html_()
    for text in (repr(found), str(found), found._repr_html_()):
        assert "\x1b" not in text
        assert "\x07" not in text


def test_a_dataframe_holds_every_row_with_references_beside_it(results):
    """Columns are the result's own arrays, bit for bit; title, seed and references are in `attrs`."""
    frame = results["recover"].to_dataframe()
    assert len(frame) == 13
    np.testing.assert_array_equal(frame["true_vswr"], results["recover"].true_vswr)
    assert frame.attrs["far_ohm"] == 75.0
    assert frame.attrs["reading_ohm"] == 50.0
    assert frame.attrs["seed"] == results["recover"].seed
    assert results["budget"].to_dataframe()["pad_attenuation_db"].iloc[0] == pytest.approx(5.719, abs=1e-3)
    for found in results.values():
        whole = found.to_dataframe().reset_index()
        assert set(found.table()) <= {*whole}
        beside = re.compile(r"return_loss_((low|high)_)?db$|reflection$|_ohm$|index$")
        assert all(name in found.table() or beside.search(str(name)) for name in whole)


def test_a_missing_pandas_is_one_sentence_with_the_remedy(results, monkeypatch):
    """No ImportError: our own error, with the line that installs it."""
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(ChainError, match="pip install pandas"):
        results["check"].to_dataframe()


def test_networks_carry_the_same_figures_in_the_right_references(results):
    """Two-port of the budget and one-port of the recovery agree with scikit-rf's own conversions.

    The impedance is computed by scikit-rf (`Network.z`); the cascade of the two gives the reading back, which checks the
    two against each other through scikit-rf's `**`.
    """
    two, one = results["budget"].to_network(), results["recover"].to_network()
    assert two.z0[0].real.tolist() == [50.0, 75.0]
    assert one.z0[0].real.tolist() == [75.0]
    np.testing.assert_allclose(one.z[:, 0, 0], results["recover"].true_ohm, rtol=1e-9)
    np.testing.assert_allclose((two**one).s[:, 0, 0], results["readings"].reflection, atol=1e-9)
    np.testing.assert_allclose(results["readings"].to_network(50.0).s[:, 0, 0], results["readings"].reflection)


def test_readings_without_a_phase_have_no_network(setup):
    """A phase is never made up."""
    typed = chain.typed_readings("VSWR 1.3 at 210 MHz")
    with pytest.raises(RangeError, match="no phase"):
        typed.to_network(50.0)
    with pytest.raises(RangeError, match="no phase"):
        chain.recover(setup, typed, draws=1000).to_network()


def test_what_does_not_apply_is_an_empty_cell_and_infinity_is_reported():
    """NaN and None show as nothing, infinity as inf, a long text is cut on a terminal but not in markup."""

    class Sample(ResultTable):
        COLUMNS = ("freq_hz", "loss_db", "note")
        freq_hz = (1e8, 2.5e8, 3e8)
        loss_db = (float("nan"), float("inf"), None)
        note = ("x" * 100, "", "y")
        title = "Sample"

    lines = str(Sample()).splitlines()
    assert lines[1].split() == ["freq_mhz", "loss_db", "note"]
    assert lines[2].split() == ["100", "x" * 57 + "..."]
    assert lines[3].split() == ["250", "inf"]
    assert lines[4].split() == ["300", "y"]
    assert "x" * 100 in Sample()._repr_html_()
