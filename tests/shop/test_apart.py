"""Work in another process: it goes to and fro as a generator does, and ends when it may not go on."""

import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Callable, Generator
from contextvars import copy_context
from typing import Any

import pytest

from app.shop.apart import Apart, DiedError, GivenUpError, Talk, serve
from app.shop.at_site import ASKING, as_asked
from app.shop.errors import ConflictError, NotFoundError, RejectedError
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.stopwatch import TookTooLongError
from app.shop.store.codes import Unavailable
from app.shop.store.database import ShopUnavailableError
from tests.waiting import until

MEBIBYTE = 1024 * 1024


def counts(to: int) -> Talk:
    """Yields numbers and adds what is sent back."""
    total = 0
    for number in range(to):
        total += yield number
    return total, os.getpid()


def never_ends() -> Talk:
    yield os.getpid()
    while True:
        time.sleep(60)


def grows() -> Talk:
    yield os.getpid()
    kept = []
    while True:
        kept.append(bytearray(16 * MEBIBYTE))


def dies() -> Talk:
    yield os.getpid()
    os._exit(3)


def refuses(error: Exception) -> Talk:
    yield os.getpid()
    raise error


def always() -> bool:
    return True


def gone(process: int) -> bool:
    """Whether no process has that number any more."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    return False


def test_what_is_sent_back_comes_into_the_work() -> None:
    talk = Apart().talk(always, counts, 3)
    assert [next(talk), talk.send(10), talk.send(20)] == [0, 1, 2]
    with pytest.raises(StopIteration) as end:
        talk.send(30)
    total, process = end.value.value
    assert total == 60
    assert process != os.getpid()
    assert gone(process)


@pytest.mark.skipif(sys.platform == "win32", reason="asks for a process by signal")
@pytest.mark.parametrize("still", [lambda: False, always])
def test_work_ends_with_its_time_and_with_the_wish_for_it(still: Callable[[], bool]) -> None:
    talk = Apart(seconds=60.0 if still is not always else 0.5).talk(still, never_ends)
    with pytest.raises(GivenUpError):
        list(talk)


def test_the_process_of_work_that_was_given_up_is_gone() -> None:
    talk = Apart().talk(always, never_ends)
    process = next(talk)
    assert not gone(process)
    talk.close()
    assert gone(process)


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux is told how much a process may take")
def test_work_that_needs_more_memory_than_it_may_have_dies_alone() -> None:
    talk = Apart(memory=128 * MEBIBYTE).talk(always, grows)
    with pytest.raises(DiedError):
        list(talk)


def test_a_process_that_was_killed_is_told_of() -> None:
    with pytest.raises(DiedError):
        list(Apart().talk(always, dies))


@pytest.mark.parametrize(
    "error",
    [
        RejectedError({"file": because(Rejection.FILE_LOST)}),
        ConflictError({"same": because(Rejection.FILE_ENTRY_DIFFERS, kind="reading", key="0")}),
        NotFoundError(because(Rejection.NO_SUCH_ENGINE)),
        ShopUnavailableError(because(Unavailable.DISK_FULL)),
        TookTooLongError(),
    ],
    ids=lambda error: type(error).__name__,
)
def test_a_refusal_comes_back_as_it_was(error: Exception) -> None:
    with pytest.raises(type(error)) as raised:
        list(Apart().talk(always, refuses, error))
    assert vars(raised.value) == vars(error)
    assert str(raised.value) == str(error)


@pytest.mark.skipif(sys.platform != "linux", reason="memory is limited on Linux alone")
def test_the_process_yields_to_the_shop_and_may_grow_by_so_much(monkeypatch: pytest.MonkeyPatch) -> None:
    """What it does is done here, with the system's own calls noted instead of made."""
    resource, told = pytest.importorskip("resource"), dict[str, Any]()
    monkeypatch.setattr(os, "nice", lambda by: told.update(nice=by))
    monkeypatch.setattr(signal, "signal", lambda which, what: told.update({which.name: what}))
    monkeypatch.setattr(resource, "setrlimit", lambda which, limits: told.update({str(which): limits}))
    mine, theirs = multiprocessing.Pipe()
    for part in ((counts, (2,)), 10, 20):  # a pipe holds what is sent ahead
        mine.send(part)
    serve(theirs, (), 64 * MEBIBYTE)
    assert [mine.recv() for _ in range(3)] == [(False, 0), (False, 1), (True, (30, os.getpid()))]
    with open("/proc/self/status") as status:
        size = int(status.read().partition("VmSize:")[2].split()[0]) * 1024
    soft, hard = told[str(resource.RLIMIT_AS)]
    assert soft == hard == pytest.approx(size + 64 * MEBIBYTE, abs=16 * MEBIBYTE)
    assert told["SIGINT"] is signal.SIG_IGN
    assert told["nice"] == 5  # a quarter of the way to the least (our judgement)


@pytest.mark.skipif(sys.platform != "linux", reason="asks /proc for the processes of this one")
def test_one_process_waits_for_work_and_goes_when_it_is_closed() -> None:
    before, apart = children(), Apart()
    apart.make_ready()
    apart.make_ready()
    until(lambda: children() - before)  # just begun, it has no command line for a moment
    (waiting,) = children() - before
    assert next(apart.talk(always, never_ends)) == waiting
    apart.make_ready()
    apart.close()
    until(lambda: not children() - before)


def children() -> set[int]:
    """The processes begun by this one that do work apart."""
    found = set()
    for process in filter(str.isdigit, os.listdir("/proc")):
        try:
            with open(f"/proc/{process}/stat") as stat, open(f"/proc/{process}/cmdline") as line:
                ours = int(stat.read().rpartition(")")[2].split()[1]) == os.getpid()
                if ours and "spawn_main" in line.read():
                    found.add(int(process))
        except (FileNotFoundError, ProcessLookupError):
            pass  # it ended meanwhile
    return found


def test_work_done_apart_goes_by_who_asks_and_hands_back_what_it_came_to() -> None:
    asker: Any = object()
    seen: list[object] = []

    def work(first: str, second: str) -> Generator[str, int, str]:
        seen.append(ASKING.get())
        return f"{second} {(yield first)}"

    def talk() -> str:
        spoken: Any = as_asked(asker, work, "how many", "it was")
        assert next(spoken) == "how many"
        with pytest.raises(StopIteration) as ended:
            spoken.send(7)
        return str(ended.value.value)

    assert copy_context().run(talk) == "it was 7"
    assert seen == [asker]
