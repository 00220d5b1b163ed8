"""Which change is offered: the cheapest kind that is worth it, or else whatever narrows most."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from further import wide

from chain.analyses import improvements
from chain.analyses.expect import expect
from chain.analyses.recover import recover
from chain.assembly.cascade import build
from chain.files.setup_file import load_setup
from chain.reflection import magnitude_from_vswr
from chain.setup_report.expect import verdict_lines
from chain.sweeps.readings import typed_readings
from chain.uncertainty.measurement import measurement_of

SETUP = load_setup("demo/boathouse.toml")
NOW = (0.1, 0.5)


@pytest.mark.parametrize(
    ("widths", "named"),
    [
        # A first kind that brings a little is no reason to stop looking.
        ({"free": (0.36,), "adapter": (0.10,)}, "adapter 0"),
        # A first kind that takes a third off ends the search, though a dearer one would take more.
        ({"free": (0.26,), "adapter": (0.10,)}, "free 0"),
        # The best of a kind, wherever it stands among its like.
        ({"free": (0.30, 0.20, 0.25)}, "free 1"),
        ({"free": (0.38,), "adapter": (0.36,), "pad": (0.375,)}, "adapter 0"),
        # Two that no other seed would keep apart go together.
        ({"free": (0.38,), "adapter": (0.36,), "pad": (0.365,)}, "a better 'adapter' or 'pad' (return loss 32.3 dB)"),
        ({"free": (0.395,), "adapter": (0.40,)}, None),
    ],
)
def test_the_cheapest_kind_that_is_worth_it(monkeypatch, widths, named):
    offered = [(kind, f"{kind} {i}", (kind, i)) for kind, each in widths.items() for i in range(len(each))]
    monkeypatch.setattr(improvements, "improvements", lambda setup: iter(offered))

    def interval(changed, *_):
        kind, i = changed
        return 0.1, 0.1 + widths[kind][i]

    monkeypatch.setattr(improvements, "interval_at", interval)
    monkeypatch.setattr(improvements, "_replaced", lambda setup, changed: changed[0])
    found = improvements.best_improvement(SETUP, 2e8, 0.2, True, now=NOW)
    assert (found.what if found else None) == named


@pytest.mark.parametrize(
    ("plane", "load_db", "offered"), [("near", 20.0, False), ("lead", 20.0, True), ("lead", 40.0, False)]
)
def test_a_better_load_is_offered_where_a_poor_one_is_used(plane, load_db, offered):
    """At the analyzer's own port its own calibration counts, and no load of the bench."""
    calibration = replace(SETUP.calibration, plane=plane, load_db=load_db)
    kinds = [kind for kind, _, _ in improvements.improvements(replace(SETUP, calibration=calibration))]
    assert ("load" in kinds) == offered


def test_a_part_that_is_better_than_a_better_one_is_left_alone():
    """Each adapter and pad below the return loss of a good one is offered in exchange, and no other."""
    found = {kind: changed for kind, _, changed in improvements.improvements(SETUP) if kind in ("adapter", "pad")}
    assert set(found) == {"adapter", "pad"}
    for kind, changed in found.items():
        assert kind not in [again for again, _, _ in improvements.improvements(changed)]


@pytest.mark.parametrize("noise_db", [0.02, 0.5, 3.0])
def test_averaging_leaves_a_root_of_the_noise_itself_not_of_its_decibels(noise_db):
    """Four sweeps: half the standard deviation, at noise that is large as well."""
    setup = load_setup("demo/plane-after-pad.toml")
    noisy = replace(setup, near=replace(setup.near, trace_noise_db=noise_db))
    (quiet,) = (
        changed
        for _, text, changed in improvements.improvements(noisy)
        if text.startswith(f"average {improvements.SWEEPS} sweeps")
    )
    one, mean = (measurement_of(each, build(each, np.array([200e6]))).noise for each in (noisy, quiet))
    assert mean == pytest.approx(one / improvements.SWEEPS**0.5, rel=1e-12)


LOFT = Path("tests/data/loft.toml").read_text(encoding="utf-8")
BETTER_PAD = LOFT.replace('part = "min-loss-pad-bnc-f"', 'part = "min-loss-pad-bnc-f"\nreflection = "VSWR 1.05"')


