"""Work shared out among processes: whose results they are, and what becomes of a share that fails."""

import os
import signal
import sys
from pathlib import Path

import numpy as np
import pytest

from grooves.errors import LessonError
from render.files.parallel import processes, share_out

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="forks on Linux only")
HERE = os.getpid()


def test_every_share_is_done_once_in_a_process_of_its_own_and_in_order():
    done = share_out(lambda share, shares: (share, shares, os.getpid()), 3)
    assert [(share, shares) for share, shares, _ in done] == [(0, 3), (1, 3), (2, 3)]
    assert done[0][2] == HERE
    assert len({pid for *_, pid in done}) == 3


def test_one_share_needs_no_other_process():
    assert share_out(lambda share, shares: (share, shares, os.getpid()), 1) == [(0, 1, HERE)]


def fail():
    raise OSError("no space left")


@pytest.mark.parametrize("end", [fail, lambda: os.kill(os.getpid(), signal.SIGKILL), lambda: os._exit(0)])
def test_what_a_process_could_not_do_is_done_here(end):
    def work(share, _):
        if os.getpid() != HERE:
            end()
        return share * 10

    assert share_out(work, 3) == [0, 10, 20]


def test_an_error_comes_up_here_and_no_process_stays_behind(monkeypatch):
    fork, forked = os.fork, []
    monkeypatch.setattr(os, "fork", lambda: forked.append(fork()) or forked[-1])

    def work(share, _):
        if share == 0:
            raise OSError("no space left")
        signal.pause()  # as one that has much to do

    with pytest.raises(OSError, match="no space left"):
        share_out(work, 2)
    (child,) = forked
    with pytest.raises(ChildProcessError):
        os.waitpid(child, 0)


def test_an_error_of_another_process_comes_up_here_as_well():
    def work(share, _):
        if share == 1:
            raise OSError("no space left")

    with pytest.raises(OSError, match="no space left"):
        share_out(work, 2)


def test_an_answer_cut_short_is_made_again_here():
    class Deadly:
        """Ends a process that is writing it down."""

        def __reduce__(self):
            if os.getpid() != HERE:
                os.kill(os.getpid(), signal.SIGKILL)
            return (Deadly, ())

    done = share_out(lambda share, _: (bytes(5000), share, Deadly()), 2)
    assert [(long, share) for long, share, _ in done] == [(bytes(5000), 0), (bytes(5000), 1)]


def test_where_no_process_can_be_had_all_is_done_here(monkeypatch):
    fork, forks = os.fork, []

    def refuse():
        forks.append(None)
        if len(forks) > 1:
            raise BlockingIOError("Resource temporarily unavailable")
        forks[0] = fork()
        return forks[0]

    monkeypatch.setattr(os, "fork", refuse)
    here = len(list(Path("/proc/self/fd").iterdir()))
    done = share_out(lambda share, _: (share, os.getpid() == HERE), 4)
    assert done == [(0, True), (1, False), (2, True), (3, True)]
    assert len(list(Path("/proc/self/fd").iterdir())) == here
    with pytest.raises(ChildProcessError):
        os.waitpid(forks[0], 0)


def test_an_interrupt_is_waiting_no_longer_once_the_processes_run():
    share_out(lambda share, _: share, 2)
    assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, [])


def test_a_long_answer_comes_through():
    assert len(share_out(lambda share, _: bytes(1 << 20), 2)[1]) == 1 << 20


def test_arrays_come_through_as_they_were_and_lie_as_the_mixer_likes_them():
    def work(share, _):
        rows = np.arange(30, dtype=np.float32).reshape(10, 3) + share
        return {"all": rows, "some": rows[::2, 1:], "none": rows[:0], "of another kind": rows.astype(np.int64), "no": 7}

    here, there = share_out(work, 2)
    assert there.keys() == here.keys() == work(0, 2).keys()
    for name, wanted in work(1, 2).items():
        assert np.array_equal(there[name], wanted)
        assert name == "no" or there[name].dtype == wanted.dtype
    assert there["all"].ctypes.data % 64 == there["of another kind"].ctypes.data % 64 == 0
    there["all"] += 1  # an array like any other


def test_no_file_stays_open():
    before = len(list(Path("/proc/self/fd").iterdir()))
    share_out(lambda share, _: share, 3)
    assert len(list(Path("/proc/self/fd").iterdir())) == before


def test_there_are_as_many_processes_as_cores_or_as_wanted_but_few():
    assert processes() == min(len(os.sched_getaffinity(0)), 4)
    assert [processes(wanted) for wanted in (1, 3, 100)] == [1, 3, 4]
    with pytest.raises(LessonError, match="--jobs: -1 is out of range; write 1 or more, or 0 for one a core"):
        processes(-1)
