"""Errors of the command line: what help proposes, written instead, is taken or leads further; no sign of another style is left."""

import re
import shlex

import click
import pytest
from click.testing import CliRunner

from chain.cli.main import COMMANDS, chain

TEXTS = re.compile(r"'([^']+)'")
FOREIGN = re.compile(
    r"No such|Invalid value|Missing (argument|option)|is not one of|Got unexpected|Did you mean|requires an|\?\?"
)
"""How the parser itself would say it."""


def leaves(group=chain, path=()):
    """Every command with its path, those of groups too."""
    context = click.Context(group)
    for name in group.list_commands(context):
        found = group.get_command(context, name)
        if isinstance(found, click.Group):
            yield from leaves(found, (*path, name))
        else:
            yield (*path, name), found


LEAVES = list(leaves())


def reported(*words):
    """Message and help of what is wrong with the words, in the style of all errors; nothing where they are taken."""
    done = CliRunner().invoke(chain, list(words))
    if done.exit_code != 2:
        return None
    first, *more = done.stderr.splitlines()
    assert first.startswith("error: "), done.stderr
    assert more[-1].startswith("help: "), done.stderr
    assert not FOREIGN.search(done.stderr), done.stderr
    return first, more[-1].removeprefix("help: ")


def shorter(word):
    """The word without one letter of its middle."""
    return word[: len(word) // 2] + word[len(word) // 2 + 1 :]


@pytest.mark.parametrize("name", [name for section in COMMANDS.values() for name in section])
def test_a_misspelt_command_is_answered_with_the_right_one(name):
    message, remedy = reported(shorter(name), "x.toml")
    assert remedy == f"did you mean 'chain {name}'?", message


@pytest.mark.parametrize(
    ("path", "command"), LEAVES, ids=lambda each: " ".join(each) if isinstance(each, tuple) else ""
)
def test_what_the_errors_of_options_propose_works(path, command):
    checked = 0
    for param in command.params:
        long = max(param.opts, key=len)
        if long == "--debug":
            continue
        if isinstance(param, click.Option) and len(long) > 5:
            message, remedy = reported(*path, shorter(long))
            for proposal in TEXTS.findall(remedy) if remedy.startswith("did you mean") else []:
                after = reported(*path, proposal)
                assert after is None or after[0] != message
                assert "takes no" not in (after or ("",))[0], (remedy, after)
                checked += 1
        few = isinstance(param.type, click.Choice | click.types._NumberRangeBase)
        if not few:
            continue
        head = [long] if isinstance(param, click.Option) else []
        wrong = [(*path, *head, "xyzzy"), (*path, *head, "-5" if not isinstance(param.type, click.Choice) else "x")]
        for words in [*wrong, *([(*path, *head)] if head or param.required else [])]:
            found = reported(*words)
            assert found, words
            proposals = TEXTS.findall(found[1])
            assert proposals or not isinstance(param.type, click.Choice), found
            for proposal in proposals:
                once = shlex.split(proposal.removeprefix("chain "))
                after = reported(*(once if once[: len(path)] == list(path) else (*path, *once)))
                assert after is None or after[0] != found[0], (words, found, after)
                checked += 1
    assert checked or len(command.params) < 15


def test_an_option_of_another_command_is_named_with_its_command():
    message, remedy = reported("expect", "x.toml", "--reading", "VSWR 1.3")
    assert message == "error: 'chain expect' takes no --reading"
    owner = TEXTS.findall(remedy)[0].split()[1]
    assert any("--reading" in each.opts for each in dict((path[-1], own) for path, own in LEAVES)[owner].params)


@pytest.mark.parametrize(
    ("words", "message", "remedy"),
    [
        (("check",), "SETUP is missing", "write chain check SETUP"),
        (("log", "add", "x"), "SETUP is missing", "write chain log add FOLDER SETUP SWEEP [SHORT]"),
        (
            ("log", "add", "--folder", "x"),
            "'chain log add' takes no --folder",
            "write chain log add FOLDER SETUP SWEEP",
        ),
        (("expect", "--units"), "--units needs a value after it", "chain expect --help"),
        (("choose", "need.toml", "--why", "1"), "--why needs 2 values after it", "chain choose --help"),
        (
            ("new", "mine.toml"),
            "too many arguments: 'chain new' takes none, not mine.toml as well",
            "write -o before the name",
        ),
        (("log", "lst"), "there is no command 'lst'", "did you mean 'chain log list'?"),
        (("learn",), "'chain learn' needs one word more", "write 'chain learn lead' or"),
        (("recover",), "nothing to recover", "give a sweep file, or --reading"),
        (("xyzzy",), "there is no command 'xyzzy'", "the commands are new, parts"),
    ],
)
def test_the_words_of_an_error(words, message, remedy):
    found = reported(*words)
    assert found[0] == f"error: {message}"
    assert found[1].startswith(remedy)
