"""What surrounds a command: endings of files, what was read is never lost, devices, closed and full streams, odd names."""

import csv
import json
import os
import resource
import signal
import subprocess
import sys
import time
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
import skrf
from click.testing import CliRunner

from chain.cli.main import chain
from chain.sweeps import touchstone

pytestmark = pytest.mark.process

ROOT = Path(__file__).parent.parent.parent
BOATHOUSE = "demo/boathouse.toml"
SWEEP = "demo/boathouse.s1p"
READING = ("--reading", "VSWR 1.10 at 210 MHz")


def run(*words, **given):
    return CliRunner().invoke(chain, [str(word) for word in words], **given)


def program(words, **given):
    """The program on its own, with the environment of a plain shell."""
    environment = {key: value for key, value in os.environ.items() if key not in ("PYTHONUNBUFFERED", "COLUMNS")}
    environment |= {"PYTHONPATH": str(ROOT), **given.pop("env", {})}
    command = [sys.executable, "-m", "chain", *map(str, words)]
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "stdin": subprocess.DEVNULL} | given
    return subprocess.run(command, env=environment, text=True, timeout=120, check=False, **{"cwd": ROOT} | streams)


# Endings


def test_the_recovered_antenna_as_touchstone_with_its_impedance(tmp_path):
    """Read back by an independent reader it is the reflection of the JSON, in the impedance of the far end."""
    path = tmp_path / "antenna.s1p"
    assert run("recover", BOATHOUSE, SWEEP, "-o", path).exit_code == 0
    answer = json.loads(run("recover", BOATHOUSE, SWEEP, "--json").stdout)
    found = skrf.Network(str(path))
    assert set(found.z0.real.ravel()) == {answer["far_ohm"]} == {75.0}
    np.testing.assert_allclose(found.f, answer["freq_hz"])
    expected = np.array(answer["true_reflection"]) @ [1, 1j]
    np.testing.assert_allclose(found.s[:, 0, 0], expected, rtol=1e-9)
    # And our own reader takes it for what it is.
    assert touchstone.parse(path.read_text().splitlines(), str(path)).reference_ohm == (75.0,)


def test_readings_without_a_phase_make_no_touchstone_file(tmp_path):
    path = tmp_path / "antenna.s1p"
    done = run("recover", BOATHOUSE, *READING, "-o", path)
    assert done.exit_code == 2
    assert "no phase" in done.stderr
    assert not path.exists()


@pytest.mark.parametrize(
    ("words", "columns"),
    [
        (("recover", BOATHOUSE, *READING), ("true_vswr", "low", "high", "bound_low", "bound_high")),
        (("expect", BOATHOUSE, "--draws", "1000"), ("reading_vswr", "reading_low", "reading_high")),
        (("budget", BOATHOUSE), ("freq_hz", "transducer_loss_db")),
    ],
)
def test_a_table_with_its_intervals(tmp_path, words, columns):
    """Each figure of the JSON in full, one row for each of its rows."""
    path = tmp_path / "answer.csv"
    assert run(*words, "-o", path).exit_code == 0
    answer = json.loads(run(*words, "--json").stdout)
    rows = list(csv.DictReader(StringIO(path.read_text(encoding="utf-8"), newline="")))
    for column in columns:
        values = [None if row[column] == "" else float(row[column]) for row in rows]
        held = [each for each in answer.values() if isinstance(each, list) and each and isinstance(each[0], dict)]
        assert values == answer.get(column) or values == [row[column] for row in held[0]]


def test_json_and_html_by_the_ending(tmp_path):
    path = tmp_path / "answer.JSON"
    run("budget", BOATHOUSE, "-o", path)
    assert json.loads(path.read_text(encoding="utf-8")) == json.loads(run("budget", BOATHOUSE, "--json").stdout)
    path = tmp_path / "page.json"
    run("report", BOATHOUSE, "--draws", "1000", "-o", path)
    assert json.loads(path.read_text(encoding="utf-8"))["schema_version"] == 4
    path = tmp_path / "chain.s2p"
    run("budget", BOATHOUSE, "-o", path)
    reference = touchstone.read_two_port(str(path)).reference_ohm
    assert reference == (50.0, 75.0)


