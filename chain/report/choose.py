"""Buildable chains best first: what to buy, where to calibrate, what each piece adds; two chains compared; changes weighed."""

from __future__ import annotations

from rich.console import Console

from chain.money import money_text
from chain.report.numbers import db, span, vswr
from chain.report.tables import Column, notes, say, show_table, title
from chain.selection.choose import Choice, Chosen
from chain.selection.comparison import Contrast
from chain.selection.improve import Improvement

__all__ = ["render", "render_changes", "render_contrast"]

DETAILED = 3
"""Chains told item by item; of the others the list has a line each."""
RANK_WORDS = {
    "interval": "narrowest interval first",
    "cost": "cheapest first",
    "loss": "least loss first",
    "reflection": "least sum of reflections first",
    "joints": "fewest joints first",
}


def render(result: Choice, console: Console) -> None:
    """Print the chains of an answer."""
    title(console, result.title)
    if result.chains:
        _found(result, console)
    elif result.missing:
        _nothing(result, console)
    else:
        least = _money(result.beyond or 0.0, result)
        budget = money_text(result.need.budget or 0, result.need.currency)
        say(console, f"Nothing fits the budget of {budget}: the cheapest chain that fits together costs {least}.")
    notes(console, result.warnings, result.assumed)


def _nothing(result: Choice, console: Console) -> None:
    missing = result.missing
    assert missing is not None
    say(console, f"Nothing fits: {missing.reason}.")
    if missing.parts:
        nearest, *others = missing.parts
        words = f"The nearest part of the library that would close it: {nearest}"
        say(console, words + (f" (or {', '.join(others)})." if others else "."))
    if missing.remedy:
        say(console, f"{missing.remedy}.")


def _found(result: Choice, console: Console) -> None:
    best = result.chains[0]
    say(console, _verdict(best, result))
    console.print()
    limit = f"{result.need.limit_vswr:g}"
    columns = [
        Column("chain", figures=False),
        Column(f"to buy,\n{result.need.currency}"),
        Column("loss,\ndB"),
        Column("sum of\nrefl."),
        Column("joints"),
        Column(f"a true {limit}\ncomes out as"),
        Column("calibrated", figures=False),
    ]
    show_table(console, columns, [_row(each) for each in result.chains])
    console.print()
    for chain in result.chains:
        say(console, f"{chain.number:>3}  {_items(chain)}", indent=5)
    for chain in result.chains[:DETAILED]:
        console.print()
        _detail(chain, result, console)
    if len(result.chains) > DETAILED:
        console.print()
        say(
            console,
            f"--json has chains {DETAILED + 1} to {len(result.chains)} item by item; --why 1 2 compares two of them.",
        )
    console.print()
    _method(result, console)


def _verdict(best: Chosen, result: Choice) -> str:
    if best.best is None:
        return f"Best of {len(result.chains)}: {_items(best)}, but no plane that is allowed exists on it."
    told = f"a true VSWR of {result.need.limit_vswr:g} comes out as {span(best.best.low, best.best.high)}"
    spend = f"for {_money(best.cost, result)}" if best.cost else "with what is owned"
    first = {"interval": "Tells most", "cost": "Costs least", "loss": "Loses least", "reflection": "Reflects least"}
    words = first.get(result.rank, "Fewest joints")
    return f"{words}, {spend}: {_items(best)}. Calibrated {_plane(best)}, {told}."


def _row(chain: Chosen) -> list[str]:
    best = chain.best
    return [
        str(chain.number),
        f"{chain.cost:.2f}",
        db(chain.loss_db),
        f"{chain.sum_reflection:.3f}",
        str(chain.joints),
        span(best.low, best.high) if best else "no plane",
        best.plane if best else "",
    ]


def _items(chain: Chosen) -> str:
    words = [f"{item.part}{' (owned)' if item.owned else ''}" for item in chain.items]
    return " > ".join(words) or "antenna straight on the port"


def _plane(chain: Chosen) -> str:
    best = chain.best
    assert best is not None
    return "at the analyzer's port" if best.after == "near" else f"after {best.after}"


def _money(amount: float, result: Choice) -> str:
    return money_text(round(100 * amount), result.need.currency)


