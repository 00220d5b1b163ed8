"""The commands as a user calls them: help, JSON under the contracted keys, the exported two-port, the bare pad."""

import json
import re
import shlex
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from pages import thinned

from chain.cli.main import COMMANDS, chain

pytestmark = pytest.mark.usefixtures("answered_once")

NAMES = [name for section in COMMANDS.values() for name in section]
BOATHOUSE = "demo/boathouse.toml"


def run(*words, status=0):
    """Standard output of a command that must end with the status."""
    done = CliRunner().invoke(chain, list(words))
    assert done.exit_code == status, done.output
    return done.stdout


def document(*words):
    """The one JSON object that a command writes, with neither NaN nor infinity in it."""

    def refuse(text):
        raise AssertionError(f"{text} in JSON")

    return json.loads(run(*words, "--json"), parse_constant=refuse)


def examples(name):
    """Examples in the help of a command, those that go over several lines joined as a shell joins them."""
    text = chain.get_command(None, name).help.split("Examples:")[1]
    lines = re.sub(r" \\\n\s+", " ", text).splitlines()
    return [line.strip() for line in lines if line.strip().startswith("chain ")]


@pytest.mark.parametrize("name", NAMES)
def test_every_command_has_the_help_that_the_group_promises(name):
    """The group lists commands without importing them, from a table that names each once."""
    assert chain.get_command(None, name).name == name
    assert examples(name)
    own = getattr(chain.get_command(None, name), "commands", {})
    for words in [(name, each) for each in own] or [(name,)]:
        text = run(*words, "--help")
        for option in ("--json", "--quiet", "--color", "--seed", "--output", "--force", "--debug"):
            assert option in text, words


@pytest.mark.parametrize("name", ["", *NAMES])
def test_help_keeps_within_80_columns(name):
    """On a terminal of 80 columns no line is broken by it, of examples least of all."""
    own = getattr(chain.get_command(None, name), "commands", {}) if name else {}
    for words in [(name, each) for each in own] + [tuple(filter(None, [name]))]:
        done = CliRunner().invoke(chain, [*words, "--help"], terminal_width=80)
        assert not [line for line in done.stdout.splitlines() if len(line) > 80], words


@pytest.mark.parametrize("name", NAMES)
def test_no_two_parameters_share_a_name(name):
    """One would overwrite the other: an argument of a command, say, and an option of all commands."""
    group = chain.get_command(None, name)
    for command in (group, *getattr(group, "commands", {}).values()):
        names = [each.name for each in command.params]
        assert sorted(names) == sorted(set(names))


@pytest.mark.replay
@pytest.mark.parametrize("line", [line for name in NAMES for line in examples(name)])
def test_examples_of_the_help_run(line, tmp_path, monkeypatch):
    """What help shows can be typed beside a copy of demo; a folder is watched for what lies in it, not for ever."""
    shutil.copytree("demo", tmp_path / "demo")
    shutil.copytree(
        "demo", tmp_path / "sweeps", ignore=lambda _, names: {each for each in names if "plane-after" not in each}
    )
    monkeypatch.chdir(tmp_path)
    words = shlex.split(line.split(" && ")[0].split(" > ")[0])[1:]
    run(*words, *(["--once"] if words[0] == "follow" and "--once" not in words else []))


def test_check_document():
    found = document("check", BOATHOUSE)
    assert found["schema_version"] == 4
    assert found["title"].startswith("Boathouse")
    assert isinstance(found["assumed"], list)
    assert isinstance(found["warnings"], list)
    assert found["fits"] is True
    assert len(found["joints"]) == 4
    assert {"near", "far", "verdict", "reason"} <= set(found["joints"][0])
    assert {"level", "where", "text", "remedy"} <= set(found["cautions"][0])


def test_budget_document():
    """Shares add up to 1 at every frequency; complex numbers are pairs; arrays run over the frequencies."""
    found = document("budget", BOATHOUSE)
    count = len(found["freq_hz"])
    assert count == 133
    assert (found["near_ohm"], found["far_ohm"]) == (50.0, 75.0)
    arrays = (
        "transducer_loss_db insertion_loss_db near_return_loss_db far_return_loss_db reflected_share delivered_share "
        "interaction_db near_mismatch_loss_db dissipative_loss_db"
    )
    for key in arrays.split():
        assert len(found[key]) == count, key
    assert np.array(found["s"]).shape == (count, 2, 2, 2)
    assert [item["id"] for item in found["items"]] == ["adapter", "pad", "lead"]
    heat = np.sum([item["dissipated_share"] for item in found["items"]], axis=0)
    np.testing.assert_allclose(np.array(found["reflected_share"]) + found["delivered_share"] + heat, 1, atol=1e-12)
    parts = np.array(found["near_mismatch_loss_db"]) + found["dissipative_loss_db"]
    np.testing.assert_allclose(parts, found["transducer_loss_db"], atol=1e-12)
    assert {"near", "far", "mismatch_loss_db"} <= set(found["joints"][0])


