"""Speed and size of the program, every claim as a ratio in one run: `python tests/benchmarks/run.py [--json] [PART ...]`.

Each part is a module beside this one with `measure() -> dict`; its keys are printed as they are.
"""

from __future__ import annotations

import json
import sys
from importlib import import_module
from pathlib import Path

PARTS = ("startup", "choose", "montecarlo", "page")


def main(words: list[str]) -> int:
    """Measure the parts named, or all that stand in this folder, and print their figures."""
    here = Path(__file__).parent
    sys.path.insert(0, str(here))
    wanted = [word for word in words if not word.startswith("-")] or list(PARTS)
    unknown = [name for name in wanted if name not in PARTS]
    if unknown:
        print(f"no part {', '.join(unknown)}; parts: {', '.join(PARTS)}", file=sys.stderr)
        return 2
    figures: dict[str, object] = {}
    for name in wanted:
        if (here / f"{name}.py").exists():
            figures.update(import_module(name).measure())
    if "--json" in words:
        print(json.dumps(figures, allow_nan=False))
    else:
        for key, value in figures.items():
            print(f"{key:>36}  {value:.3g}" if isinstance(value, float) else f"{key:>36}  {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