def _detail(chain: Chosen, result: Choice, console: Console) -> None:
    need = result.need
    say(console, f"Chain {chain.number}", style="bold")
    way = [f"near {need.near.connector}"]
    way += [f"{item.near} [{item.id}] {item.far}" for item in chain.items]
    say(console, "  ", " = ".join([*way, f"{need.far.connector} far"]), indent=4)
    buy = [f"{each.count} x {each.part} at {_money(each.price, result)} ({each.where})" for each in chain.buy]
    say(
        console,
        "  buy: ",
        "; ".join(buy) or "nothing",
        f", {_money(chain.cost, result)} in all" if buy else "",
        indent=4,
    )
    for item in chain.items:
        figures = f"{db(item.loss_db)} dB, reflection up to {item.reflection:.3f}"
        length = f", {item.length_m:g} m" if item.length_m else ""
        say(console, f"  {item.id}{length}{', turned round' if item.reversed else ''}: {figures}", indent=4)
    for each in chain.meetings:
        if each.verdict != "ok":
            say(console, f"  {each.verdict}: {each.near} to {each.far}: {each.reason}", indent=4)
    if chain.best:
        best = chain.best
        say(console, f"  calibrate {_plane(chain)} with {best.standards}", indent=4)
        reads = (
            "an open end may read anything"
            if best.ceiling_vswr > 1e3
            else f"nothing reads above VSWR {vswr(best.ceiling_vswr)}"
        )
        others = [f"{each.plane} {span(each.low, each.high)}" for each in chain.sights[1:]]
        say(console, f"  {reads} there; other planes: {', '.join(others) or 'none allowed'}", indent=4)


def _method(result: Choice, console: Console) -> None:
    count = f"{result.considered:.0f}" if result.considered < 1e6 else f"{result.considered:.2g}"
    say(
        console,
        f"Exact, of {count} chains of at most {result.need.most_items} items (stock apart): no other costs less, loses less, "
        "reflects less and has fewer joints at once. Loss is the sum of the items' own and of the joints' mismatch, "
        "reflection the sum of limits. The real interval, by simulation, only puts these chains in order: worst of "
        f"{result.points} frequencies, best allowed plane, seed {result.seed}. Shown {RANK_WORDS[result.rank]}.",
    )


def render_contrast(result: Contrast, console: Console) -> None:
    """Print two chains item by item."""
    one, two = result.first, result.second
    title(console, one.setup.title)
    more = two.cost - one.cost
    spend = f"{abs(more):.2f} {result.currency} {'more' if more > 0 else 'less'}" if round(more, 2) else "as much"
    words = f"Chain {two.number} costs {spend} than chain {one.number}".replace("as much than", "as much as")
    if one.best and two.best:
        spans = [span(each.best.low, each.best.high) for each in (two, one) if each.best]
        words += f", and tells the limit as {spans[0]} ({_plane(two)}) against {spans[1]} ({_plane(one)})"
    say(console, words + ".")
    console.print()
    columns = [
        Column(f"chain {one.number}", figures=False, wraps=True),
        Column(f"chain {two.number}", figures=False, wraps=True),
        Column(f"cost,\n{result.currency}"),
        Column("loss,\ndB"),
        Column("reflection"),
    ]
    rows = [
        [step.first or "-", step.second or "-", *_signed(step.cost, step.loss_db, step.reflection)]
        for step in result.steps
    ]
    total = _signed(more, two.loss_db - one.loss_db, two.sum_reflection - one.sum_reflection)
    show_table(console, columns, [*rows, ["in all", "", *total]], ruled=[len(rows) - 1])


def _signed(cost: float, loss_db: float, reflection: float) -> list[str]:
    near_zero = abs(reflection) < 5e-4
    return [
        f"{cost + 0.0:+.2f}" if round(cost, 2) else "0.00",
        db(loss_db, signed=True),
        "0.000" if near_zero else f"{reflection:+.3f}",
    ]


def render_changes(result: Improvement, console: Console) -> None:
    """Print the single changes of a set-up."""
    title(console, result.title)
    now = f"Now a true VSWR of {result.limit_vswr:g} comes out as {span(result.now_low, result.now_high)}."
    helping = [each for each in result.changes if each.width < result.now_width]
    best = f" Best first step: {helping[0].what}." if helping else " No single change narrows that."
    say(console, now, best)
    console.print()
    columns = [
        Column("change", figures=False, wraps=True),
        Column("price"),
        Column(f"a true {result.limit_vswr:g}\ncomes out as"),
        Column("narrower\nby"),
    ]
    rows = []
    for each in result.changes:
        price = (
            "not known"
            if each.price is None
            else money_text(round(100 * each.price), result.currency)
            if each.price
            else "free"
        )
        rows.append([each.what, price, span(each.low, each.high), f"{100 * each.gain / result.now_width:.0f} %"])
    show_table(console, columns, rows)
    console.print()
    say(
        console,
        "Free changes first, then by what each unit of money narrows, then those of unknown price. Intervals at the worst of "
        f"{result.points} frequencies, one change at a time, seed {result.seed}.",
    )
    notes(console, result.warnings, result.assumed)
