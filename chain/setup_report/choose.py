"""Buildable chains best first: what to buy, where to calibrate, what each item adds; two chains compared; changes weighed."""

from __future__ import annotations

from collections.abc import Callable

from rich.console import Console

from chain.analyses.improvements import RESOLVED
from chain.money import money_text
from chain.results import counted
from chain.selection.choose import Choice, Chosen
from chain.selection.comparison import ChainComparison
from chain.selection.improve import Improvement
from chain.setup_report.numbers import between, db, limit, match, part_limit, short_limit, span
from chain.setup_report.phrases import LONGEST, fitted, line_of
from chain.setup_report.tables import Column, answer, notes, say, show_table

FIRST = {"interval": "Most exact", "cost": "Cheapest", "loss": "Least loss", "reflection": "Least reflection"}
RANK_WORDS = {
    "interval": "narrowest interval first",
    "cost": "cheapest first",
    "loss": "least loss first",
    "reflection": "least sum of reflections first",
    "joints": "fewest joints first",
}


def render(result: Choice, console: Console, every_item: bool = False) -> None:
    """Print the chains of an answer; item by item where that is asked for."""
    answer(console, verdict_lines(result), result.warnings)
    if not result.chains:
        notes(console, result.assumed)
        return
    columns = [
        Column("chain"),
        Column(f"to buy,\n{result.need.currency}"),
        Column("loss,\ndB"),
        *(column for column, _ in _ranked(result)),
        Column("the limit\ncomes out as"),
        Column("parts, analyzer to antenna", numeric=False, wraps=True),
    ]
    show_table(console, columns, [_row(each, result) for each in result.chains])
    for chain in result.chains if every_item else ():
        console.print()
        _detail(chain, result, console)
    more = "" if every_item else "the chains item by item (--items)"
    notes(console, result.assumed, [_method(result)], more=more)


def verdict_lines(result: Choice) -> list[str]:
    """The best chain, what it shows of the antenna, and what to buy; or what is missing."""
    if not result.chains:
        return _nothing(result)
    best = result.chains[0]
    spend = f"for {_money(best.cost, result)}" if best.cost else "with what is owned"
    words = f"{FIRST.get(result.rank, 'Fewest joints')}, {spend}"
    bought = [each.part for each in best.buy]
    placed = [item.part for item in best.items]
    lead, texts = (f"{words}: buy ", bought) if bought else (f"{words}: ", placed)
    first = fitted(f"{words}: {_items(best)}.", f"{lead}{named(texts, LONGEST - len(lead) - len('.'))}.")
    if best.best is None:
        return [first, "No place where it could be calibrated is allowed.", "Next: allow another plane in the file."]
    reported = f"A true {limit(result.need.limit_vswr)} comes out as {between(best.best.low, best.best.high)}"
    second = fitted(f"{reported}, calibrated {_plane(best)}.", f"{reported}.")
    return [first, second, _next(best, result)]


def _next(best: Chosen, result: Choice) -> str:
    """The cheapest chain where the best one costs more, else where to buy it."""
    cheapest = min(result.chains, key=lambda each: each.cost)
    if cheapest.best is not None and cheapest.cost < best.cost:
        comes = between(cheapest.best.low, cheapest.best.high)
        bought = [each.part for each in cheapest.buy]
        if not bought:
            true = short_limit(result.need.limit_vswr)
            return f"Next: chain {cheapest.number} needs nothing bought; a true {true} then shows as {comes}."
        lead, end = f"Next: cheaper for {_money(cheapest.cost, result)}: ", f"; then {comes}."
        return f"{lead}{named(bought, LONGEST - len(lead) - len(end))}{end}"
    bought = [each.part for each in best.buy]
    last = "--why 1 2 compares two of them"
    if not bought:
        return f"Next: {last}."
    return fitted(
        f"Next: buy {', '.join(bought)}; {last}.", f"Next: buy {named(bought, LONGEST - len('Next: buy .'))}."
    )