def test_budget_of_a_chain_that_reflects(tmp_path):
    """A minimum-loss pad the wrong way round reflects; the terms follow from the exported S and from the closed form.

    Seen from its 75-ohm end a pad of 43.30 ohm in series and 86.60 ohm across shows
    43.30 + 86.60 || 75 = 83.49 ohm where the antenna's 75 ohm hang on it, a reflection of 0.2509 in 50 ohm. Closed form.
    """
    text = (
        Path(BOATHOUSE).read_text(encoding="utf-8").replace('"min-loss-pad" ', '"min-loss-pad-box"\nreversed = true ')
    )
    path = tmp_path / "reversed.toml"
    path.write_text(text, encoding="utf-8")
    found = document("budget", str(path))
    reflection = np.array(found["s"])[:, 0, 0] @ [1, 1j]
    through = np.array(found["s"])[:, 1, 0] @ [1, 1j]
    series, shunt = 43.3012702, 86.6025404
    ohm = series + shunt * 75 / (shunt + 75)
    np.testing.assert_allclose(np.abs(reflection), (ohm - 50) / (ohm + 50), atol=0.03)
    mismatch = -10 * np.log10(1 - np.abs(reflection) ** 2)
    np.testing.assert_allclose(found["near_mismatch_loss_db"], mismatch, atol=1e-9)
    heat = 10 * np.log10((1 - np.abs(reflection) ** 2) / np.abs(through) ** 2)
    np.testing.assert_allclose(found["dissipative_loss_db"], heat, atol=1e-9)


def test_expect_document():
    found = document("expect", BOATHOUSE, "--true", "VSWR 2.0", "--true", "VSWR 3.0")
    keys = ["true_vswr", "reading_vswr", "reading_low", "reading_high", "bound_low", "bound_high"]
    assert [row["true_vswr"] for row in found["rows"]] == [2.0, 3.0]
    for row in found["rows"]:
        assert set(keys) <= set(row)
        assert row["bound_low"] <= row["reading_low"] <= row["reading_vswr"] <= row["reading_high"] <= row["bound_high"]
    assert 1.6 < found["ceiling_vswr"] < 1.74
    assert found["aim_bound_vswr"] is None
    assert found["aim_bound_reason"]
    assert found["aim_reading_vswr"] < found["rows"][0]["reading_vswr"]
    assert np.array(found["sweep"]["reading_vswr"]).shape[-1] == 133
    assert {"seed", "draws", "coverage"} <= set(found)


def test_planes_document():
    found = document("planes", BOATHOUSE)
    assert {"plane", "standards", "true_vswr", "low", "high", "noise_gain_db"} <= set(found["planes"][0])
    assert found["recommended"] in [plane["plane"] for plane in found["planes"]]


def test_recover_document_of_single_readings():
    found = document("recover", BOATHOUSE, "--reading", "VSWR 1.1 at 210 MHz", "--reading", "RL -26 dB at 180 MHz")
    keys = (
        "freq_hz plane reading_vswr true_vswr true_reflection true_ohm low high bound_low bound_high coverage "
        "excluded_share seed draws channels contributions cure"
    )
    assert set(keys.split()) <= set(found)
    assert found["freq_hz"] == [180e6, 210e6]
    assert found["true_reflection"] is None
    assert found["true_ohm"] is None
    assert found["plane"] == "near"
    assert sum(each["share"] for each in found["contributions"]) == pytest.approx(1)
    assert {"what", "low", "high"} <= set(found["cure"])


def nulls(value, name=""):
    """Keys under which a null stands."""
    if value is None:
        yield name
    elif isinstance(value, dict):
        for key, each in value.items():
            yield from nulls(each, key)
    elif isinstance(value, list):
        for each in value:
            yield from nulls(each, name)


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(
    "words",
    [
        ("expect", BOATHOUSE),
        ("recover", BOATHOUSE, "--reading", "VSWR 1.69 at 200 MHz", "--reading", "VSWR 2.9 at 210 MHz"),
        ("parts", "splitter-2"),
    ],
)
def test_every_null_has_its_reason(words):
    found = document(*words)
    assert set(nulls(found)) == set(found["null_means"])
    assert all(found["null_means"].values())


@pytest.mark.usefixtures("few_trials")
def test_recover_document_of_a_complex_sweep_with_channels(tmp_path):
    found = document("recover", *map(str, thinned("plane-after-pad", tmp_path)))
    assert found["plane"] == "pad"
    assert np.array(found["true_ohm"]).shape == (57, 2)
    assert [each["channel"] for each in found["channels"]] == [str(number) for number in range(5, 13)]
    assert {"vswr", "low", "high", "verdict"} <= set(found["channels"][0])


def test_parts_document():
    found = document("parts", "rg59", "--at", "200 MHz", "--length", "25 m")
    hundred = document("parts", "rg59", "--at", "200 MHz")
    (part,) = found["parts"]
    assert part["id"] == "rg59"
    assert part["evidence"]["source"]
    assert part["losses"][0]["loss_db"] == pytest.approx(hundred["parts"][0]["losses"][0]["loss_db"] / 4)