@pytest.mark.parametrize(
    ("words", "name"),
    [
        (("expect", BOATHOUSE), "a.s1p"),
        (("recover", BOATHOUSE, SWEEP), "a.s2p"),
        (("recover", BOATHOUSE, SWEEP), "a.html"),
        (("recover", BOATHOUSE, SWEEP), "a.toml"),
        (("recover", BOATHOUSE, SWEEP), "a.png"),
        (("recover", BOATHOUSE, SWEEP, "--json"), "a.csv"),
        (("budget", BOATHOUSE), "a.xlsx"),
        (("report", BOATHOUSE), "a.csv"),
        (("report", BOATHOUSE), "a.txt"),
        (("new",), "a.csv"),
        (("schema",), "a.toml"),
        (("parts", "rg59"), "a.csv"),
        (("learn", "two-port", "demo/pad.s2p"), "a.csv"),
    ],
)
def test_an_ending_that_a_command_cannot_serve_is_refused(tmp_path, monkeypatch, words, name):
    def computed(_):
        raise AssertionError("computed too early")

    monkeypatch.setattr("chain.files.setup_file.load_setup", computed)
    done = run(*words, "-o", tmp_path / name)
    assert done.exit_code == 2
    assert name in done.stderr
    assert "writes" in done.stderr
    assert sum(line.startswith("error: ") for line in done.stderr.splitlines()) == 1
    assert len(done.stderr.splitlines()) <= 2
    assert not list(tmp_path.iterdir())


def test_a_folder_is_a_folder(tmp_path):
    """Whether it is there or not: no file is made of its name."""
    for name in (f"{tmp_path}/", f"{tmp_path}/gone/"):
        done = run("budget", BOATHOUSE, "-o", name)
        assert done.exit_code == 2
        assert "is a directory" in done.stderr
    assert not list(tmp_path.iterdir())


def test_a_cell_that_a_spreadsheet_would_take_for_a_formula(tmp_path):
    text = Path(BOATHOUSE).read_text(encoding="utf-8").replace('id = "lead"', 'id = "=1+1"')
    setup, path = tmp_path / "setup.toml", tmp_path / "fit.csv"
    setup.write_text(text, encoding="utf-8")
    assert run("check", setup, "-o", path).exit_code == 0
    assert "'=1+1" in path.read_text(encoding="utf-8")


# What was read


NAMED = (
    Path("demo/plane-after-pad.toml")
    .read_text(encoding="utf-8")
    .replace('part = "min-loss-pad-n-bnc"', 'touchstone = "pad.s2p"\nnear = "N-50 plug"\nfar = "BNC-75 jack"')
)


