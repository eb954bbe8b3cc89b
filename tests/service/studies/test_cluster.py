"""Studies on a real Dask scheduler with worker processes: the same bytes, a worker killed, no cluster there."""

import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path

import pytest

from kinematics.errors import Refused
from service.studies import cluster as adapter
from service.studies.cluster import Cluster
from service.studies.folder import Folder
from service.studies.runner import Threads, run
from tests.need import need

from .making import planned

WORKERS = 3
STARTED_WITHIN_S = 120.0


@contextmanager
def process(*words: str) -> Iterator[subprocess.Popen[str]]:
    """A command of Dask, ended in any case."""
    environment = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join([str(Path(__file__).parents[3]), os.environ.get("PYTHONPATH", "")]),
    }
    with subprocess.Popen(
        [sys.executable, "-m", "dask", *words], stderr=subprocess.PIPE, text=True, env=environment
    ) as started:
        try:
            yield started
        finally:
            started.terminate()
            with suppress(subprocess.TimeoutExpired):
                started.communicate(timeout=10.0)
            started.kill()


@contextmanager
def cluster(workers: int) -> Iterator[tuple[str, list[subprocess.Popen[str]]]]:
    """(address of a scheduler, its worker processes), all of them there."""
    distributed = need("distributed", "dask[distributed]")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    with ExitStack() as stack:
        stack.enter_context(process("scheduler", "--host", address, "--no-dashboard", "--no-show"))
        crew = [
            stack.enter_context(process("worker", address, "--no-nanny", "--nthreads", "1", "--no-dashboard",
                                        "--name", f"w{i}", "--death-timeout", f"{STARTED_WITHIN_S}"))
            for i in range(workers)
        ]  # fmt: skip
        with distributed.Client(address, timeout=STARTED_WITHIN_S, set_as_default=False) as client:
            client.wait_for_workers(workers, timeout=STARTED_WITHIN_S)
        yield address, crew


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> list[bytes]:
    path = tmp_path_factory.mktemp("whole") / "study"
    run(planned(), path, Threads(1))
    return contents(path)


def contents(path: Path) -> list[bytes]:
    return [each.read_bytes() for each in sorted((path / "parts").glob("*.parquet"))]


def test_the_same_bytes_with_a_worker_killed_on_the_way(whole: list[bytes], tmp_path: Path) -> None:
    """On one model of processor nothing may differ at all; between models the last bits may (1e-12 relative)."""
    plan = planned()
    with cluster(WORKERS) as (address, crew):
        path = tmp_path / "study"
        assert run(plan, path, Cluster(address)).done
        assert contents(path) == whole

        def kill(done: int, _of: int) -> None:
            if done == 3:
                crew[0].send_signal(signal.SIGKILL)

        path = tmp_path / "killed"
        outcome = run(plan, path, Cluster(address), tell=kill)
        assert outcome.done
        assert crew[0].wait(10.0) == -signal.SIGKILL
        assert contents(path) == whole

        path = tmp_path / "stopped"  # cancelled on the cluster, resumed on this machine
        stopped = run(plan, path, Cluster(address), stop=lambda: len(list(path.glob("parts/*.parquet"))) > 2)
        assert not stopped.done
        assert run(plan, path, Threads(1), resume=True).kept == len(stopped.finished) >= 3
        assert contents(path) == whole


def test_a_cluster_that_is_not_there(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    need("distributed", "dask[distributed]")
    monkeypatch.setattr(adapter, "_ANSWER_WITHIN_S", 1.0)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        nobody = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    for i, address in enumerate((nobody, "no address at all")):
        with pytest.raises(Refused) as refused:
            run(planned(), tmp_path / f"study-{i}", Cluster(address))
        assert refused.value.code == "no-cluster"
        assert address in refused.value.faults[0].found
        assert not (tmp_path / f"study-{i}").exists()  # nothing was begun that would have to be gone on with
    assert run(planned(), tmp_path / "study-0", Threads(1)).done


def test_a_cluster_that_goes_away_loses_nothing_that_was_finished(whole: list[bytes], tmp_path: Path) -> None:
    path = tmp_path / "study"
    with cluster(1) as (address, _):

        def end(done: int, _of: int) -> None:
            if done == 4:
                os.kill(scheduler_of(address), signal.SIGKILL)

        with pytest.raises(Refused) as refused:
            run(planned(), path, Cluster(address), tell=end)
    assert refused.value.code == "cluster-lost"
    assert len(Folder(path).whole()) >= 4
    assert run(planned(), path, Threads(1), resume=True).done
    assert contents(path) == whole


@pytest.mark.parametrize("stopping", [False, True])
def test_a_cluster_whose_workers_are_all_gone_is_not_waited_for_without_end(
    stopping: bool, whole: list[bytes], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Asked to stop, at once; else when none comes back in time."""
    monkeypatch.setattr(adapter, "_LOOKED_EVERY_S", 0.1)
    monkeypatch.setattr(adapter, "_BACK_WITHIN_S", 1e9 if stopping else 0.5)
    path = tmp_path / "study"
    gone = threading.Event()
    with cluster(1) as (address, crew):

        def end(done: int, _of: int) -> None:
            if done == 4:
                crew[0].send_signal(signal.SIGKILL)
                gone.set()

        with pytest.raises(Refused) as refused:
            run(planned(), path, Cluster(address), tell=end, stop=lambda: stopping and gone.is_set())
    assert refused.value.code == "cluster-lost"
    assert len(Folder(path).whole()) >= 4
    assert run(planned(), path, Threads(1), resume=True).done
    assert contents(path) == whole


def test_a_part_of_another_release_is_not_taken(tmp_path: Path) -> None:
    """As from a worker that joined later, which was not asked before."""
    other = replace(planned(), identity="0" * 64)
    with cluster(1) as (address, _), pytest.raises(Refused) as refused:
        run(other, tmp_path / "study", Cluster(address))
    assert refused.value.code == "other-release"
    assert not Folder(tmp_path / "study").whole()


def scheduler_of(address: str) -> int:
    """The process of a scheduler of this machine."""
    distributed = need("distributed", "dask[distributed]")
    with distributed.Client(address, set_as_default=False) as client:
        return int(client.run_on_scheduler(os.getpid))


def test_without_the_extra(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(Refused) as refused:
        run(planned(), tmp_path / "study", Cluster("tcp://127.0.0.1:1"))
    assert refused.value.code == "no-dask"
    assert not (tmp_path / "study").exists()


def test_a_worker_of_another_release(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    with cluster(1) as (address, _):
        for other in ("tipdatum", "scipy"):
            monkeypatch.setattr(
                adapter, "release", lambda name, other=other: "0.0.0" if name == other else version(name)
            )
            with pytest.raises(Refused) as refused:
                run(planned(), tmp_path / other, Cluster(address))
            assert refused.value.code == "other-release"
            assert f"{other} 0.0.0" in refused.value.faults[0].expected
