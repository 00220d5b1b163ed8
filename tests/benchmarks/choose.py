"""Search for chains in invented catalogues of 200, 2,000 and 20,000 offers, timed, and against enumeration with networkx.

Connectors are families of the library in both genders; what a piece costs falls with its quality, but loosely, as in a shop.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from itertools import islice
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "helpers"))

from chain_world import every_chain, front_of, random_shop

from chain.selection.catalogue import Catalogue
from chain.selection.search import best_chains
from library.load import load_library
from library.mating import mate, parse_connector

MOST_ITEMS = 5
NETWORKX_PATHS = 200_000
SIZES = (200, 2_000, 20_000)
CHECKED = 40


def shop_of(count: int, seed: int = 7) -> Catalogue:
    """Catalogue of `count` offers between 52 kinds of connector, stock 0 to 3.

    The connectors are those of the library in both genders, once as they are and for BNC, N and F once more on a line of the
    other impedance (a step of 0.18 dB where a line of 50 ohm meets one of 75).
    """
    rng = np.random.default_rng(seed)
    library = load_library()
    names = [f"{family} {gender}" for family in library.families for gender in ("plug", "jack")]
    ends = [(parse_connector(name), library.family(name.split()[0]).impedance_ohm or 50.0) for name in names]
    ends += [(end, 125.0 - ohm) for end, ohm in ends if end.family in ("N-50", "BNC-75", "F-75")]
    ends = ends[:52]
    nodes = len(ends)
    loss = np.full((nodes, nodes), -1, dtype=np.int64)
    reflection = np.zeros((nodes, nodes), dtype=np.int64)
    for one in range(nodes):
        for other in range(nodes):
            if mate(ends[one][0], ends[other][0], library).verdict in ("ok", "costed", "caution"):
                rho = abs(ends[one][1] - ends[other][1]) / (ends[one][1] + ends[other][1])
                loss[one, other] = round(-10e9 * np.log10(1 - rho * rho))
                reflection[one, other] = round(1e9 * rho)
    quality = rng.random(count)
    near, far = rng.integers(0, nodes, (2, count))
    price = np.exp(rng.normal(1.5 - 1.2 * quality, 0.6, count))
    return Catalogue(
        near=near,
        far=far,
        cost=np.round(100 * price).astype(np.int64),
        loss=np.round(1e9 * (0.02 + 0.3 * quality * rng.random(count))).astype(np.int64),
        reflection=np.round(1e9 * 10 ** (-(36 - 20 * quality * rng.random(count)) / 20)).astype(np.int64),
        stock=rng.integers(0, 4, count),
        marks=np.zeros(count, dtype=np.int64),
        joint_loss=loss,
        joint_reflection=reflection,
        start=names.index("N-50 jack"),
        goal=names.index("F-75 jack"),
    )


def by_networkx(shop: Catalogue, most_items: int, most_paths: int) -> tuple[set[tuple[int, ...]], float, int]:
    """Front of the paths that networkx enumerates, up to a number of them; seconds it took; paths seen."""
    import networkx as nx

    begun = time.perf_counter()
    graph = nx.MultiDiGraph()
    waiting = [np.flatnonzero(row) for row in shop.mates]
    for element in np.flatnonzero(shop.stock):
        ends = int(shop.near[element]), int(shop.far[element])
        for turned, (entry, leave) in enumerate((ends, ends[::-1]) if ends[0] != ends[1] else (ends,)):
            for node in waiting[entry]:
                graph.add_edge(int(node), leave, key=(int(element), turned, entry))
    vectors, seen = [], 0
    cost, loss, reflection = shop.cost.tolist(), shop.loss.tolist(), shop.reflection.tolist()
    goals = [int(node) for node in np.flatnonzero(shop.mates[:, shop.goal])]
    paths = nx.all_simple_edge_paths(graph, shop.start, goals, cutoff=most_items)
    for path in islice(paths, most_paths):
        seen += 1
        elements = [key[0] for _, _, key in path]
        if any(shop.stock[element] < count for element, count in Counter(elements).items()):
            continue
        total = [sum(values[element] for element in elements) for values in (cost, loss, reflection)]
        hops = [(node, key[2]) for node, _, key in path] + [(path[-1][1], shop.goal)]
        total[1] += int(sum(shop.joint_loss[hop] for hop in hops))
        total[2] += int(sum(shop.joint_reflection[hop] for hop in hops))
        vectors.append((*total, len(elements) + 1))
    return front_of(vectors), time.perf_counter() - begun, seen


def agreement(count: int = CHECKED, seed: int = 3) -> bool:
    """Tell whether the search and plain enumeration find the same front in small catalogues."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        shop, most_items = random_shop(rng)
        found = {(each.cost, each.loss, each.reflection, each.joints) for each in best_chains(shop, most_items)}
        if found != front_of(every_chain(shop, most_items)):
            return False
    return True


def timed(count: int, repeats: int = 3) -> tuple[float, int]:
    """Median seconds of the search at a size, and chains in its front."""
    shop = shop_of(count)
    taken = []
    for _ in range(repeats):
        begun = time.perf_counter()
        found = best_chains(shop, MOST_ITEMS)
        taken.append(time.perf_counter() - begun)
    return float(np.median(taken)), len(found)


def write_need(folder: Path, count: int, seed: int = 1) -> str:
    """Write a need and a table of so many offers of the library's parts; the need's path."""
    rng = np.random.default_rng(seed)
    library = load_library()
    parts = [name for kind in ("adapter", "pad") for name in library.ids(kind)]
    lines = ["part,price,currency,stock,reflection"]
    for _ in range(count):
        name, limit_db = parts[rng.integers(len(parts))], int(rng.integers(15, 37))
        by_resistors = getattr(library.part(name), "model", "") == "resistors"
        price = max(0.5, float(np.exp(rng.normal(1 + limit_db / 30, 0.6))))
        lines.append(f"{name},{price:.2f},EUR,{rng.integers(0, 4)},{'' if by_resistors else f'{limit_db} dB'}")
    need = '[need]\nnear = "N-50 jack"\nfar = "F-75 jack"\nstart = "174 MHz"\nstop = "240 MHz"\nlimit = "VSWR 2.0"\n'
    need = f'offers = "shop.csv"\n{need}most_items = {MOST_ITEMS}\ndirectivity = "40 dB"\nsource_match = "36 dB"\n'
    (folder / "shop.csv").write_text("\n".join(lines), encoding="utf-8")
    (folder / "need.toml").write_text(need, encoding="utf-8")
    return str(folder / "need.toml")


def measure() -> dict[str, object]:
    """Figures of the search, each under the key it is reported by."""
    found: dict[str, object] = {}
    for count in SIZES:
        found[f"choose_{count}_s"], found[f"choose_{count}_front"] = timed(count)
    _, taken, paths = by_networkx(shop_of(2_000), MOST_ITEMS, NETWORKX_PATHS)
    found["choose_networkx_2000_s"], found["choose_networkx_2000_paths"] = taken, paths
    found["choose_vs_networkx"] = taken / float(str(found["choose_2000_s"]))
    found["choose_agrees"] = agreement()
    return found


if __name__ == "__main__":
    for key, value in measure().items():
        print(f"{key}: {value:.3g}" if isinstance(value, float) else f"{key}: {value}")