@pytest.fixture
def named(tmp_path):
    """A set-up that names a two-port and a part file, a need that names a table of offers."""
    for name in ("pad.s2p", "need.toml", "shop.csv", "boathouse.s1p"):
        (tmp_path / name).write_bytes(Path("demo", name).read_bytes())
    (tmp_path / "setup.toml").write_text(NAMED)
    text = Path(BOATHOUSE).read_text(encoding="utf-8")
    (tmp_path / "own.toml").write_text(f'library = ["parts.toml"]\n{text}', encoding="utf-8")
    words = ["learn", "two-port", "demo/pad.s2p", "--near", "N-50 jack", "--far", "N-75 jack", "--quiet"]
    (tmp_path / "parts.toml").write_text(run(*words).stdout, encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize("link", ["", "symbolic", "hard"])
@pytest.mark.parametrize(
    ("words", "read"),
    [
        (("check", "setup.toml"), "pad.s2p"),
        (("expect", "setup.toml"), "pad.s2p"),
        (("budget", "setup.toml", "--touchstone"), "pad.s2p"),
        (("budget", "own.toml"), "parts.toml"),
        (("parts", "rg59", "--library", "parts.toml"), "parts.toml"),
        (("choose", "need.toml"), "shop.csv"),
        (("recover", "own.toml", "boathouse.s1p"), "boathouse.s1p"),
        (("recover", "own.toml", "boathouse.s1p", "--plot"), "own.toml"),
        (("card", "-"), "own.toml"),
    ],
)
def test_what_was_read_is_never_overwritten(named, monkeypatch, words, read, link):
    """Also what only a file names, through links, and what came in by standard input; the ending is made to fit."""
    monkeypatch.chdir(named)
    before = (named / read).read_bytes()
    suffix = {"budget": ".ts", "recover": ".svg" if "--plot" in words else ".s1p"}.get(words[0], ".txt")
    target = named / f"other{suffix}"
    # Without a link of its own the file gets the ending by a symbolic link in between.
    (target.hardlink_to if link == "hard" else target.symlink_to)(named / read)
    if link == "symbolic":
        target = named / f"again{suffix}"
        target.symlink_to(named / f"other{suffix}")
    flag = [] if words[-1] in ("--touchstone", "--plot") else ["-o"]
    command = [*words, *flag, target.name, "--force"]
    if "-" in words:
        with (named / "own.toml").open() as stdin:
            done = program(command, stdin=stdin, cwd=named)
        status = done.returncode
    else:
        done = run(*command)
        status = done.exit_code
    assert status == 2, done.stdout + done.stderr
    assert "is read by this command and is not overwritten" in done.stderr
    assert (named / read).read_bytes() == before


def test_two_outputs_of_one_name_are_refused(tmp_path):
    path = tmp_path / "chain.ts"
    done = run("budget", BOATHOUSE, "-o", path, "--touchstone", tmp_path / "." / "chain.ts")
    assert done.exit_code == 2
    assert "named twice" in done.stderr
    assert not path.exists()


# Streams and names


FULL = [("--help",), ("--version",), ("budget", "--help"), ("schema",), ("check", BOATHOUSE)]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize("words", FULL, ids=" ".join)
def test_a_full_disk_is_one_line_and_status_2(words, unbuffered):
    with open("/dev/full", "w") as full:  # noqa: PTH123
        done = program(words, stdout=full, env={"PYTHONUNBUFFERED": unbuffered})
    assert done.returncode == 2
    assert done.stderr.splitlines() == ["error: the output cannot be written: No space left on device"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("recover", BOATHOUSE, "--reading", "VSWR 1.3 at 210 MHz", "--enforce"), 1),
        (("budget", "nowhere.toml"), 2),
        (("check", BOATHOUSE), 0),
        (("nonsense",), 2),
    ],
)
def test_a_stderr_that_is_full_or_closed_changes_no_status(tmp_path, words, status):
    with open("/dev/full", "w") as full:  # noqa: PTH123
        assert program(words, stderr=full).returncode == status
        file = [] if status == 2 else ["-o", tmp_path / "a.txt"]
        assert program([*words, *file], stderr=full).returncode == status
    assert closed(words, 2).returncode == status


def closed(words, *numbers, **given):
    """The program with streams closed, as `>&-` does."""
    streams = "".join(f" {number}>&-" for number in numbers)
    command = ["sh", "-c", f'exec "$@"{streams}', "sh", sys.executable, "-m", "chain", *map(str, words)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=120, check=False, **given
    )


