"""What all tests share: counts of the hard cases, printed at the end of the run."""

import os
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # before numpy: tests run beside each other, a core each
    os.environ.setdefault(threads, "1")

MEMORY, ROOM = Path("/dev/shm"), 4 << 30
if os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > ROOM:
    # every decision is flushed, which takes a disk milliseconds; what a cut of power leaves is tried without one
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))

os.environ["XDG_STATE_HOME"] = tempfile.mkdtemp(prefix="emgreview-tests-")  # for them and all that they start


def pytest_unconfigure():
    shutil.rmtree(os.environ["XDG_STATE_HOME"], ignore_errors=True)


@pytest.fixture
def counted(record_property):
    """Say in a sentence how many cases a test went through; the summary of the run repeats it."""

    def say(words: str) -> None:
        record_property("counted", words)

    return say


@pytest.fixture
def run(capsys):
    """Run a command in this process: status, standard output, standard error."""

    def command(*arguments: object):
        from emgreview import cli  # not for those who ask for no command

        status = cli.run([str(part) for part in arguments])
        return status, *capsys.readouterr()

    return command


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """What shares something dear goes to one process, one after the other, and first; all else where there is room."""
    from xdist.scheduler import LoadScopeScheduling

    class SharedTogether(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            return next((shared for shared in TOGETHER if nodeid.startswith(shared)), nodeid)

    return SharedTogether(config, log)


TOGETHER = (
    "tests/browser/",
    "tests/test_checking.py::test_each_planted_fault_is_named",
    "tests/test_missing_numbers.py",
    "tests/test_cli.py",
    "tests/test_doors.py",
    "tests/test_demo.py",
)
"""How names of tests begin that share servers, of which one screen at a time is driven, or recordings and studies."""


LONG = (
    *TOGETHER,
    "tests/test_gate.py::test_tool_has_no_complaint[mypy]",
    "tests/test_gate.py",
    "tests/test_own_notebooks.py::test_every_notebook",
    "tests/test_kills.py",
    "tests/test_any_order.py",
    "tests/annotations/test_sealed.py::test_every_flip",
    "tests/annotations/test_faults.py",
    "tests/signal/test_evoked.py",
    "tests/signal/test_floor.py",
    "tests/signal/test_quality.py",
    "tests/second_look/test_hidden.py",
    "tests/cohort/test_statistics.py",
    "tests/test_power_cuts.py",
)
"""How names of tests begin that take seconds. They go first: one at the end would have all others wait for it."""


def pytest_collection_modifyitems(items):
    items.sort(key=lambda item: next((at for at, long in enumerate(LONG) if item.nodeid.startswith(long)), len(LONG)))


def pytest_terminal_summary(terminalreporter):
    reports = terminalreporter.getreports("passed")
    said = [value for one in reports if one.when == "call" for name, value in one.user_properties if name == "counted"]
    if said:
        terminalreporter.section("hard cases")
        for words in said:
            terminalreporter.write_line(words)


settings.register_profile("house", deadline=None)  # timing has its benchmarks
settings.load_profile("house")
