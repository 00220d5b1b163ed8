"""Speed and size of the program, every time beside that of the imports in one run: `python tests/benchmarks/run.py [PART ...]`.

Each part is a module beside this one whose `measure()` gives rows: `what`, and figures whose keys end in their unit; or
figures by name.
`--json` prints them as they are, `--write` puts the table of speeds into DEVELOPERS.md.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
sys.path[:0] = [str(Path(__file__).parent), str(ROOT)]

import choose  # noqa: E402
import commands  # noqa: E402
import growth  # noqa: E402
import libraries  # noqa: E402
import page  # noqa: E402
import startup  # noqa: E402
import trials  # noqa: E402

PARTS = {
    "commands": commands.measure,
    "libraries": libraries.measure,
    "startup": startup.measure,
    "choose": choose.measure,
    "growth": growth.measure,
    "page": page.measure,
    "trials": trials.measure,
}


def shown(found: list[dict[str, object]] | dict[str, object]) -> str:
    """Rows as a table of text, a column for every figure that a row has."""
    rows = found if isinstance(found, list) else [{"what": name, "figure": value} for name, value in found.items()]
    keys = list(dict.fromkeys(key for row in rows for key in row))
    cells = [
        [f"{row[key]:.3g}" if isinstance(row.get(key), float) else str(row.get(key, "")) for key in keys]
        for row in rows
    ]
    first, *others = (max(len(line[column]) for line in [keys, *cells]) for column in range(len(keys)))
    return "\n".join(
        "  ".join([name.ljust(first), *(text.rjust(width) for text, width in zip(texts, others, strict=True))])
        for name, *texts in [keys, *cells]
    )


TABLE = ("commands", "trials", "libraries", "growth")
"""Parts that the guide's table shows."""
BEGIN, END = "<!-- speed: made by tests/benchmarks/run.py --write -->", "<!-- end of speed -->"


def speed_table(found: dict[str, list[dict[str, object]]]) -> str:
    """The table of speeds in Markdown: what a user runs, what it took, how that relates to its measure, the bar."""

    def cells(row: dict[str, object]) -> list[str]:
        taken = row.get("process_s", row.get("function_s", row.get("processor_s")))
        relative, unit = next(
            ((row[key], unit) for key, unit in MEASURES.items() if isinstance(row.get(key), float)), (None, "")
        )
        memory = row.get("peak_mb")
        return [
            str(row["what"]),
            f"{taken:.2f} s" if isinstance(taken, float) else "",
            f"{relative:.2f} {unit}".strip() if isinstance(relative, float) else "",
            str(row.get("bar") or ""),
            f"{memory:.0f} MB" if isinstance(memory, float) else "",
        ]

    rows = [cells(row) for name in TABLE for row in found[name]]
    head = ["what", "time", "measure", "bar", "most memory"]
    return "\n".join(f"| {' | '.join(row)} |" for row in [head, ["---"] * len(head), *rows])


MEASURES = {
    "ratio": "x imports",
    "times": "times",
    "function_ratio": "x imports",
    "exponent": "exponent",
}


def write(found: dict[str, list[dict[str, object]]]) -> None:
    """Put the table in its place in the guide."""
    guide = ROOT / "DEVELOPERS.md"
    text = guide.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    after = rest.partition(END)[2]
    guide.write_text(f"{before}{BEGIN}\n\n{speed_table(found)}\n\n{END}{after}", encoding="utf-8")


def main(words: list[str]) -> int:
    """Measure the parts named, or all of them, and print their figures."""
    wanted = [word for word in words if not word.startswith("-")] or list(PARTS)
    unknown = [name for name in wanted if name not in PARTS]
    if unknown:
        print(f"no part {', '.join(unknown)}; parts: {', '.join(PARTS)}", file=sys.stderr)
        return 2
    if "--write" in words:
        wanted = list(TABLE)
    found = {name: PARTS[name]() for name in wanted}
    if "--write" in words:
        write(found)  # type: ignore[arg-type]
    if "--json" in words:
        print(json.dumps(found, allow_nan=False))
    else:
        print("\n\n".join(f"{name}\n{shown(each)}" for name, each in found.items()))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