def test_closed_streams(tmp_path):
    """What has nowhere to go is reported once; where it goes to a file, nothing is missed."""
    for words in (("budget", BOATHOUSE), ("--help",), ("schema",)):
        done = closed(words, 1)
        assert (done.returncode, done.stderr.splitlines()) == (
            2,
            ["error: the output cannot be written: Bad file descriptor"],
        )
    for number in (0, 1, 2):
        path = tmp_path / f"{number}.txt"
        assert closed(("budget", BOATHOUSE, "-o", path), number).returncode == 0
        assert path.read_text(encoding="utf-8") == run("budget", BOATHOUSE).stdout
    for words in (("budget", "-"), ("recover", BOATHOUSE, "-"), ("choose", "-")):
        done = closed(words, 0)
        assert done.returncode == 2
        assert done.stdout == ""
        assert "Traceback" not in done.stderr
        assert "fault of this program" not in done.stderr


@pytest.mark.parametrize("words", [("--help",), ("budget", "--help"), ("parts", "--json")], ids=" ".join)
def test_a_reader_that_has_gone_is_no_error(words):
    command = [sys.executable, "-m", "chain", *words]
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONUNBUFFERED"}
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(timeout=60) == 0


@pytest.mark.parametrize(
    "columns", ["0", "-5", "abc", "1", "\u00b2", "\u0663", "99999999999999999999", "1000000000", " "]
)
def test_odd_columns(columns):
    """As if nothing had been said, or within what can be read; neither a traceback nor much memory."""
    limit = "import resource; resource.setrlimit(resource.RLIMIT_AS, (3 * 2**30, 3 * 2**30))\n"
    code = f"{limit}from chain.cli.main import main; main()"
    for words in (["--help"], ["check", BOATHOUSE], ["budget", BOATHOUSE, "--plot"])[
        : 3 if columns in "10000000000" else 1
    ]:
        done = subprocess.run(
            [sys.executable, "-c", code, *words],
            env={**os.environ, "COLUMNS": columns, "PYTHONPATH": str(ROOT)},
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=120,
        )
        assert (done.returncode, done.stderr) == (0, ""), words
        assert len(done.stdout) < 300_000


def test_an_unknown_plotting_backend_does_not_matter(tmp_path):
    path = tmp_path / "a.png"
    done = program(["budget", BOATHOUSE, "--plot", path], env={"MPLBACKEND": "nonsense"})
    assert (done.returncode, path.read_bytes()[:4]) == (0, b"\x89PNG"), done.stderr


@pytest.mark.parametrize("name", ["a" * 300, "a" * 5000, "a\x00b", "a" * 300 + ".txt"])
def test_names_that_no_file_can_have(name):
    """As any input and any output."""
    for words in (
        ("budget", BOATHOUSE, "-o", name),
        ("budget", BOATHOUSE, "--touchstone", name),
        ("budget", BOATHOUSE, "--plot", f"{name}.svg"),
        ("budget", f"{name}.toml"),
        ("recover", BOATHOUSE, f"{name}.s1p"),
        ("recover", BOATHOUSE, SWEEP, "--before", f"{name}.s1p"),
        ("choose", f"{name}.toml"),
        ("parts", "--library", name),
        ("learn", "two-port", name),
        ("prove", BOATHOUSE, "--open", name),
        ("ripple", name),
    ):
        done = run(*words)
        assert done.exit_code == 2, (words[0], done.output)
        assert "fault of this program" not in done.stderr


