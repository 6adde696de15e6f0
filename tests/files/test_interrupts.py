"""Being told to end: once, many times, and before the work has begun."""

import io
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from render.files import interrupts
from render.files.interrupts import signals_later, stop
from render.page import sounds

ROOT = Path(__file__).parents[2]
SAID = "fourlimb: interrupted; nothing half-written was left\n"
WRITES = """
import os, sys, time
from pathlib import Path
from render.files.interrupts import tidy_up_when_told_to_end
from render.files.write import whole
tidy_up_when_told_to_end()
try:
    with whole([Path(sys.argv[1], f"{n}.wav") for n in range(400)], []) as beside:
        for path in beside:
            path.write_bytes(b"half")
        print("written", flush=True)
        time.sleep(60)
except KeyboardInterrupt:
    print("told once", flush=True)
    os._exit(0)  # as the command does
"""


def begin(*words, **options):
    return subprocess.Popen(
        [sys.executable, *map(str, words)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        **options,
    )


def test_a_second_interrupt_does_not_disturb_the_tidying_up_after_the_first(tmp_path):
    process = begin("-c", WRITES, tmp_path)
    assert process.stdout.readline() == "written\n"
    assert len([*tmp_path.iterdir()]) == 400
    while process.poll() is None:  # as from one who leans on the keys
        process.send_signal(signal.SIGINT)
        time.sleep(0.001)
    said, wrong = process.communicate()
    assert (said, wrong, process.returncode) == ("told once\n", "", 0)
    assert [*tmp_path.iterdir()] == []


@pytest.mark.parametrize("told", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_told_to_end_while_modules_load_it_says_so_in_one_sentence(told):
    program = (
        "import render.command.cli as cli, os, signal, sys\n"
        "class Slow:\n"
        "    def find_spec(self, name, *_):\n"
        f"        if name == 'render.command.app': os.kill(os.getpid(), {int(told)})\n"
        "sys.meta_path.insert(0, Slow())\n"
        "cli.run()"
    )
    process = begin("-c", program)
    said, wrong = process.communicate(timeout=60)
    assert (said, wrong, process.returncode) == ("", SAID, 130)


def test_ctrl_c_while_our_first_modules_load_is_one_sentence():
    program = (
        "import os, signal, sys\n"
        "class Slow:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'render.files.interrupts': os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.meta_path.insert(0, Slow())\n"
    )
    for last in ("import render.command.cli", "import runpy; runpy.run_module('render', run_name='__main__')"):
        process = begin("-c", program + last)
        assert process.communicate(timeout=60) == ("", SAID)
        assert process.returncode == -signal.SIGINT
    usual = "import render.command.cli, sys; print(sys.excepthook is sys.__excepthook__)"
    assert begin("-c", usual).communicate() == ("True\n", "")


LATE = """
import os, signal
import render.command.cli as cli
class Panic(BaseException):
    pass
def done(words, told_to_end):
    cli.tidy_up_when_told_to_end()
    os.kill(os.getpid(), signal.SIGTERM)
def stumbling(words, told_to_end):
    try:
        done(words, told_to_end)
    except KeyboardInterrupt:
        raise {stumble} from None
cli.{where}
cli.run()
"""


@pytest.mark.parametrize("stumble", ["Panic('a library of another language')", "SystemExit(1)", "ValueError('lost')"])
def test_whatever_an_interruption_ends_in_is_told_as_the_interruption(stumble):
    process = begin("-c", LATE.format(where="_run = stumbling", stumble=stumble))
    assert (*process.communicate(timeout=60), process.returncode) == ("", SAID, 130)


def test_a_signal_on_the_last_steps_is_one_sentence_too():
    process = begin("-c", LATE.format(where="main = lambda told_to_end: done((), told_to_end)", stumble="Panic"))
    assert (*process.communicate(timeout=60), process.returncode) == ("", SAID, 130)


def test_a_signal_while_a_mistake_is_said_adds_no_second_line():
    program = (
        "import os, signal, sys\nimport render.command.cli as cli\n"
        "class Slow:\n    encoding = 'utf-8'\n    isatty = flush = lambda self: False\n"
        "    def write(self, text):\n        os.kill(os.getpid(), signal.SIGINT)\n        os.write(2, text.encode())\n"
        "sys.stderr, sys.argv = Slow(), ['fourlimb', 'rendr']\ncli.run()"
    )
    process = begin("-c", program)
    _, wrong = process.communicate(timeout=60)
    assert (wrong, process.returncode) == ("fourlimb: there is no command 'rendr'; did you mean 'render'?\n", 2)


def test_what_a_process_was_started_to_ignore_it_ignores_while_modules_load_too():
    program = (
        "import os, signal\nfrom render.files.interrupts import end_at_once_when_told\n"
        "signal.signal(1, signal.SIG_IGN)\nend_at_once_when_told()\nos.kill(os.getpid(), 1)\nprint('still here')"
    )
    assert begin("-c", program).communicate()[0] == "still here\n"


@pytest.mark.skipif(not hasattr(os, "fork"), reason="forks")
def test_processes_that_have_just_begun_say_nothing_of_an_interrupt(tmp_path):
    program = (
        "import os, signal, sys\nfrom render.lesson import batch\n"
        "from render.files.interrupts import tidy_up_when_told_to_end\n"
        "begin = batch._begin\n"
        "def slow(parent):\n    os.kill(os.getpid(), signal.SIGINT)\n    begin(parent)\n"
        "batch._begin = slow\ntidy_up_when_told_to_end()\n"
        "print(batch.run(pow, [(2, n) for n in range(4)], workers=2))"
    )
    said, wrong = begin("-c", program).communicate(timeout=60)
    assert (said, wrong) == ("[1, 2, 4, 8]\n", "")


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere no system ends a process with its parent")
def test_a_worker_whose_command_was_killed_before_it_began_does_not_wait_for_ever():
    program = (
        "import os, signal, threading, time\nfrom render.lesson import batch\nbegin = batch._begin\n"
        "def slow(parent):\n    time.sleep(1)\n    begin(parent)\n"
        "batch._begin = slow\n"
        "threading.Timer(0.5, os.kill, (os.getpid(), signal.SIGKILL)).start()\n"
        "batch.run(pow, [(2, n) for n in range(4)], workers=2)"
    )
    process = begin("-c", program)
    assert process.communicate(timeout=30) == ("", "")  # whoever is left would hold these open
    assert process.returncode == -signal.SIGKILL


def test_one_signal_in_five_seconds_is_heard(monkeypatch):
    monkeypatch.setattr(interrupts, "_state", interrupts._State())
    now = [1000.0]
    monkeypatch.setattr(interrupts.time, "monotonic", lambda: now[0])
    heard = []
    for moment in (1000.0, 1000.1, 1004.9, 1005.1, 1009.0, 1010.2):
        now[0] = moment
        try:
            stop(2, None)
        except KeyboardInterrupt:
            heard.append(moment)
    assert heard == [1000.0, 1005.1, 1010.2]


@pytest.fixture
def told(monkeypatch):
    """This process hears SIGINT as the command does."""
    monkeypatch.setattr(interrupts, "_state", interrupts._State())
    before = signal.signal(signal.SIGINT, stop)
    yield
    signal.signal(signal.SIGINT, before)


def test_a_signal_held_back_comes_when_the_moment_is_over(told):
    done = []
    with pytest.raises(KeyboardInterrupt), signals_later():
        os.kill(os.getpid(), signal.SIGINT)
        done.append("all")
    assert done == ["all"]


def test_an_interrupt_while_a_library_calls_back_is_not_lost(told, monkeypatch):
    class Interrupted(io.BytesIO):
        def write(self, data):
            os.kill(os.getpid(), signal.SIGINT)
            return super().write(data)

    monkeypatch.setattr(sounds.io, "BytesIO", Interrupted)
    with pytest.raises(KeyboardInterrupt):
        sounds.flac_bytes(np.zeros((44100, 2), np.float32), 44100)
