"""`chain choose` as it is run: what it prints, its JSON, its exit status."""

import json
import os
import pty
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner
from few_trials import in_force
from screens import says

from chain.cli.main import chain

pytestmark = pytest.mark.usefixtures("answered_once", "trials")

ROOT = Path(__file__).parent.parent.parent
NEED, SETUP = str(ROOT / "demo" / "need.toml"), str(ROOT / "demo" / "boathouse.toml")


def run(*words, status=0):
    result = CliRunner().invoke(chain, ["choose", *words])
    assert result.exit_code == status, result.output
    return result


@cache
def kept(few, words):
    return run(*words)


def answer(*words):
    """For files that do not change: of few trials and of the usual number each their own."""
    return kept(in_force(), words)


def test_the_answer_says_what_to_buy_and_where_to_calibrate():
    text = answer(NEED).stdout
    best = json.loads(answer(NEED, "--json").stdout)["chains"][0]
    assert says(text, f"{best['cost']:.2f} EUR", f"after {best['plane_after']}")
    for item in best["items"]:
        assert says(text, item["part"])
    assert max(map(len, text.splitlines())) <= 80


def test_the_json_keeps_its_contract():
    found = json.loads(answer(NEED, "--json").stdout)
    assert found["schema_version"] == 4
    for each in found["chains"]:
        assert each["pareto"] is True
        assert each["plane"] in ("near", "after-pad", "far")
        assert 1 <= each["low"] < 2
        assert each["high"] is None or each["high"] > 2
    assert found["missing"] == []


def test_rank():
    costs = [each["cost"] for each in json.loads(answer(NEED, "--rank", "cost", "--json").stdout)["chains"]]
    assert costs == sorted(costs)


def test_why_compares_two():
    text = answer(NEED, "--rank", "cost", "--why", "1", "3").stdout
    found = json.loads(answer(NEED, "--rank", "cost", "--why", "1", "3", "--json").stdout)
    more = found["second"]["cost"] - found["first"]["cost"]
    assert says(text, f"{more:.2f} EUR more")
    assert sum(step["cost"] for step in found["steps"]) == pytest.approx(more)
    result = run(NEED, "--why", "1", "77", status=2)
    assert "no chain 77" in result.stderr


def test_improve_lists_changes_with_price():
    text = answer("--improve", SETUP, NEED).stdout
    found = json.loads(answer("--improve", SETUP, NEED, "--json").stdout)
    assert "19.00 EUR" in text
    assert {each["kind"] for each in found["changes"]} >= {"plane", "swap"}
    assert "not known" in run("--improve", SETUP).stdout


def test_nothing_fits(tmp_path):
    need = tmp_path / "need.toml"
    head = '[need]\nnear = "N-50 jack"\nfar = "F-75 jack"\nstart = "174 MHz"\nstop = "240 MHz"\nlimit = "VSWR 2.0"\n'
    need.write_text(head + '[[have]]\npart = "min-loss-pad"\n', encoding="utf-8")
    assert says(run(str(need)).stdout, "nothing", "N-50 jack", "library")
    run(str(need), "--enforce", status=1)
    dear = head + 'budget = "1 EUR"\n[[offer]]\nprice = "5 EUR"\npart = "n-plug-f-plug"\n'
    need.write_text(dear, encoding="utf-8")
    assert says(run(str(need)).stdout, "cheapest", "5.00 EUR")
    run(str(need), "--enforce", status=1)


def test_bad_calls(tmp_path):
    assert "need file" in run(status=2).stderr
    assert "does not go with --improve" in run("--improve", SETUP, NEED, "--why", "1", "2", status=2).stderr
    assert "there is no such file" in run(str(tmp_path / "none.toml"), status=2).stderr
    bad = tmp_path / "bad.toml"
    bad.write_text('[need]\nnear = "N-50 jack"\n[[offer]]\npart = "rg95"\nprice = "1.2.3 EUR"\n', encoding="utf-8")
    result = run(str(bad), status=2)
    assert f"{bad}:5:9: error: '1.2.3 EUR' is not a price" in result.stderr
    assert result.stderr.rstrip().endswith(f"errors in {bad}")
    assert not result.stdout


def test_text_of_the_user_is_no_markup(tmp_path):
    need = tmp_path / "need.toml"
    text = (
        Path(NEED)
        .read_text(encoding="utf-8")
        .replace('offers = "shop.csv"\n', "")
        .replace("What to buy", "[red]What[/] \\u001b[31m")
    )
    offer = '\n[[offer]]\npart = "bnc75-plug-f-plug"\nid = "[red]x[/]"\nprice = "2 EUR"\n'
    need.write_text(text + offer, encoding="utf-8")
    out = run(str(need)).stdout
    assert "[red]x[/]" in out
    assert "\x1b" not in out


def test_the_answer_goes_to_a_file_whole_and_is_not_overwritten(tmp_path):
    out = tmp_path / "answer.txt"
    run(NEED, "-o", str(out))
    assert out.read_text(encoding="utf-8") == answer(NEED).stdout
    assert "exists" in run(NEED, "-o", str(out), status=2).stderr


