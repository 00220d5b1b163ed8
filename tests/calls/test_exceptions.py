"""Public exceptions go through processes and copies: same class, text, defects and remedy."""

import copy
import pickle
from concurrent.futures import ProcessPoolExecutor

import pytest

import chain
from chain.errors import Defect


def of_a_file():
    with pytest.raises(chain.InputError) as caught:
        chain.parse_setup(b'titel = "x"\n[swep]\n', "mine.toml")
    return caught.value


def in_a_worker(_):
    return chain.parse_setup(b'titel = "x"', "mine.toml")


ERRORS = [
    chain.ChainError("what", "remedy"),
    chain.ChainError(),
    chain.RangeError("what", "remedy"),
    chain.UnitError("what"),
    chain.FitError("two ends", "an adapter"),
    chain.FitError("two ends", defects=[Defect("a.toml", 2, 1, "near", "far", "x = 1", 5)]),
    of_a_file(),
]


@pytest.mark.parametrize("error", ERRORS, ids=lambda each: type(each).__name__)
@pytest.mark.parametrize(
    "again",
    [copy.copy, copy.deepcopy]
    + [lambda e, protocol=protocol: pickle.loads(pickle.dumps(e, protocol)) for protocol in range(6)],
)
def test_an_exception_survives_pickling_and_copying(error, again):
    error.add_note("seen twice")
    other = again(error)
    assert type(other) is type(error)
    assert (str(other), other.args, vars(other)) == (str(error), error.args, vars(error))
    assert other.exit_code == error.exit_code


def test_every_public_exception_is_among_them():
    public = {each for each in chain.__all__ if each.endswith("Error")}
    assert public == {type(each).__name__ for each in ERRORS}


@pytest.mark.process
def test_a_process_pool_reports_a_file_at_fault():
    with ProcessPoolExecutor(1) as pool, pytest.raises(chain.InputError, match="did you mean 'title'"):
        list(pool.map(in_a_worker, [0]))
