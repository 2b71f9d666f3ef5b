"""What all tests share: counts of the hard cases, printed at the end of the run."""

import os

import pytest
from hypothesis import settings

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # before numpy: tests run beside each other, a core each
    os.environ.setdefault(threads, "1")


@pytest.fixture
def counted(record_property):
    """Say in a sentence how many cases a test went through; the summary of the run repeats it."""

    def say(words: str) -> None:
        record_property("counted", words)

    return say


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Browser tests go to one process: one server of each kind, one screen at a time."""
    from xdist.scheduler import LoadScopeScheduling

    class BrowserTestsTogether(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            return "browser" if "tests/browser/" in nodeid else nodeid

    return BrowserTestsTogether(config, log)


def pytest_terminal_summary(terminalreporter):
    reports = terminalreporter.getreports("passed")
    said = [value for one in reports if one.when == "call" for name, value in one.user_properties if name == "counted"]
    if said:
        terminalreporter.section("hard cases")
        for words in said:
            terminalreporter.write_line(words)


settings.register_profile("house", deadline=None)  # timing has its benchmarks
settings.load_profile("house")