@pytest.mark.usefixtures("few_trials")
def test_seed_is_used_and_reported(answered_once):
    """The same seed gives the same answer, another seed another one."""
    words = ("recover", BOATHOUSE, "--reading", "VSWR 1.1 at 210 MHz", "--seed")
    first = document(*words, "7")
    answered_once()
    again, other = document(*words, "7"), document(*words, "8")
    assert first == again
    assert first["seed"] == 7
    assert first["high"] != other["high"]


# Shown and true VSWR behind an ideal minimum-loss pad: reflection magnitudes differ by twice 10 log10(2 + sqrt 3) dB.
# Figures: computed from that, rounded as a practitioner's rule of thumb gives them.
@pytest.mark.parametrize(
    ("shown", "true", "within"), [(1.2, 2.03, 0.01), (1.3, 2.90, 0.01), (1.5, 6.9, 0.05), (1.7, 61, 1)]
)
def test_bare_pad(shown, true, within):
    found = document("recover", "--reading", f"VSWR {shown} at 100 MHz")
    assert found["true_vswr"][0] == pytest.approx(true, abs=within)
    # A typical pad and a handheld analyzer leave far more room than the arithmetic of the pad.
    assert found["low"][0] < 0.8 * true < true < 0.8 * (found["high"][0] or 1e9)
    assert "handheld" in found["assumed"][0]


@pytest.mark.usefixtures("few_trials")
def test_bare_pad_under_a_sweep():
    found = document("recover", "demo/boathouse.csv")
    assert len(found["true_vswr"]) == 133
    assert found["interpretation"].startswith("column 2 'return_loss_db' read as return loss")


def test_two_port_export(tmp_path):
    """scikit-rf reads the exported file: both references, and the S-parameters of the JSON."""
    import skrf

    path = tmp_path / "boathouse.ts"
    run("budget", BOATHOUSE, "--touchstone", str(path))
    network = skrf.Network(str(path))
    found = document("budget", BOATHOUSE)
    s = np.array(found["s"]) @ [1, 1j]
    np.testing.assert_allclose(network.f, found["freq_hz"])
    np.testing.assert_allclose(network.z0[0], [50, 75])
    np.testing.assert_allclose(network.s, s, atol=1e-12)


def test_new_is_a_set_up_that_loads(tmp_path):
    path = tmp_path / "mine.toml"
    run("new", "-o", str(path))
    assert path.read_text(encoding="utf-8") == run("new")
    assert document("check", str(path))["fits"] is True


@pytest.mark.parametrize("of", ["setup", "library"])
def test_schema_is_a_json_schema(of):
    from jsonschema import Draft202012Validator

    Draft202012Validator.check_schema(json.loads(run("schema", of)))


def test_parts_lists_and_suggests():
    text = run("parts", "--kind", "coax", "--at", "200 MHz", "--all")
    assert "rg59" in text
    assert "dB at" in text
    done = CliRunner().invoke(chain, ["parts", "rg95"])
    assert done.exit_code == 2
    assert "did you mean 'rg59'" in done.stderr


@pytest.mark.parametrize(
    ("words", "first"),
    [
        ("TV", "tv: television set"),
        ("wall outlet", "outlet-end: wall outlet"),
        ("wall socket", "outlet-end"),
        ("dc block", "dc-block-f"),
        ("balun", "balun-300-75"),
        ("N male", "min-loss-pad-n"),
        ("75 ohm load", "load-bnc75-plug"),
        ("splitters", "splitter-2-ideal"),
        ("feeder", "rg58"),
        ("amp", "masthead"),
    ],
)
def test_parts_by_everyday_words(words, first):
    lines = run("parts", *words.split()).splitlines()
    assert any(first in line for line in lines[:4])
    if "part " in lines[0]:
        assert len(lines) <= 20


def test_a_long_list_of_parts_is_cut_and_counted():
    for words in (("F",), ("75", "ohm"), ("pad",), ("--kind", "coax", "--at", "200 MHz"), ()):
        lines = run("parts", *words).splitlines()
        shown, _, fit = lines[-1].split(" that fit")[0].partition(" of ")
        assert len(lines) <= 20
        assert 0 < int(shown) < int(fit)
        assert len(run("parts", *words, "--all").splitlines()) > int(fit)


@pytest.mark.parametrize(
    ("words", "hint"), [("wall outlet xyz", "'chain parts wall outlet' finds 1"), ("xyzzy", "'chain parts --kind pad'")]
)
def test_a_search_without_a_hit_leads_on(words, hint):
    done = CliRunner().invoke(chain, ["parts", *words.split()])
    assert done.exit_code == 2
    assert hint in done.stderr


def test_set_up_from_standard_input():
    done = CliRunner().invoke(chain, ["check", "-"], input=Path(BOATHOUSE).read_bytes())
    assert done.exit_code == 0, done.output
