"""A matching network as files: a part of the library's own shape, and the set-up with that part before the antenna."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

from chain.errors import RangeError
from chain.files.setup_file import parse_setup
from chain.setups import Setup
from chain.tuning.matching import TRANSFORMER_DB, Matched
from chain.tuning.networks import arm_row
from library.files.save import part_text

__all__ = ["PART", "part_file", "setup_text"]

PART = "matching-network"
ITEM = "match"
LIBRARY = re.compile(r"^library\s*=\s*\[(.*?)\]", flags=re.MULTILINE | re.DOTALL)


def part_file(setup: Setup, found: Matched) -> str:
    """The network, or the transformer, as a part file with the connectors that fit between lead and antenna."""
    row = {
        "id": PART,
        "name": f"matching network: {found.words}",
        "near": str(replace(setup.far.connector, variant="")),
        "far": str(replace(setup.items[-1].far_connector, variant="")),
        "near_ohm": setup.far.impedance_ohm,
    }
    remarks = [
        f"Made by 'chain tune --match' for: {setup.title}",
        "Near end: the lead. Far end: the antenna. Build it at the antenna, dry, with leads as short as can be.",
    ]
    source = {"evidence": "computed", "source": "chain tune --match"}
    if found.ratio:
        shape: dict[str, object] = {
            "far_ohm": setup.far.impedance_ohm * found.ratio,
            "loss_db": TRANSFORMER_DB,
            "loss_tolerance_db": TRANSFORMER_DB / 2,
            "reflection": {"return_loss_db": 20},
            "dc": "short",
        }
        return part_text("transformer", row | shape | source, remarks)
    arms = [arm_row(arm) for arm in found.arms]
    return part_text(
        "network", row | {"far_ohm": setup.far.impedance_ohm, "dc": found.dc, "arms": arms} | source, remarks
    )


def setup_text(setup: Setup, text: str, part_path: Path, folder: Path) -> str:
    """The set-up's own text with the part file named and the network as the last item before the antenna.

    The whole is read again in the folder it is meant for, so that what cannot be read is never written.
    """
    name = json.dumps(part_path.name)
    found = LIBRARY.search(text)
    if found:
        inside = found[1].strip().rstrip(",")
        listed = f"library = [{inside}, {name}]" if inside else f"library = [{name}]"
        whole = text[: found.start()] + listed + text[found.end() :]
    else:
        lines = text.splitlines(keepends=True)
        first = next((number for number, line in enumerate(lines) if line.strip() and not line.startswith("#")), 0)
        whole = "".join([*lines[:first], f"library = [{name}]\n", *lines[first:]])
    taken = {item.id for item in setup.items} | {"near", "far"}
    item = next(each for each in (ITEM, *(f"{ITEM}-{number}" for number in range(2, 99))) if each not in taken)
    whole = (
        whole.rstrip("\n")
        + f'\n\n[[chain]]                    # last before the antenna\nid = "{item}"\npart = "{PART}"\n'
    )
    made = parse_setup(whole.encode(), "the set-up with the network", folder)
    if made.items[-1].id != item:
        raise RangeError("the set-up file does not take another item at its end", "write its items as [[chain]] tables")
    return whole
