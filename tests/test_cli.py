"""The command line: exit codes, pipes, what goes where, and hostile inputs that get words and exit code 2."""

from __future__ import annotations

import contextlib
import functools
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from stackup.cage import KINDS
from stackup.cli import KINDS as KINDS_TOLD
from stackup.cli import app, run

ROOT = Path(__file__).parents[1]
CASES = ROOT / "cases"
COMMANDS = (
    "new", "check", "explain", "allocate", "rollers", "capability", "assemble", "review", "slots", "iso286", "schema",
)  # fmt: skip
STACK = str(CASES / "bush_stack.toml")

#: a right case to be spoilt
RIGHT = """\
[cage]
kind = "none"
[dimensions]
a = { nominal = 1.0, tolerance = 0.1 }
[chains.gap]
formula = "a"
[requirements.gap]
min = 0.5
"""


def command(*arguments: str) -> list[str]:
    return [sys.executable, "-m", "stackup", *arguments]


@functools.cache
def started(*arguments: str, text: str | None = None) -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own."""
    return subprocess.run(
        command(*arguments), capture_output=True, text=True, input=text, cwd=ROOT, timeout=120, check=False
    )


# Exit codes -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limits", "code"),
    [
        ("min = 0.5", 0),
        ("min = 0.95", 1),
        ("min = 0.9\nallow = { ppm = 100, of = 'cages' }", 1),
        ("min = 0.95\nallow = { ppm = 100000, of = 'cages' }", 0),
    ],
)
def test_check(limits: str, code: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0: all met; 1: one or more not met."""
    case = tmp_path / "case.toml"
    case.write_text(RIGHT.replace("min = 0.5", limits))
    assert run(["check", str(case), "--cages", "500"]) == code
    assert ("NOT MET" in capsys.readouterr().out) == (code == 1)