@pytest.fixture
def pipe(tmp_path):
    path = tmp_path / "pipe"
    os.mkfifo(path)
    return str(path)


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/urandom", "/dev/null", "/dev/tty", "pipe"])
def test_a_device_or_a_pipe_is_no_file_to_read(device, pipe, tmp_path):
    """By every way that a file can be named: reported in a moment, nothing waited for, nothing eaten."""
    name = pipe if device == "pipe" else device
    if not Path(name).exists():
        pytest.skip("no such device")
    setup = tmp_path / "setup.toml"
    cases = [
        ("budget", name),
        ("recover", BOATHOUSE, name),
        ("choose", name),
        ("parts", "--library", name),
        ("learn", "two-port", name),
        ("ripple", name),
        ("check", setup),
        ("check", tmp_path / "own.toml"),
        ("choose", tmp_path / "need.toml"),
    ]
    setup.write_text(NAMED.replace("pad.s2p", name))
    text = Path(BOATHOUSE).read_text(encoding="utf-8")
    (tmp_path / "own.toml").write_text(f'library = ["{name}"]\n{text}', encoding="utf-8")
    need = Path("demo/need.toml").read_text(encoding="utf-8").replace("shop.csv", name)
    (tmp_path / "need.toml").write_text(need, encoding="utf-8")
    # Neither time nor memory without end, should a reader ever wait or swallow.
    before = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (8 * 2**30, before[1]))
    signal.alarm(100)
    try:
        for words in cases:
            done = run(*words)
            assert done.exit_code == 2, (words, done.output)
            assert "fault of this program" not in done.stderr
    finally:
        signal.alarm(0)
        resource.setrlimit(resource.RLIMIT_AS, before)


@pytest.mark.parametrize("words", [["check", "{}"], ["parts", "--library", "{}"], ["recover", "{}"], ["choose", "{}"]])
@pytest.mark.parametrize("kind", ["pipe", "log of the kernel", "device"])
def test_no_file_argument_waits(tmp_path, words, kind):
    """A pipe that nobody writes to, a device without an end, and a file of the kernel that waits for its next line."""
    path = {"pipe": str(tmp_path / "pipe"), "log of the kernel": "/proc/kmsg", "device": "/dev/zero"}[kind]
    if kind == "pipe":
        os.mkfifo(path)
    elif not os.access(path, os.R_OK):
        pytest.skip(f"no {path} to read here")
    begun = time.process_time()
    signal.signal(signal.SIGALRM, lambda *_: pytest.fail("waits"))
    signal.alarm(30)
    try:
        done = CliRunner().invoke(chain, [word.format(path) for word in words])
    finally:
        signal.alarm(0)
    assert time.process_time() - begun < 5
    empty = kind == "log of the kernel" and words[0] == "parts"
    assert done.exit_code == (0 if empty else 2), done.output
    assert empty or "not a plain file" in done.stderr or kind == "log of the kernel"


SETUPS = sorted(path.name for path in Path("demo").glob("*.toml") if "[[chain]]" in path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", SETUPS)
def test_a_set_up_is_not_taken_for_an_installation(name):
    """Every set-up of the demo is checked as one, also where it says what its antenna is made of."""
    done = CliRunner().invoke(chain, ["check", f"demo/{name}"])
    assert done.exit_code in (0, 1), done.output


@pytest.mark.parametrize(
    ("above", "mark"), [("", "\t"), ("# Sunday, in the rain\n\n", ","), ("\n# place: roof\n", ";")]
)
def test_a_table_of_levels_may_have_remarks_above_its_header(tmp_path, above, mark):
    """The header is the line that names the columns."""
    path = tmp_path / "levels.csv"
    path.write_text(above + "place,channel,level_dbuv\n# an aside\nhall,21,52.5\n".replace(",", mark))
    done = CliRunner().invoke(chain, ["outlets", "demo/outlets.toml", "--seen", str(path), "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["rows"][0]["seen_dbuv"] == 52.5


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("# only a remark\n", 1, "no column says place"),
        ("# a remark\nplace,level_dbuv\nhall,52\n", 2, "no column says channel"),
        ("# a remark\nplace,channel,level_dbuv\n", 2, "no level is given"),
        ("# a remark\nplace,channel,level_dbuv\nattic,21,50\n", 3, "attic"),
    ],
)
def test_a_faulty_table_of_levels_is_reported_in_its_place(tmp_path, text, line, said):
    path = tmp_path / "levels.csv"
    path.write_text(text)
    done = CliRunner().invoke(chain, ["outlets", "demo/outlets.toml", "--seen", str(path)])
    assert done.exit_code == 2, done.output
    assert f"levels.csv:{line}:1: error:" in done.stderr
    assert said in done.stderr
