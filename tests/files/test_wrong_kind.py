"""A file of another kind is reported as that, at its first table and with what it is for; nothing else is said of it."""

from pathlib import Path

import pytest

from chain.errors import InputError
from chain.files.setup_file import load_setup
from chain.reception.installation_file import load_installation
from chain.selection.need_file import load_need

LOADERS = {"set-up": load_setup, "need file": load_need, "installation": load_installation}
FILES = {"set-up": "boathouse", "need file": "need", "installation": "outlets"}


@pytest.mark.parametrize("wanted", LOADERS)
@pytest.mark.parametrize("given", FILES)
def test_another_kind_of_file(given, wanted):
    path = Path("demo") / f"{FILES[given]}.toml"
    if given == wanted:
        assert LOADERS[wanted](path)
        return
    with pytest.raises(InputError) as caught:
        LOADERS[wanted](path)
    (defect,) = caught.value.defects
    assert f"{given}, not a" in defect.message
    assert wanted in defect.message
    assert path.read_text().splitlines()[defect.line - 1].startswith("[")
    assert "'chain " in defect.help