def test_undecided_is_not_met(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """1 also where too few cages were drawn to tell; the screen says how many to ask for."""
    case = tmp_path / "case.toml"
    text = RIGHT.replace('"a"', '"a*a"').replace("min = 0.5", "min = 0.5\nallow = { ppm = 1, of = 'cages' }")
    case.write_text(text)
    assert run(["check", str(case), "--cages", "500"]) == 1
    # closed form: none of n seen has the upper end −ln(0.025)/n, 1 ppm at 3.69e6
    assert capsys.readouterr().out.count("try --cages 3700000 at least") == 2


def test_a_case_without_requirements(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is checked and exits 0."""
    case = tmp_path / "case.toml"
    case.write_text(RIGHT.split("[requirements", maxsplit=1)[0])
    assert run(["check", str(case), "--cages", "500"]) == 0
    assert "no requirements" in capsys.readouterr().out


@pytest.mark.parametrize(
    "arguments",
    [
        ["slots", "cylindrical"],
        ["slots", "none"],
        ["iso286", "17.4", "h7"],
        ["iso286", "50", "H7/g6"],
        ["schema"],
        ["new", "none"],
        ["explain", STACK],
        ["explain", STACK, "reach", "--program"],
        ["--help"],
        [],
        *([name, "--help"] for name in COMMANDS),
    ],
    ids=" ".join,
)
def test_done(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """0, words on stdout, nothing on stderr."""
    assert run(arguments) == 0
    out, err = capsys.readouterr()
    assert out.strip()
    assert not err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["chek", "x"], "Did you mean check?"),
        (["check", STACK, "--jsno"], "Did you mean --json?"),
        (["check"], "CASE"),
        (["check", STACK, "--cages", "0"], "--cages"),
        (["check", STACK, "--cages", "many"], "--cages"),
        (["check", STACK, "--seed", "-1"], "--seed"),
        (["check", "no_such_file.toml"], "no such file"),
        (["check", str(CASES)], "a folder"),
        (["new", "cylindrikal"], "Did you mean cylindrical?"),
        (["slots", "spherical"], "cylindrical or tapered or none"),
        (["iso286", "50", "q9"], "q9"),
        (["iso286", "50", "h99"], "h99"),
        (["iso286", "-5", "h7"], "-5"),
        (["iso286", "nan", "h7"], "nan"),
        (["iso286", "fifty", "h7"], "SIZE"),
        (["explain", STACK, "reech"], "Did you mean reach?"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_wrong(arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """2, words on stderr, nothing on stdout; with --json the faults on stdout as well."""
    assert run(arguments) == 2
    out, err = capsys.readouterr()
    assert not out
    assert said in err
    assert "Traceback" not in err
    assert run([*arguments[:1], "--json", *arguments[1:]]) == 2
    out, err = capsys.readouterr()
    assert json.loads(out)["faults"]
    assert said in err


@pytest.mark.parametrize(
    ("proposal", "code", "said"),
    [
        ("", 0, "ACCEPT: the proposal changes nothing"),
        ("[dimensions]\na = { tolerance = 0.2 }\n", 0, "ACCEPT: 1 accepted; 1 question to ask"),
        ("[dimensions]\na = { tolerance = 0.6, process = {} }\n", 1, "ACCEPT IN PART: 1 accepted up to a limit; 1 q"),
        ("[requirements.gap]\nmin = 0.4\n", 1, "REFUSE: 1 refused"),
        ("[dimensions]\naa = { tolerance = 0.2 }\n", 2, "Did you mean a?"),
        ("[cage]\nkind = 'cylindrical'\n", 2, "the kind of the drawing"),
        ("[dimensions\n", 2, "TOML"),
    ],
    ids=range(7),
)
def test_review(proposal: str, code: int, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0: accept; 1: in part, or refuse; 2: no proposal for this drawing. The page is written unless it is there."""
    case, file, page = (tmp_path / name for name in ("case.toml", "proposal.toml", "review.md"))
    case.write_text(RIGHT)
    file.write_text(proposal)
    arguments = ["review", str(case), str(file), "-o", str(page), "--cages", "500"]
    assert run(arguments) == code
    out, err = capsys.readouterr()
    assert said in (err if code == 2 else out)
    assert page.exists() == (code != 2)
    if code != 2:
        assert f"**{said}" in page.read_text()
        assert run(arguments) == 2
        assert "--force" in capsys.readouterr().err
        assert run([*arguments, "--force", "--quiet"]) == code
        assert capsys.readouterr().out.startswith(said)


@pytest.mark.parametrize("command", COMMANDS)
def test_force_is_an_option_where_a_file_is_written(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    run([command, "--help"])
    said = capsys.readouterr().out
    assert ("--force" in said) == ("--output" in said)


def test_outputs_are_not_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """2 for an output that is there, unless --force; 2 where it cannot be written."""
    file = tmp_path / "my.toml"
    assert run(["new", "none", "-o", str(file)]) == 0
    text = file.read_text()
    file.write_text("mine")
    assert run(["new", "none", "-o", str(file)]) == 2
    assert file.read_text() == "mine"
    assert "--force" in capsys.readouterr().err
    assert run(["new", "none", "-o", str(file), "--force"]) == 0
    assert file.read_text() == text
    assert run(["new", "none", "-o", str(tmp_path / "nowhere" / "my.toml")]) == 2
    assert run(["new", "none", "-o", str(tmp_path), "--force"]) == 2
    capsys.readouterr()
    assert run(["new", "none", "-o", str(tmp_path / ("x" * 300))]) == 2
    assert "cannot be written" in capsys.readouterr().err
    assert run(["new", "none", "-o", str(file), "--json"]) == 2
    (fault,) = json.loads(capsys.readouterr().out)["faults"]
    assert "is there already" in fault["found"]
    assert run(["new", "none", "-o", str(file), "--force", "--quiet"]) == 0
    assert capsys.readouterr() == ("", "")
    assert file.read_text() == text


def test_every_kind_is_told() -> None:
    """What help knows by the starter cases is the table of kinds."""
    assert sorted(KINDS) == KINDS_TOLD


@pytest.mark.parametrize("kind", KINDS)
def test_a_starter_runs_as_it_stands(kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every requirement of a starter is met, and it says that its numbers are invented."""
    file = tmp_path / "my.toml"
    assert run(["new", kind, "-o", str(file)]) == 0
    assert "invented" in file.read_text()
    assert run(["check", str(file), "--cages", "20000"]) == 0
    assert "MET: all" in capsys.readouterr().out


# What goes where --------------------------------------------------------------------------------------------


def test_json_is_alone_on_stdout(capsys: pytest.CaptureFixture[str]) -> None:
    """One record, its seed and cages as asked for; the same again for the same seed."""
    run(["check", STACK, "--json", "--seed", "7", "--cages", "700"])
    first = capsys.readouterr()
    record = json.loads(first.out)
    assert (record["seed"], record["cages"], record["interrupted"]) == (7, 700, False)
    assert not first.err
    run(["check", STACK, "--json", "--seed", "7", "--cages", "700", "--workers", "3"])
    assert capsys.readouterr().out == first.out


def test_quiet_is_the_answer_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """One line."""
    run(["check", STACK, "--quiet", "--cages", "2000"])
    assert capsys.readouterr().out.startswith("NOT MET: of 3 requirements 1 not met (end_play_in_series)")


def test_a_file_has_no_escape_codes() -> None:
    """Redirected: text alone on stdout, no progress on stderr."""
    done = started("check", STACK, "--cages", "2000")
    assert "\x1b" not in done.stdout
    assert not done.stderr


def test_a_stream_that_is_not_utf8() -> None:
    """An ASCII stdout gets question marks, not a traceback."""
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = subprocess.run(
        command("iso286", "50", "H7/g6"), capture_output=True, cwd=ROOT, env=environment, timeout=60, check=False
    )
    assert done.returncode == 0
    assert b"clearance 9" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["slots", "cylindrical"], 0),
        (["check", STACK, "--cages", "500"], 1),
        (["check", STACK, "--cages", "500", "--json"], 1),
        (["check", "nothing.toml", "--json"], 2),
        (["--help"], 0),
        (["schema"], 0),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_a_reader_that_goes_away(arguments: list[str], code: int) -> None:
    """A closed pipe changes no exit code and says nothing."""
    reader, writer = os.pipe()
    os.close(reader)
    process = subprocess.Popen(command(*arguments), stdout=writer, stderr=subprocess.PIPE, cwd=ROOT, text=True)
    os.close(writer)
    _, err = process.communicate(timeout=60)
    assert process.returncode == code
    assert "Traceback" not in err
    assert "BrokenPipe" not in err


def told(screen: int, *words: bytes) -> bytes:
    """Read the progress on the terminal ``screen`` until it has told all of ``words``."""
    seen, end = b"", time.monotonic() + 60
    while not all(word in seen for word in words):
        assert time.monotonic() < end, seen[-500:]
        seen += os.read(screen, 4096)
    return seen


@pytest.mark.skipif(os.name == "nt", reason="no terminal of ours there")
@pytest.mark.parametrize("workers", ["1", "2"])
def test_interrupted(workers: str) -> None:
    """130, and a complete record of what was finished: the worst case, when cages are being drawn."""
    screen, theirs = os.openpty()
    process = subprocess.Popen(
        command("check", STACK, "--json", "--cages", "100000000", "--workers", workers),
        stdout=subprocess.PIPE,
        stderr=theirs,
        cwd=ROOT,
        env={**os.environ, "TERM": "xterm"},
        text=True,
        start_new_session=True,
    )
    os.close(theirs)
    try:
        seen = told(screen, b"rss 100 %", b"cages ")
        os.killpg(process.pid, signal.SIGINT)
        out, _ = process.communicate(timeout=60)
        with contextlib.suppress(OSError):  # what Linux says at the end of a terminal
            while rest := os.read(screen, 4096):
                seen += rest
    finally:
        process.kill()
        os.close(screen)
    assert process.returncode == 130
    record = json.loads(out)
    assert record["interrupted"] is True
    assert record["requirements"][0]["worst_case"]["certified"] is True
    assert b"Traceback" not in seen


@pytest.mark.parametrize("as_json", [False, True], ids=["words", "json"])
@pytest.mark.parametrize("arguments", [["check", STACK], ["explain", STACK]], ids=lambda value: value[0])
def test_interrupted_with_nothing_in_hand(
    arguments: list[str], as_json: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """130 and a word, whichever way the parser of the command line treats the key; nothing on stdout."""
    import stackup.case

    def stops(_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(stackup.case, "read", stops)
    assert run([*arguments, *(["--json"] if as_json else [])]) == 130
    out, err = capsys.readouterr()
    assert not out
    assert err == "stackup: interrupted\n"


def test_explanation_interrupted(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """130 and what was finished: the steps."""
    from stackup.engine import contributions

    def stops(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(contributions, "run", stops)
    assert run(["explain", STACK, "reach", "--json"]) == 130
    record = json.loads(capsys.readouterr().out)
    assert record["interrupted"] is True
    assert record["gaps"][0]["steps"]


def test_a_shell_that_asks_what_is_not_offered(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """2, as for any other wrong input, and no traceback: there is no completion in a shell."""
    monkeypatch.setenv("_STACKUP_COMPLETE", "complete_bash")
    assert run(["check", STACK]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert "Traceback" not in err


# Streams that take nothing ----------------------------------------------------------------------------------


def without_streams(*closed: int, arguments: list[str]) -> subprocess.CompletedProcess[str]:
    """Run the command with streams closed before it begins, as ``>&-`` and ``2>&-`` do."""
    shut = " ".join(f"{stream}>&-" for stream in closed)
    return subprocess.run(
        ["sh", "-c", f'exec "$@" {shut}', "sh", *command(*arguments)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=60,
        check=False,
    )


@pytest.mark.skipif(os.name == "nt", reason="a POSIX shell closes the streams")
@pytest.mark.parametrize(
    ("arguments", "code", "closed"),
    [
        (["check", STACK, "--cages", "500"], 1, (2,)),
        (["check", "nothing.toml", "--json"], 2, (1,)),
        (["check", "nothing.toml", "--json"], 2, (2,)),
        (["iso286", "50", "h7"], 0, (1, 2)),
        (["--help"], 0, (1,)),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else str(value),
)
def test_closed_streams(arguments: list[str], code: int, closed: tuple[int, ...]) -> None:
    """A stream that is closed changes neither the exit code nor what the other one says."""
    done, whole = without_streams(*closed, arguments=arguments), started(*arguments)
    assert done.returncode == whole.returncode == code
    assert done.stdout == ("" if 1 in closed else whole.stdout)
    assert done.stderr == ("" if 2 in closed else whole.stderr)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize(
    "arguments",
    [["check", STACK, "--cages", "500", "--json"], ["iso286", "50", "h7"], ["--help"]],
    ids=" ".join,
)
def test_no_room_for_the_output(arguments: list[str]) -> None:
    """2, and the reason in words: neither the program's own fault nor a traceback."""
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            command(*arguments), stdout=full, stderr=subprocess.PIPE, text=True, cwd=ROOT, timeout=60, check=False
        )
    assert done.returncode == 2
    assert "no space left" in done.stderr.lower()
    assert "fault of the program" not in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_no_room_for_the_words() -> None:
    """Where not even the fault can be told, the exit code tells it."""
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            command("check", "nothing.toml", "--json"),
            stdout=subprocess.PIPE, stderr=full, text=True, cwd=ROOT, timeout=60, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert json.loads(done.stdout)["faults"][0]["file"] == "nothing.toml"


# Hostile inputs ---------------------------------------------------------------------------------------------

#: name → text (or bytes) of a case file, and a word that the message must hold
HOSTILE: dict[str, tuple[str | bytes, str]] = {
    "misspelt key": (RIGHT.replace("tolerance", "tolerence"), "tolerance"),
    "misspelt table": (RIGHT.replace("[chains.gap]", "[chain.gap]"), "chains"),
    "not a number": (RIGHT.replace("1.0", "nan"), "nan"),
    "infinite": (RIGHT.replace("0.1", "inf"), "inf"),
    "reversed limits": (RIGHT.replace("min = 0.5", "min = 0.5\nmax = 0.1"), "min"),
    "reversed tolerance": (RIGHT.replace("0.1 }", "[0.1, -0.1] }"), "tolerance"),
    "import": (RIGHT.replace('"a"', "\"__import__('os').system('true')\""), "formula"),
    "attribute": (RIGHT.replace('"a"', '"a.__class__"'), "formula"),
    "brackets": (RIGHT.replace('"a"', f'"{"(" * 5000}a{")" * 5000}"'), "formula"),
    "brackets of the file": (RIGHT.replace("1.0", "[" * 5000 + "1.0" + "]" * 5000), "deep"),
    "towers of powers": (RIGHT.replace('"a"', '"a**9**9**9"'), "formula"),
    "division by nothing": (RIGHT.replace('"a"', '"1/(a - a)"'), "formula"),
    "no toml": ("= = =", "TOML"),
    "binary": (bytes(range(256)) * 4, "text"),
    "other encoding": ('title = "Länge"'.encode("latin-1"), "UTF-8"),
    "empty": ("", "cage"),
    "a circle": (RIGHT.replace('"a"', '"gap + a"'), "circle"),
    "large": ("#" * (2**20 + 1), "bytes"),
}


@pytest.mark.parametrize("as_json", [False, True], ids=["words", "json"])
@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files(name: str, as_json: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """2, a message that says what is wrong, no traceback; ``check`` and ``explain`` alike."""
    text, said = HOSTILE[name]
    case = tmp_path / "case.toml"
    case.write_bytes(text if isinstance(text, bytes) else text.encode())
    for what in ("check", "explain"):
        assert run([what, str(case), *(["--json"] if as_json else [])]) == 2
        out, err = capsys.readouterr()
        assert said in err
        assert "Traceback" not in err
        assert len(err) < 2000
        assert bool(out) == as_json
        if as_json:
            faults = json.loads(out)["faults"]
            assert all(fault["file"] == str(case) and fault["found"] and fault["allowed"] for fault in faults)


def test_a_fault_of_the_program_is_no_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither the user's fault nor a traceback: it says so, and where."""
    import stackup.decide.check

    def broken(*_: object) -> None:
        raise RuntimeError("broken")

    monkeypatch.setattr(stackup.decide.check, "check", broken)
    assert run(["check", STACK]) == 70
    err = capsys.readouterr().err
    assert "RuntimeError: broken (test_cli.py:" in err
    assert "Traceback" not in err


def test_every_command_is_tested() -> None:
    """The list above is that of the program."""
    assert tuple(one.name for one in app.registered_commands) == COMMANDS
