"""The lowest version of everything that the distribution says it works with, one requirement a line, for `pip install -r`.

`python tests/helpers/lowest.py plot test` counts the named extras in. Only names with a lower bound are pinned.
"""

import re
import sys
from pathlib import Path

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

BOUND = re.compile(r"^([A-Za-z0-9_.-]+)\s*>=\s*([0-9.]+)[^;]*(;.*)?$")


def lowest(requirements):
    """`name==version`, markers kept, of each requirement with a lower bound; others as they stand."""
    found = [(each, BOUND.match(each)) for each in requirements]
    return [f"{match[1]}=={match[2]}{match[3] or ''}" if match else each for each, match in found]


def main(extras):
    """Requirements of the distribution and of some of its extras."""
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *(each for extra in extras for each in project["optional-dependencies"][extra])]
    print("\n".join(lowest(wanted)))


if __name__ == "__main__":
    main(sys.argv[1:])
