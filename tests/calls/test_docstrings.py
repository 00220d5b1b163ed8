"""Public docstrings as a reader meets them: their examples run with `import chain`, numpy, and what they import themselves."""

import ast
import builtins
import doctest
import inspect
import re

import numpy as np
import pytest

import chain

FUNCTIONS = [name for name in chain.__all__[1:] if inspect.isfunction(getattr(chain, name))]
FLAGS = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS


def examples_of(name):
    return doctest.DocTestParser().get_examples(inspect.getdoc(getattr(chain, name)) or "")


@pytest.mark.parametrize("name", FUNCTIONS)
def test_an_example_names_nothing_that_it_has_not_imported(name):
    """Every function has one that calls it; from the package it takes public names alone."""
    code = ast.parse("".join(each.source for each in examples_of(name)))
    imported = {
        alias.asname or alias.name
        for node in ast.walk(code)
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for alias in node.names
    }
    homes = {str(node.module) for node in ast.walk(code) if isinstance(node, ast.ImportFrom)}
    assert not {each for each in homes if each.startswith("chain.")}
    names = [node for node in ast.walk(code) if isinstance(node, ast.Name)]
    made = {node.id for node in names if isinstance(node.ctx, ast.Store)}
    caught = {node.name for node in ast.walk(code) if isinstance(node, ast.ExceptHandler)}
    known = imported | made | caught | set(dir(builtins)) | {"chain", "np"}
    assert {node.id for node in names} <= known
    assert name in imported & {node.id for node in names}


@pytest.mark.replay
@pytest.mark.parametrize("name", chain.__all__[1:])
def test_an_example_runs_where_it_is_pasted(name):
    found = doctest.DocTest(examples_of(name), {"chain": chain, "np": np}, name, None, None, None)
    told = []
    doctest.DocTestRunner(optionflags=FLAGS).run(found, out=told.append)
    assert not told, "".join(told)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_draws_are_told_as_they_are_made(name):
    """Those rounded up to whole batches say so, the others name their least."""
    told = re.search(r"^\s*draws(?:, seed)? : (.*(?:\n {4}.*)?)", inspect.getdoc(getattr(chain, name)), re.MULTILINE)
    assert (told is not None) == ("draws" in inspect.signature(getattr(chain, name)).parameters)
    if told:
        assert re.search(r"rounded up to whole (thousands, at least 1000|20,000)|at least 200", told[1]), told[1]


def test_no_advice_for_draws_is_the_least_that_is_taken():
    for given in (10, "many", 0):
        with pytest.raises(chain.RangeError, match=r"from 200 to .*\(leave it out, or write draws=4000\)"):
            chain.recover("demo/boathouse.toml", "VSWR 1.3 at 210 MHz", draws=given)
