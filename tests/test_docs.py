"""The documents are run: console blocks in a shell, Python blocks line by line; links lead somewhere; commands exist."""

import doctest
import os
import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import make_references
import pytest

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DOCUMENTS = make_references.documents()
HAND_MADE = [*DOCUMENTS, ROOT / "DEVELOPERS.md"]
WITH_CONSOLE = [path for path in DOCUMENTS if "```console" in path.read_text(encoding="utf-8")]
ALL = [*HAND_MADE, *(ROOT / "demo" / name for name in make_references.PAGES)]


FLAGS = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS


def name_of(path):
    return path.name


@pytest.fixture(scope="module")
def replays():
    """Every document with console blocks, run again, as many at a time as there are processors."""
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        texts = [path.read_text(encoding="utf-8") for path in WITH_CONSOLE]
        return dict(zip(WITH_CONSOLE, pool.map(make_references.replayed, texts), strict=True))


@pytest.mark.replay
@pytest.mark.parametrize("path", WITH_CONSOLE, ids=name_of)
def test_console_blocks_print_what_they_show(path, replays):
    """Each command of a document, run in order in a copy of the demo, gives the output beside it."""
    wrong = [
        f"$ {command}\n--- shown\n{shown}\n--- now\n{now}" for command, shown, now in replays[path] if shown != now
    ]
    remedy = f"\nif this is right, run 'python tests/make_references.py {path.name}' and look at what changed"
    assert not wrong, "\n\n".join(wrong) + remedy


@pytest.mark.replay
@pytest.mark.parametrize("path", [path for path in DOCUMENTS if ">>> " in path.read_text("utf-8")], ids=name_of)
def test_python_blocks_give_what_they_show(path, tmp_path, monkeypatch):
    """Each `>>>` line of a document, one session per document, run beside a copy of the demo."""
    text = path.read_text(encoding="utf-8")
    code = "\n".join(re.findall(r"```python\n(.*?)```", text, flags=re.DOTALL))
    assert text.count(">>> ") == code.count(">>> "), "a line of Python stands outside a python block"
    make_references.workspace(tmp_path)
    monkeypatch.chdir(tmp_path)
    session = doctest.DocTestParser().get_doctest(code, {}, path.name, str(path), 0)
    reported = []
    result = doctest.DocTestRunner(optionflags=FLAGS).run(session, out=reported.append)
    assert result.attempted > 0
    assert result.failed == 0, "".join(reported)


@pytest.mark.parametrize(("shown", "failed"), [("the readings have no phase (", 0), ("the readings have a phase (", 1)])
def test_the_text_of_an_error_that_a_page_shows_is_compared(shown, failed):
    """Not its kind alone."""
    code = (
        ">>> import chain\n>>> chain.readings_of([1e8], vswr=[2.0]).to_network(50.0)\nTraceback (most recent call last):\n"
        f"chain.errors.RangeError: {shown}a Touchstone file or Network holds R and X: read a sweep with phase, or write .csv)\n"
    )
    session = doctest.DocTestParser().get_doctest(code, {}, "page", "page", 0)
    assert doctest.DocTestRunner(optionflags=FLAGS).run(session, out=lambda text: None).failed == failed


def test_every_code_block_is_of_a_kind_that_is_checked_or_only_shown():
    """Blocks are console, python, sh (the README's two commands and lines for a shell's own files), toml or text."""
    for path in ALL:
        kinds = re.findall(
            r"^```(\w*)\n", re.sub(r"^```$", "", path.read_text(encoding="utf-8"), flags=re.MULTILINE), flags=re.M
        )
        assert set(kinds) <= {"console", "python", "sh", "toml", "text"}, path.name


def test_set_up_files_shown_whole_in_a_document_load(tmp_path):
    """A toml block that begins with a title is a set-up of its own; it loads as it stands."""
    from chain.files.setup_file import parse_setup

    for path in HAND_MADE:
        for block in re.findall(r"```toml\n(title = .*?)```", path.read_text(encoding="utf-8"), flags=re.DOTALL):
            assert parse_setup(block.encode()).items