@pytest.mark.process
def test_progress_is_shown_to_a_person_only(answered_once):
    answered_once()
    assert answer(NEED).stderr == ""
    master, slave = pty.openpty()
    script = (
        "import chain.cli.output as p; p.PATIENCE_S = 0.0; import sys; from chain.cli.main import main;"
        f"sys.argv = ['chain', 'choose', {NEED!r}]; main()"
    )
    with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.DEVNULL, stderr=slave, cwd=ROOT) as started:
        os.close(slave)
        seen = b""
        while True:
            try:
                seen += os.read(master, 1000)
            except OSError:
                break
            if started.poll() is not None and seen.endswith(b"\r"):
                break
    os.close(master)
    assert b"%" in seen


def test_help_imports_nothing_heavy():
    code = (
        "import sys; from chain.cli.main import chain\n"
        "try:\n    chain(['choose', '--help'])\nexcept SystemExit: pass\n"
        "print([name for name in ('numpy', 'pydantic', 'networkx', 'rich') if name in sys.modules])"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert result.stdout.rstrip().endswith("[]")


def test_several_parts_to_buy_are_named(tmp_path):
    """In the first line and in the next step, never by the number of a chain alone."""
    need = tmp_path / "need.toml"
    parts = [("sma-plug-bnc-jack", ""), ("n-plug-bnc-plug", ""), ("bnc75-plug-f-plug", ""), ("min-loss-pad", "")]
    offers = "".join(
        f'[[offer]]\npart = "{name}"\nprice = "{4 + at}.50 EUR"\n{more}' for at, (name, more) in enumerate(parts)
    )
    need.write_text(
        '[need]\nnear = "N-50 jack"\nfar = "F-75 jack"\nstart = "174 MHz"\nstop = "240 MHz"\nlimit = "VSWR 2"\n'
        f'far_impedance = "75 ohm"\nanalyzer = "handheld"\nplanes = ["near"]\n{offers}'
    )
    first, _, step = run(str(need)).stdout.splitlines()[:3]
    assert "chain 1" not in first + step
    best = json.loads(run(str(need), "--json").stdout)["chains"][0]
    assert len(best["buy"]) == 3
    for each in best["buy"]:
        assert each["part"] in first + step
    assert max(len(first), len(step)) <= 80


def test_each_of_two_answers_says_at_which_frequency_it_is():
    """The comparison of planes takes the top of the sweep, the changes the worst point: both say so, and name the other."""
    changes = " ".join(answer("--improve", SETUP).stdout.split())
    planes = " ".join(CliRunner().invoke(chain, ["planes", SETUP]).stdout.split())
    assert "At the worst of 11 frequencies; 'chain planes' takes the top of the sweep." in changes
    assert "At 240 MHz, the top of the sweep; 'chain choose --improve' takes the worst." in planes


LOFT = """[need]
near = "N-50 jack"
far = "F-75 jack"
start = "470 MHz"
stop = "694 MHz"
limit = "VSWR 2.0"
lead = true
lead_length = "2.5 m"
planes = ["near"]
budget = "{budget}"
[[have]]
part = "n-plug-bnc-plug"
[[have]]
part = "min-loss-pad-bnc-f"
[[have]]
part = "rg59"
near = "F-75 plug"
far = "F-75 plug"
[[offer]]
part = "min-loss-pad-n-f"
price = "39 EUR"
reflection = "40 dB"
[[offer]]
part = "f-plug-f-plug"
price = "2 EUR"
"""
LOFT_SETUP = "tests/data/loft.toml"


def loft(tmp_path, budget):
    path = tmp_path / "loft-need.toml"
    path.write_text(LOFT.format(budget=budget), encoding="utf-8")
    return str(path)


def test_what_costs_nothing_is_said_in_plain_sentences(tmp_path):
    """With what is owned nothing is bought; no list is empty, and what stands for the rest of a list has a noun."""
    lines = run(loft(tmp_path, "5 EUR")).stdout.splitlines()
    assert lines[0] == "Most exact, with what is owned: n-plug-bnc-plug, min-loss-pad-bnc-f and rg59."
    lines = run(loft(tmp_path, "40 EUR")).stdout.splitlines()
    assert lines[0].startswith("Most exact, for 39.00 EUR: ")
    assert re.fullmatch(r"Next: chain \d needs nothing bought; a true 2 then shows as .* to .*\.", lines[2])


def test_a_needed_lead_stays_and_a_chain_of_other_parts_is_named(tmp_path):
    """Neither a barrel nor nothing takes the place of a lead that must be there; why the best chain is no step is said."""
    need = loft(tmp_path, "40 EUR")
    found = json.loads(answer("--improve", LOFT_SETUP, need, "--json").stdout)
    whats = [each["what"] for each in found["changes"]]
    assert not [what for what in whats if what.endswith("in place of lead") and what.startswith("f-plug-f-plug")]
    assert "remove lead" not in whats
    text = " ".join(answer("--improve", LOFT_SETUP, need).stdout.split())
    best = json.loads(run(need, "--json").stdout)["chains"][0]
    assert "('chain choose'): " + " > ".join(each["part"] for each in best["items"]) in text
    assert "other parts for adapter and pad at once, so it is no single change" in text