def bench_with(tmp_path, text, what):
    """The bench with a change written into its file as its words name it."""
    item, reflection = re.fullmatch(r".* \(return loss (.*) dB\) in place of '(.+)'", what).group(2, 1)
    (part,) = re.findall(rf'id = "{item}"\npart = "(.+)"\n', text)
    changed = text.replace(f'part = "{part}"\n', f'part = "{part}"\nreflection = "{reflection} dB"\n')
    path = tmp_path / "changed.toml"
    path.write_text(changed, encoding="utf-8")
    return load_setup(path)


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize("text", [LOFT, BETTER_PAD, LOFT.replace("2.5 m", "1 m")])
@pytest.mark.parametrize("typed", ["1.3 at 546 MHz", "1.30 at 546 MHz"])
def test_a_change_gives_what_the_same_reading_gives_once_it_is_in_the_file(tmp_path, text, typed):
    """What a reading with few digits leaves open is open after the change as well."""
    path = tmp_path / "now.toml"
    path.write_text(text, encoding="utf-8")
    setup = load_setup(path)
    found = recover(setup, typed_readings(typed))
    promised = found.improvement
    thens = [
        recover(bench_with(tmp_path, text, way), typed_readings(typed)) for way in promised.ways or (promised.what,)
    ]
    moved = found.accuracy.end_error + max(each.accuracy.end_error for each in thens)
    low, high = min(each.low[0] for each in thens), max(each.high[0] for each in thens)
    for end, shown in ((promised.low, low), (promised.high, high)):
        assert magnitude_from_vswr(end) == pytest.approx(magnitude_from_vswr(shown), abs=moved)


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize("text", [LOFT.replace("2.5 m", "4 m"), *wide(LOFT.replace("2.5 m", "6 m"))])
def test_what_a_change_promises_of_the_limit_is_what_the_file_then_has(tmp_path, text):
    """Over the whole sweep, wherever its worst frequency then is; and the blame falls on what is exchanged."""
    path = tmp_path / "now.toml"
    text = text.replace("[near]", "points = 57\n[near]")
    path.write_text(text, encoding="utf-8")
    found = expect(load_setup(path))
    promised = found.improvement
    thens = [expect(bench_with(tmp_path, text, way)).improvement for way in promised.ways or (promised.what,)]
    assert max(each.now_high for each in thens) == pytest.approx(promised.high, rel=0.01)
    assert min(each.now_low for each in thens) == pytest.approx(promised.low, rel=0.01)
    first, second, _ = verdict_lines(found)
    assert all(f"'{item}'" in first for item in promised.items)
    # The range that holds most sound chains, and the bound that none passes, each by its own word.
    likely, surely = (
        float(each) for each in re.search(r"above (.*) likely a fault, above (.*) surely", second).groups()
    )
    assert likely == pytest.approx(found.rows[-1].reading_high, abs=0.01)
    assert surely == pytest.approx(found.ceiling_bound_vswr, abs=0.01)


def test_the_widest_interval_is_the_one_with_most_between_its_ends():
    """Near a total reflection the widest has the lowest lower end; a lead that is less sure has it at the top of the band."""
    freq_hz = np.array([174e6, 230e6])
    ends = [improvements.interval_at(SETUP, f, 0.97, False, draws=500) for f in freq_hz]
    low, high = improvements.widest_interval(SETUP, freq_hz, 0.97, improvements.SEED, draws=500)
    assert high - low == pytest.approx(max(high - low for low, high in ends), rel=0.02)


@pytest.mark.parametrize("seed", [1, *wide(2, 3, 4)])
def test_a_pad_and_an_adapter_that_do_as_well_are_named_together(seed):
    """Which of two equal changes narrows more is the seed's: the step names both, and both hide the limit."""
    loft = load_setup("tests/data/loft.toml")
    found = improvements.best_improvement(loft, 694e6, 1 / 3, False, seed)
    assert found.what == "a better 'adapter' or 'pad' (return loss 32.3 dB)"
    assert found.items == ("adapter", "pad")
    assert len(found.ways) == 2
    wide_now = improvements.SetupChange(found.what, 1.0, 2.0, 1.0, 2.0, found.ways, found.items)
    over = improvements.over_sweep(loft, wide_now, 1 / 3, seed)
    assert over.high < over.now_high
