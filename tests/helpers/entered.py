"""Plugin of a test run: which functions of `chain` each test enters, and how long it takes, to the file that ENTERED names.

A function is its file and first line. What a fixture enters counts for every test that uses it, what collecting enters for all.
"""

import json
import os
import sys
import threading
import time
from pathlib import Path

import pytest

ROOT = str(Path.cwd() / "chain") + os.sep
ALL = ""

_current: set = set()
_of: dict = {ALL: _current}
_of_fixture: dict = {}
_seconds: dict = {}


def _call(frame, event, arg):
    if event == "call" and frame.f_code.co_filename.startswith(ROOT):
        _current.add(frame.f_code)


def _into(found):
    global _current
    _current = found


def pytest_configure():
    """Watch from before the first test is collected."""
    threading.settrace(_call)
    sys.settrace(_call)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item, nextitem):
    """Gather what one test enters, its fixtures included."""
    before, start = _current, time.process_time()
    _of[item.nodeid] = found = set()
    sys.settrace(_call)
    _into(found)
    done = yield
    for fixtures in getattr(getattr(item, "_fixtureinfo", None), "name2fixturedefs", {}).values():
        for each in fixtures:
            found |= _of_fixture.get(id(each), set())
    _seconds[item.nodeid] = time.process_time() - start
    _into(before)
    return done


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(fixturedef, request):
    """Gather what a fixture enters, which may serve later tests as well."""
    before = _current
    found = _of_fixture.setdefault(id(fixturedef), set())
    _into(found)
    done = yield
    before |= found
    _into(before)
    return done


def pytest_sessionfinish():
    """Write functions and seconds of processor time for each test."""
    sys.settrace(None)
    reported = {
        name: [_seconds.get(name, 0.0), sorted({(code.co_filename, code.co_firstlineno) for code in codes})]
        for name, codes in _of.items()
    }
    Path(os.environ["ENTERED"]).write_text(json.dumps(reported), encoding="utf-8")