def named(parts: list[str], most: int) -> str:
    """Parts by name, as many as a line of so many characters has room for.

    >>> named(["rg59", "min-loss-pad", "series11"], 40), named(["rg59", "min-loss-pad", "series11"], 26)
    ('rg59, min-loss-pad and series11', 'rg59 and 2 other parts')
    """
    texts = [" and ".join(filter(None, [", ".join(parts[:-1]), *parts[-1:]]))]
    texts += [
        f"{', '.join(parts[:count])} and {counted(len(parts) - count, 'other part')}"
        for count in range(len(parts) - 1, 0, -1)
    ]
    return next((text for text in texts if len(text) <= most), counted(len(parts), "part"))


def _nothing(result: Choice) -> list[str]:
    missing = result.missing
    if missing is None:
        budget = money_text(result.need.budget or 0, result.need.currency)
        return [
            f"Nothing fits the budget of {budget}.",
            f"The cheapest chain that fits together costs {_money(result.beyond or 0.0, result)}.",
            "Next: raise the budget, or add cheaper offers to the file.",
        ]
    nearest = ", ".join(missing.parts)
    second = (
        fitted(f"The library has what would close it: {nearest}.", f"{missing.parts[0]} would close it.")
        if nearest
        else ""
    )
    remedy = missing.remedy or ("add one of them to the file's offers" if nearest else "add what joins the two ends")
    return [line_of("Nothing fits: ", missing.reason), second, line_of("Next: ", remedy)]


def _row(chain: Chosen, result: Choice) -> list[str]:
    best = chain.best
    return [
        str(chain.number),
        f"{chain.cost:.2f}",
        db(chain.loss_db),
        *(text(chain) for _, text in _ranked(result)),
        span(best.low, best.high) if best else "no plane",
        _items(chain) + (f"; calibrated {_plane(chain)}" if best and best.plane != _first_plane(result) else ""),
    ]


def _first_plane(result: Choice) -> str:
    best = result.chains[0].best
    return best.plane if best else ""


def _ranked(result: Choice) -> list[tuple[Column, Callable[[Chosen], str]]]:
    """The column that the chains are ranked by, where it is none of those that always stand."""
    if result.rank == "joints":
        return [(Column("joints"), lambda chain: str(chain.joints))]
    if result.rank == "reflection":
        return [(Column("sum of\nrefl."), lambda chain: f"{chain.sum_reflection:.3f}")]
    return []


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
        values = f"{db(item.loss_db)} dB loss, {part_limit(item.reflection)}"
        length = f", {item.length_m:g} m" if item.length_m else ""
        say(console, f"  {item.id}{length}{', turned round' if item.reversed else ''}: {values}", indent=4)
    for each in chain.meetings:
        if each.verdict != "ok":
            say(console, f"  {each.verdict}: {each.near} to {each.far}: {each.reason}", indent=4)
    if chain.best:
        best = chain.best
        say(console, f"  calibrate {_plane(chain)} with {best.standards}", indent=4)
        others = [f"{each.plane} {span(each.low, each.high)}" for each in chain.planes[1:]]
        if best.ceiling_vswr <= 1e3:
            say(console, f"  nothing connected shows {match(best.ceiling_vswr)} there", indent=4)
        if others:
            say(console, f"  calibrated elsewhere: {', '.join(others)}", indent=4)


def _method(result: Choice) -> str:
    count = f"{result.considered:.0f}" if result.considered < 1e6 else f"{result.considered:.2g}"
    return (
        f"All {count} chains of at most {result.need.most_items} parts were weighed; those shown are the ones that no other "
        "beats in cost, loss, sum of reflections and number of joints at once. Loss: of the parts and of the steps at joints. "
        f"What a true {limit(result.need.limit_vswr)} comes out as: simulated, at the worst of {result.points} frequencies and "
        f"the best plane allowed, seed {result.seed}. Order: {RANK_WORDS[result.rank]}."
    )


