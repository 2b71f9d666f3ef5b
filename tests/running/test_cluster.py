"""The same work on a real Dask scheduler with two worker processes: same bytes, a killed worker, and what is amiss.

distributed (BSD-3) is the reference: its own command line starts scheduler and workers.
"""

import os
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from jobs_for_tests import Sum

import emgreview as er
from emgreview.errors import ClusterError
from emgreview.running.values import encode

HERE = Path(__file__).parent


def recordings(count=6):
    rng = np.random.default_rng(1)
    return [
        er.Recording.from_array(rng.normal(0, 5, (2, 400)), 1000, labels=["A", "B"], name=f"r{place}")
        for place in range(count)
    ]


def results(outcomes):
    return [encode((one.name, one.value, one.problem, one.notes)) for one in outcomes]


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Cluster:
    """A scheduler and worker processes, by distributed's own command line."""

    def __init__(self, folder):
        self.folder, self.address = folder, f"tcp://127.0.0.1:{free_port()}"
        self.workers = []
        port = self.address.rpartition(":")[2]
        self.scheduler = self._start("dask_scheduler", "--host", "127.0.0.1", "--port", port, "--no-dashboard")

    def _start(self, program, *options, env=None):
        command = [sys.executable, "-m", f"distributed.cli.{program}", *options]
        paths = os.pathsep.join([str(HERE), os.environ.get("PYTHONPATH", "")])
        return subprocess.Popen(
            command,
            cwd=self.folder,
            env={**os.environ, "PYTHONPATH": paths, "DASK_DISTRIBUTED__COMM__RETRY__COUNT": "0", **(env or {})},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )

    def add_worker(self, **env):
        options = ("--nworkers", "1", "--nthreads", "1", "--no-dashboard", "--no-nanny", "--host", "127.0.0.1")
        self.workers.append(self._start("dask_worker", self.address, *options, env=env))
        return self.workers[-1]

    def wait(self, count):
        from distributed import Client

        with Client(self.address, timeout=60, set_as_default=False) as client:
            if count:
                client.wait_for_workers(count, timeout=60)

    def stop(self):
        for process in (*self.workers, self.scheduler):
            if process.poll() is None:
                process.kill()
            process.wait()


@contextmanager
def cluster(folder):
    made = Cluster(folder)
    try:
        yield made
    finally:
        made.stop()


@pytest.fixture(scope="module")
def two_workers(tmp_path_factory):
    with cluster(tmp_path_factory.mktemp("cluster")) as made:
        made.add_worker()
        made.add_worker()
        made.wait(2)
        yield made


def test_same_bytes_as_here(two_workers, tmp_path):
    given = recordings()
    alone = results(er.Runner(progress=None).run(Sum(), given))
    runner = er.Runner(cluster=two_workers.address, cache=tmp_path / "cache", progress=None)
    assert results(runner.run(Sum(), given)) == alone
    again = runner.run(Sum(), given)
    assert (results(again), again.ready) == (alone, len(given))
    data = er.read_dataset(er.write_demo(tmp_path / "study", participants=2, trials=2))
    here = er.detect_all(data, cue="go", before_s=1, after_s=1.5)
    there = er.detect_all(data, cue="go", before_s=1, after_s=1.5, runner=runner)
    assert here.equals(there)


def test_a_worker_killed_in_the_middle_loses_nothing(two_workers, tmp_path):
    extra, given, killed = two_workers.add_worker(), recordings(12), []
    two_workers.wait(3)

    def kill(now):
        if now.done == 2 and not killed:
            killed.append(os.kill(extra.pid, signal.SIGKILL))

    runner = er.Runner(cluster=two_workers.address, progress=kill)
    found = runner.run(Sum(pause_s=0.2), given)
    assert killed
    assert results(found) == results(er.Runner(progress=None).run(Sum(pause_s=0.2), given))


def test_a_worker_of_another_version_is_named(two_workers, tmp_path):
    """Its package lies elsewhere, with one file more."""
    copy = tmp_path / "site" / "emgreview"
    copy.parent.mkdir()
    subprocess.run(["cp", "-r", str(Path(er.__file__).parent), str(copy)], check=True)
    (copy / "one_more.py").write_text("")
    odd = two_workers.add_worker(PYTHONPATH=f"{copy.parent}{os.pathsep}{HERE}")
    two_workers.wait(3)
    try:
        with pytest.raises(ClusterError, match=r"tcp://127.0.0.1:\d+ has sources [0-9a-f]{12} \(here [0-9a-f]{12}\)"):
            er.Runner(cluster=two_workers.address, progress=None).run(Sum(), recordings(1))
    finally:
        odd.kill()
        odd.wait()


def test_a_worker_without_the_package_is_named(two_workers, tmp_path):
    (tmp_path / "emgreview.py").write_text("raise ModuleNotFoundError('No module named emgreview')")
    odd = two_workers.add_worker(PYTHONPATH=str(tmp_path))
    two_workers.wait(3)
    try:
        with pytest.raises(ClusterError, match=r"cannot load the package \(No module named"):
            er.Runner(cluster=two_workers.address, progress=None).run(Sum(), recordings(1))
    finally:
        odd.kill()
        odd.wait()


def test_a_scheduler_that_is_not_there_is_named():
    address = f"tcp://127.0.0.1:{free_port()}"
    with pytest.raises(ClusterError, match=f"no scheduler answered at '{address}'"):
        list(er.running.cluster.on_cluster([], Sum(), None, address, wait_s=1))
    with pytest.raises(ClusterError, match="no scheduler answered at 'somewhere'"):
        list(er.running.cluster.on_cluster([], Sum(), None, "somewhere", wait_s=1))


def test_a_scheduler_without_workers_is_told(tmp_path):
    with cluster(tmp_path) as made:
        made.wait(0)
        with pytest.raises(ClusterError, match="has no worker, and none came within 2 s"):
            list(er.running.cluster.on_cluster([], Sum(), None, made.address, wait_s=2))


def test_a_scheduler_that_goes_away_is_told_and_what_was_done_is_kept(tmp_path):
    given, gone = recordings(8), []
    with cluster(tmp_path / "..") as made:
        made.add_worker()
        made.wait(1)

        def end(now):
            if now.done == 3 and not gone:
                made.scheduler.kill()
                gone.append(time.monotonic())

        runner = er.Runner(cluster=made.address, cache=tmp_path / "cache", progress=end)
        with pytest.raises(ClusterError, match="stopped answering"):
            runner.run(Sum(pause_s=0.3), given)
    assert time.monotonic() - gone[0] < 60
    assert er.Runner(cache=tmp_path / "cache", progress=None).run(Sum(pause_s=0.3), given).ready >= 3