def test_links_lead_somewhere():
    """Every relative link of a document names a file, and where it names a heading the heading is there."""
    for path in ALL:
        for target in re.findall(r"\]\(([^)\s]+)\)", path.read_text(encoding="utf-8")):
            assert not target.startswith("http"), f"{path.name}: {target}"
            file, _, heading = target.partition("#")
            there = path if not file else path.parent / file
            assert there.exists(), f"{path.name}: {target}"
            if heading:
                titles = re.findall(r"^#+ (.+)$", there.read_text(encoding="utf-8"), flags=re.MULTILINE)
                slugs = {re.sub(r"[^\w\- ]", "", title).strip().lower().replace(" ", "-") for title in titles}
                assert heading in slugs, f"{path.name}: {target}"


def test_paths_named_in_the_contributors_guide_exist():
    """Modules and data that it sends one to are where it says."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(r"`((?:\w+/)+(?:\w+\.\w+)?)`", text.partition("## Decisions")[0])
    assert len(named) > 20
    for path in named:
        assert (ROOT / path).exists() or (ROOT / "chain" / path).exists(), path
    assert len(re.findall(r"^\| .* \|$", text.partition("## Glossary")[2], flags=re.MULTILINE)) - 1 <= 25


def test_every_command_is_in_the_readme_and_the_help():
    """The README's table lists the commands that `chain --help` lists, no more and no fewer."""
    named = re.findall(r"^\| `chain (\w+)", README, flags=re.M)
    done = subprocess.run(
        [sys.executable, "-m", "chain", "--help"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    sections = done.stdout.partition("Options:")[2]
    listed = re.findall(r"^  (\w+) {2,}\S", sections, flags=re.M)
    assert len(listed) > 5
    assert sorted(named) == sorted(listed)


def test_the_readme_has_what_its_readers_and_the_build_look_for():
    """The two commands on lines of their own, and the sections that nobody may miss."""
    assert re.search(r"^python3 -m venv \.venv && .*chain expect demo/boathouse\.toml$", README, flags=re.M)
    assert re.search(r"^python3 -m venv .*pytest$", README, flags=re.M)
    for heading in ("One answer", "Commands", "Cautions"):
        assert f"\n## {heading}\n" in README
    assert len(README.splitlines()) < 150
    explained = (ROOT / "demo" / "explain-figures.md").read_text(encoding="utf-8")
    assert "\n## Limits of validity\n" in explained
    assert all(path.name in README for path in ALL if path.parent.name == "demo"), "a page that nothing leads to"


def test_documents_know_of_no_other_place():
    """No path of a machine, no address: a document speaks of the project alone."""
    for path in ALL:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"https?://|(?<![\w.])/(work|home|root|tmp)/", text), path.name


def test_a_block_whose_output_changed_would_be_noticed():
    """The replay runs the shell for real: state is kept between commands, errors show, a wrong output differs."""
    text = "```console\n$ x=1; false\n$ echo $? $x\n0 1\n$ chain frob\n```\n"
    (_, status, broken) = make_references.replayed(text)
    assert status == ("echo $? $x", "0 1", "1 1")
    assert "there is no command 'frob'" in broken[2]
    assert "$ echo $? $x\n1 1\n" in make_references.with_outputs(text)


def test_every_figure_that_the_guide_states_has_its_measurement():
    """Each row of the table of figures is measured by one row of the benchmark, and none is left over."""
    sys.path.insert(0, str(ROOT / "tests" / "benchmarks"))
    import figures

    stated = list(figures.stated())
    assert len(stated) > 20
    assert [[each.begins for each in figures.FIGURES if row.startswith(each.begins)] for row in stated] == [
        [each.begins] for each in figures.FIGURES
    ]