def render_comparison(result: ChainComparison, console: Console) -> None:
    """Print two chains item by item."""
    one, two = result.first, result.second
    more = two.cost - one.cost
    answer(console, comparison_lines(result))
    columns = [
        Column(f"chain {one.number}", numeric=False, wraps=True),
        Column(f"chain {two.number}", numeric=False, wraps=True),
        Column(f"cost,\n{result.currency}"),
        Column("loss,\ndB"),
        # A difference of reflections, and their sum, which ranks, have no figure in dB and none as VSWR.
        Column("reflection,\nmagnitude"),
    ]
    rows = [
        [step.first or "-", step.second or "-", *_signed(step.cost, step.loss_db, step.reflection)]
        for step in result.steps
    ]
    total = _signed(more, two.loss_db - one.loss_db, two.sum_reflection - one.sum_reflection)
    show_table(console, columns, [*rows, ["in all", "", *total]], ruled=[len(rows) - 1])


def comparison_lines(result: ChainComparison) -> list[str]:
    """Which of two chains costs more, what either shows of the antenna, the next step."""
    one, two = result.first, result.second
    more = two.cost - one.cost
    spend = (
        f"{abs(more):.2f} {result.currency} {'more' if more > 0 else 'less'} than" if round(more, 2) else "as much as"
    )
    first = f"Chain {two.number} costs {spend} chain {one.number}."
    if not (one.best and two.best):
        return [first, "One of the two has no plane that is allowed.", "Next: take the other."]
    spans = [between(each.best.low, each.best.high) for each in (two, one) if each.best]
    second = fitted(
        f"A true value at the limit comes out as {spans[0]} against {spans[1]}.", f"{spans[0]} against {spans[1]}."
    )
    if spans[0] == spans[1]:
        return [
            first,
            second,
            f"Next: take chain {min((one, two), key=lambda each: each.cost).number}; both show the same.",
        ]
    better = min((one, two), key=lambda each: each.best.width if each.best else 2.0)
    return [first, second, f"Next: chain {better.number} shows the antenna better; the steps below say why."]


def _signed(cost: float, loss_db: float, reflection: float) -> list[str]:
    near_zero = abs(reflection) < 5e-4
    return [
        f"{cost + 0.0:+.2f}" if round(cost, 2) else "0.00",
        db(loss_db, signed=True),
        "0.000" if near_zero else f"{reflection:+.3f}",
    ]


def _idle(result: Improvement, shown: int) -> str:
    left = len(result.changes) - shown
    return f"; {left} more that narrow nothing worth the name are left out" if left else ""


def render_changes(result: Improvement, console: Console) -> None:
    """Print the single changes of a set-up."""
    helping = [each for each in result.changes if each.gain >= RESOLVED]
    ends = between(result.now_low, result.now_high)
    now, brief = (
        f"a true {each} comes out as {ends}" for each in (limit(result.limit_vswr), short_limit(result.limit_vswr))
    )
    if helping:
        best = helping[0]
        price = "ask its price" if best.price is None else "weigh its price" if best.price else "it costs nothing"
        lines = [
            fitted(*(f"Best first step: {each}." for each in (best.what, best.what.partition(", with ")[0]))),
            fitted(*(f"Now {each}; then as {between(best.low, best.high)}." for each in (now, brief))),
            f"Next: {price}; the others are below, one change at a time.",
        ]
    else:
        other = (
            "see the best chain of the need, below"
            if result.elsewhere
            else "'chain choose NEED' looks for another chain"
        )
        lines = ["No single change narrows it.", f"Now {now}.", f"Next: {other}."]
    answer(console, lines, result.warnings)
    columns = [
        Column("change", numeric=False, wraps=True),
        Column("price"),
        Column("the limit\ncomes out as"),
        Column("narrower\nby"),
    ]
    rows = []
    for each in helping:
        price = (
            "not known"
            if each.price is None
            else money_text(round(100 * each.price), result.currency)
            if each.price
            else "free"
        )
        rows.append(
            [each.what, price, span(each.low, each.high), f"{max(round(100 * each.gain / result.now_width), 0)} %"]
        )
    if rows:
        show_table(console, columns, rows)
    console.print()
    if result.elsewhere:
        say(console, result.elsewhere)
    say(
        console,
        f"At the worst of {result.points} frequencies; 'chain planes' takes the top of the sweep.",
        style="dim",
    )
    method = f"Order: what narrows most first, whatever is known of its price{_idle(result, len(helping))}. Seed {result.seed}."
    notes(console, result.assumed, [method])
