"""The runner: one result a recording, the same whichever way; what fails, dies or is stopped loses nothing else."""

import argparse
import io
import json
import os
import shutil
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import edfio
import numpy as np
import pytest
from jobs_for_tests import KillsItsWorker, Rewrites, Sum, Trouble

import emgreview as er
from emgreview.cli.running import runner_of
from emgreview.errors import ParameterError, RunStoppedError
from emgreview.model import sources
from emgreview.running.progress import Progress, shown
from emgreview.running.secret import BYTES, read_or_make
from emgreview.running.values import encode, seal
from emgreview.running.work import key_of, openings_of, seen_of, work


def recordings(count=5, seed=0):
    rng = np.random.default_rng(seed)
    return [
        er.Recording.from_array(rng.normal(0, 5, (2, 400)), 1000, labels=["A", "B"], name=f"r{place}")
        for place in range(count)
    ]


def results(outcomes):
    return [encode((one.name, one.value, one.problem, one.notes)) for one in outcomes]


def test_one_result_a_recording_in_order_whichever_way(tmp_path):
    given = recordings()
    alone = er.Runner(progress=None).run(Sum(), given)
    assert [one.name for one in alone] == [rec.name for rec in given]
    for one, rec in zip(alone, given, strict=True):
        np.testing.assert_array_equal(one.value["sum"], rec.values().sum(axis=1))
        assert one.notes == (f"{one.name}: looked at",)
    ways = {
        "processes": er.Runner(2, progress=None),
        "a cache": er.Runner(cache=tmp_path / "cache", progress=None),
        "processes and a cache": er.Runner(2, cache=tmp_path / "other", progress=None),
    }
    for way, runner in ways.items():
        assert results(runner.run(Sum(), given)) == results(alone), way
        again = runner.run(Sum(), given)
        assert results(again) == results(alone), way
        assert again.ready == (len(given) if runner.cache else 0), way


def test_what_fails_is_named_and_stops_no_other(tmp_path):
    for workers in (1, 2):
        found = er.Runner(workers, cache=tmp_path / "cache", progress=None).run(Trouble(), recordings())
        assert [one.value for one in found] == ["r0", None, None, "r3", "r4"]
        assert set(found.failed) == {"r1", "r2"}
        assert found.failed["r1"].startswith("the samples came as they are")
        assert "ZeroDivisionError" in found.failed["r2"]
    assert found.ready == 3, "what failed is tried again"


def test_a_recording_that_cannot_be_opened_is_named(tmp_path):
    data = er.read_dataset(er.write_demo(tmp_path / "study", participants=3, trials=1))
    broken = data.recordings.files[data.recordings.names[1]]
    broken.write_bytes(broken.read_bytes()[:-7])
    found = er.Runner(progress=None).run(Sum(), data)
    assert list(found.failed) == [data.recordings.names[1]]
    assert [bool(one.value) for one in found] == [True, False, True]


@pytest.mark.parametrize("times", [1, 100])
def test_a_worker_that_is_killed_loses_nothing_but_what_it_was_at(tmp_path, times):
    (tmp_path / "died").mkdir()
    given = recordings(6)
    found = er.Runner(2, cache=tmp_path / "cache", progress=None).run(
        KillsItsWorker(str(tmp_path / "died"), times), given
    )
    sums = [float(np.sum(rec.values())) for rec in given]
    if times < 100:
        assert [one.value for one in found] == sums
    else:
        assert list(found.failed) == ["r1"]
        assert "ended" in found.failed["r1"]
        assert [one.value for one in found if not one.problem] == [total for at, total in enumerate(sums) if at != 1]


@pytest.mark.parametrize("workers", [1, 2])
def test_stopped_work_goes_on_where_it_was(tmp_path, workers):
    stop, seen = threading.Event(), []

    def show(now):
        seen.append(now)
        if now.done == 2:
            stop.set()

    given = recordings(8)
    with pytest.raises(RunStoppedError, match="stopped after 2 of 8 recordings; run it again, and they are not done"):
        er.Runner(workers, cache=tmp_path / "cache", progress=show, cancel=stop).run(Sum(pause_s=0.02), given)
    again = er.Runner(cache=tmp_path / "cache", progress=None).run(Sum(pause_s=0.02), given)
    assert again.ready >= 2
    assert results(again) == results(er.Runner(progress=None).run(Sum(pause_s=0.02), given))
    with pytest.raises(RunStoppedError, match="begins anew"):
        er.Runner(progress=None, cancel=stop).run(Sum(), given)


def test_an_interrupt_keeps_what_is_done(tmp_path):
    def interrupt(now):
        if now.done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        er.Runner(cache=tmp_path / "cache", progress=interrupt).run(Sum(), recordings())
    assert er.Runner(cache=tmp_path / "cache", progress=None).run(Sum(), recordings()).ready == 3


# What a result depends on -------------------------------------------------------------------------------------------


def changed_ways():
    x = np.random.default_rng(3).normal(0, 5, (2, 400))
    one = {"labels": ["A", "B"], "name": "r", "markers": [(100, "go")], "entities": {"sub": "01"}}
    yield "itself", (x, 1000), one
    other = x.copy()
    other[1, 399] = np.nextafter(other[1, 399], 9)
    yield "one bit of a sample", (other, 1000), one
    yield "rate", (x, 1000.5), one
    yield "a label", (x, 1000), one | {"labels": ["A", "C"]}
    yield "name", (x, 1000), one | {"name": "s"}
    yield "a marker", (x, 1000), one | {"markers": [(101, "go")]}
    yield "a marker's label", (x, 1000), one | {"markers": [(100, "stop")]}
    yield "a detail of a marker", (x, 1000), one | {"markers": [er.Marker(100, "go", details={"grip": "small"})]}
    yield "participant", (x, 1000), one | {"entities": {"sub": "02"}}
    yield "unit", (x, 1000), one | {"unit": "arbitrary"}
    yield "mains", (x, 1000), one | {"mains_hz": 50.0}
    for name, part in (("kind", {"kind": "MISC"}), ("delay", {"delay_s": 0.01}), ("status", {"status": "bad"})):
        yield name, (x, 1000), one | {"channels": [er.Channel("A", **part), er.Channel("B")]}


def test_whatever_decides_a_result_makes_another_key():
    keys = {why: key_of(er.Recording.from_array(*given, **rest), Sum()) for why, given, rest in changed_ways()}
    assert len(set(keys.values())) == len(keys), keys
    rec = recordings(1)[0]
    assert key_of(rec, Sum()) != key_of(rec, Sum(factor=2.0))
    assert key_of(rec, Sum()) != key_of(rec, Trouble())


@pytest.mark.parametrize("joined", [None, er.join_in_time, er.join_channels])
def test_what_stands_for_missing_samples_makes_another_key(tmp_path, joined):
    """A converted dataset says in its sidecar which stored number is a missing sample: the stored ones are the same."""
    x = np.round(np.random.default_rng(1).normal(0, 5, (1, 4000)), 2)
    x[0, 100:200] = np.nan
    rec = er.Recording.from_array(x, 1000, labels=["A"], name="one")
    done = er.convert(
        rec,
        tmp_path / "shared",
        people={"one": {"sub": "01", "task": "t"}},
        said={"EMGPlacementScheme": "Measured", "EMGReference": "bipolar"},
    )
    (sidecar,) = (tmp_path / "shared").rglob("*_emg.json")

    def key():
        (one,) = er.read_dataset(done.folder).recordings
        return key_of(one if joined is None else joined([one]), Sum()), one.fingerprint

    before, stored = key()
    said = json.loads(sidecar.read_text())
    del said["MissingSampleCodes"]
    sidecar.write_text(json.dumps(said))
    after, again = key()
    assert stored == again
    assert before != after


def test_another_version_of_the_package_finds_nothing(tmp_path, monkeypatch):
    given = recordings(2)
    er.Runner(cache=tmp_path, progress=None).run(Sum(), given)
    assert er.Runner(cache=tmp_path, progress=None).run(Sum(), given).ready == 2
    now = er.running.work.version()
    monkeypatch.setattr("emgreview.running.work.version", lambda: now | {"sources": "another"})
    assert er.Runner(cache=tmp_path, progress=None).run(Sum(), given).ready == 0


@pytest.fixture
def study(tmp_path, monkeypatch):
    """Recordings whose files count as settled at once; and how often samples were read for a digest."""
    monkeypatch.setattr("emgreview.running.work.SETTLED_S", 0.0)
    data, read = er.read_dataset(er.write_demo(tmp_path / "study", participants=2, trials=1)), []
    digest_of = sources.digest_of

    def counted(*what):
        read.append(what)
        return digest_of(*what)

    monkeypatch.setattr(sources, "digest_of", counted)
    return data, read


def test_samples_are_read_for_their_digest_once_while_the_file_stays(study, tmp_path):
    data, read = study
    for ready in (0, 2, 2):
        assert er.Runner(cache=tmp_path / "cache", progress=None).run(Sum(), data).ready == ready
    assert len(read) == 2


@pytest.mark.parametrize("keep_times", [False, True])
def test_a_file_that_was_written_since_is_another(study, tmp_path, keep_times):
    """Also where its time of change is set back, as copying tools do: the system's own time of it cannot be set."""
    data, read = study
    first = er.Runner(cache=tmp_path / "cache", progress=None).run(Sum(), data)
    path = data.recordings.files[data.recordings.names[0]]
    told, content = path.stat(), bytearray(path.read_bytes())
    content[-100] ^= 1
    path.write_bytes(content)
    if keep_times:
        os.utime(path, ns=(told.st_atime_ns, told.st_mtime_ns))
    again = er.Runner(cache=tmp_path / "cache", progress=None).run(Sum(), data)
    assert [one.ready for one in again] == [False, True]
    assert len(read) == 3
    assert results(again) == results(er.Runner(progress=None).run(Sum(), data))
    assert results(again)[0] != results(first)[0]


def in_files(folder, names="abc", length=4000):
    """Recordings of one file each, with channels of their own."""
    made = []
    for place, name in enumerate(names):
        x = np.random.default_rng(place).normal(0, 5, (2, length - 1000 * place))
        signals = [
            edfio.EdfSignal(row, 1000, label=f"EMG {name}{at}", physical_range=(-50, 50)) for at, row in enumerate(x)
        ]
        edfio.Edf(signals).write(folder / f"{name}.edf")
        made.append(er.read(folder / f"{name}.edf", unit="uV"))
    return made


SEVERAL_FILES = {
    "side by side": lambda parts: er.join_channels(parts, ends="first"),
    "in a row": lambda parts: er.join_in_time([replace(one, channels=parts[0].channels) for one in parts]),
    "derived": lambda parts: er.derive(SEVERAL_FILES["in a row"](parts), {"D": parts[0].labels}),
}


@pytest.mark.parametrize("how", SEVERAL_FILES)
@pytest.mark.parametrize("which", [0, 1, 2])
def test_a_recording_of_several_files_is_another_as_soon_as_one_of_them_is(tmp_path, how, which):
    """Before, only recordings of one file were watched: results of samples that are gone were found again."""
    rec = SEVERAL_FILES[how](parts := in_files(tmp_path))
    runner = er.Runner(cache=tmp_path / "cache", progress=None)
    before, first = rec.digest, runner.run(Sum(), [rec])
    path = parts[which].source.file
    content = bytearray(path.read_bytes())
    content[1000] ^= 1
    path.write_bytes(content)
    again = runner.run(Sum(), [rec])
    assert rec.digest != before
    assert (first.ready, again.ready) == (0, 0)
    assert results(again) == results(er.Runner(progress=None).run(Sum(), [rec])) != results(first)


@pytest.mark.parametrize("how", ["side by side", "in a row"])
def test_samples_of_several_files_are_read_for_their_digest_once_while_all_stay(tmp_path, monkeypatch, how):
    monkeypatch.setattr("emgreview.running.work.SETTLED_S", 0.0)
    parts = in_files(tmp_path)
    runner = er.Runner(cache=tmp_path / "cache", progress=None)
    runner.run(Sum(), [SEVERAL_FILES[how](parts)])
    seen = {seen_of(SEVERAL_FILES[how](some), digest=False) for some in (parts, parts, parts[:2], parts[::-1])}
    assert len(seen) == 3
    with monkeypatch.context() as patched:
        patched.setattr(sources, "digest_of", None)
        assert runner.run(Sum(), [SEVERAL_FILES[how](parts)]).ready == 1
    parts[1].source.file.unlink()
    assert seen_of(SEVERAL_FILES[how](parts), digest=False) == ""


def test_a_file_written_a_moment_ago_is_read_whatever_its_times_say(tmp_path):
    data = er.read_dataset(er.write_demo(tmp_path / "study", participants=1, trials=1))
    assert seen_of(data.recordings[0], digest=False) == ""


def test_formats_whose_samples_hang_on_how_they_are_read_are_always_read(tmp_path, monkeypatch):
    monkeypatch.setattr("emgreview.running.work.SETTLED_S", 0.0)
    path = tmp_path / "a.csv"
    path.write_text("".join(f"{n % 7},{n % 5}\n" for n in range(2000)))
    rec = er.read(path, rate_hz=1000, unit="uV", columns=["A", "B"])
    assert rec.source.file == path
    assert seen_of(rec, digest=False) == ""


# The cache -----------------------------------------------------------------------------------------------------------


def test_a_result_that_was_changed_is_told_and_made_anew(tmp_path):
    given = recordings(3)
    first = er.Runner(cache=tmp_path, progress=None).run(Sum(), given)
    files = sorted(tmp_path.glob("*/*.result"))
    assert len(files) == 3
    content = bytearray(files[0].read_bytes())
    content[-3] ^= 4
    files[0].write_bytes(content)
    files[1].write_bytes(b"")
    with pytest.warns(er.SignalWarning, match="2 kept results were not what was written, and were made anew"):
        again = er.Runner(cache=tmp_path, progress=None).run(Sum(), given)
    assert again.ready == 1
    assert results(again) == results(first)
    assert er.Runner(cache=tmp_path, progress=None).run(Sum(), given).ready == 3


def test_a_cache_is_bounded_and_told(tmp_path):
    cache = er.Cache(tmp_path, at_most_mb=0.002)
    er.Runner(cache=cache, progress=None).run(Sum(), recordings(20))
    sizes = [path.stat().st_size for path in tmp_path.glob("*/*.result")]
    assert 0 < sum(sizes) <= 2000
    assert f"Cache of {len(sizes)} results" in repr(cache)
    assert "at most 0.002 MB" in repr(cache)


def test_a_folder_that_holds_something_else_is_no_cache(tmp_path):
    (tmp_path / "results.tsv").write_text("a\n")
    with pytest.raises(ParameterError, match=r"holds results\.tsv and is no cache"):
        er.Cache(tmp_path)
    assert [one.name for one in tmp_path.iterdir()] == ["results.tsv"]


def test_deleting_a_cache_under_a_runner_changes_no_result(tmp_path):
    given = recordings(4)
    runner = er.Runner(cache=tmp_path / "cache", progress=None)
    first = runner.run(Sum(), given)
    for path in sorted((tmp_path / "cache").rglob("*"), reverse=True):
        path.unlink() if path.is_file() else path.rmdir()
    assert results(runner.run(Sum(), given)) == results(first)


def test_two_runners_on_one_cache(tmp_path):
    given, found = recordings(12), {}

    def run(which):
        found[which] = er.Runner(cache=tmp_path / "cache", progress=None).run(Sum(), given)

    er.Cache(tmp_path / "cache")
    threads = [threading.Thread(target=run, args=(which,)) for which in range(3)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    whole = results(er.Runner(progress=None).run(Sum(), given))
    assert all(results(one) == whole for one in found.values())
    assert results(er.Runner(cache=tmp_path / "cache", progress=None).run(Sum(), given)) == whole
    assert not list((tmp_path / "cache").rglob("*.part"))


def test_a_cache_that_is_begun_while_another_looks_at_its_folder_is_one(tmp_path, monkeypatch):
    """Between the look for its mark and the look at what lies there another process begins it and keeps a result."""
    look, folder = os.path.lexists, tmp_path / "cache"

    def begun_since(path):
        monkeypatch.setattr(os.path, "lexists", look)
        er.Runner(cache=folder, progress=None).run(Sum(), recordings(1))
        return False

    monkeypatch.setattr(os.path, "lexists", begun_since)
    assert er.Runner(cache=folder, progress=None).run(Sum(), recordings(1)).ready == 1


def test_a_cache_that_cannot_be_written_stops_nothing(tmp_path):
    cache = er.Cache(tmp_path / "cache")
    cache.begin()
    (opening,) = openings_of(recordings(1))
    place = cache._place(key_of(opening.of, Sum()))[1]
    place.parent.write_text("in the way")
    assert not work(opening, Sum(), cache).problem
    place.parent.unlink()
    place.mkdir(parents=True)
    assert not work(opening, Sum(), cache).problem
    cache.clear()
    cache.trim()
    assert place.is_dir()


def swapped(files, monkeypatch):
    first, second = (path.read_bytes() for path in files[:2])
    files[0].write_bytes(second)
    files[1].write_bytes(first)
    return 2


def forged(files, monkeypatch):
    """Whole, with digests that fit, as somebody who has this package can make them; of values that are no results."""
    monkeypatch.setattr("emgreview.running.cache.own_secret", lambda: b"of somebody else")
    content = encode(({"sum": "x"}, None))
    for path, rec in zip(files, recordings(3), strict=True):
        cache = er.Cache(path.parents[1])
        cache.put(key_of(rec, Sum()), content)
        path.write_bytes(seal(content, bytes(32)))
    monkeypatch.undo()
    return 3


@pytest.mark.parametrize("attack", [swapped, forged])
def test_only_what_this_account_made_for_this_very_work_is_taken(tmp_path, monkeypatch, attack):
    given = recordings(3)
    first = er.Runner(cache=tmp_path, progress=None).run(Sum(), given)
    count = attack(sorted(tmp_path.glob("*/*.result")), monkeypatch)
    with pytest.warns(er.SignalWarning, match=f"{count} kept results were not what was written"):
        again = er.Runner(cache=tmp_path, progress=None).run(Sum(), given)
    assert again.ready == 3 - count
    assert results(again) == results(first)


def test_a_cache_that_another_account_made_is_passed_over(tmp_path, monkeypatch):
    given = recordings(2)
    monkeypatch.setattr("emgreview.running.cache.own_secret", lambda: b"of somebody else")
    other = er.Runner(cache=tmp_path, progress=None).run(Sum(2.0), given)
    monkeypatch.undo()
    mine = er.Runner(cache=tmp_path, progress=None)
    assert [mine.run(Sum(2.0), given).ready for _ in range(2)] == [0, 2]
    assert results(mine.run(Sum(2.0), given)) == results(other)
    assert len(list(tmp_path.glob("*/*.result"))) == 4


def test_nothing_behind_a_link_in_a_cache_is_written_or_deleted(tmp_path):
    given = recordings(3)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    for name in ("mine.result", "mine.part"):
        (elsewhere / name).write_text("mine")
        os.utime(elsewhere / name, (0, 0))
    cache = er.Cache(tmp_path / "cache", at_most_mb=1e-6)
    first = er.Runner(cache=cache, progress=None).run(Sum(), given)
    for rec in given:
        place = cache._place(key_of(rec, Sum()))[1].parent
        shutil.rmtree(place, ignore_errors=True)
        place.symlink_to(elsewhere)
    with pytest.warns(er.SignalWarning, match=r"3 of 3 results could not be kept in .*cache: is the disk full"):
        again = er.Runner(cache=cache, progress=None).run(Sum(), given)
    assert results(again) == results(first)
    cache.trim()
    cache.clear()
    assert sorted(path.name for path in elsewhere.iterdir()) == ["mine.part", "mine.result"]


@pytest.mark.parametrize("leads", [False, True])
def test_beside_a_review_nothing_is_written_where_a_link_leads(tmp_path, leads):
    review, elsewhere = tmp_path / "review", tmp_path / "elsewhere"
    (review / "logs").mkdir(parents=True)
    elsewhere.mkdir()
    if leads:
        (review / "cache").symlink_to(elsewhere)
    given = argparse.Namespace(workers=1, cluster=None, cache=None, json=True, command="replay")
    runner = runner_of(given, 1, review)
    assert (runner.cache is None) is leads
    runner.run(Sum(), recordings(1))
    assert not list(elsewhere.iterdir())
    given.cache = str(review / "cache")  # whoever asks for it has it
    assert runner_of(given, 1, review).run(Sum(), recordings(1)).ready == (not leads)


def test_the_secret_is_kept_for_nobody_else_and_made_once(tmp_path):
    path = tmp_path / "state" / "emgreview" / "cache-secret"
    made = read_or_make(path)
    assert read_or_make(path) == made
    assert len(made) == BYTES
    assert path.stat().st_mode & 0o077 == 0
    assert [one.name for one in path.parent.iterdir()] == [path.name]
    path.write_bytes(b"short")
    assert read_or_make(path) == read_or_make(path) != made


# Progress ------------------------------------------------------------------------------------------------------------


def test_progress_counts_what_is_done_ready_and_failed(tmp_path):
    seen = []
    er.Runner(cache=tmp_path, progress=None).run(Trouble(), recordings(4))
    er.Runner(cache=tmp_path, progress=seen.append).run(Trouble(), recordings(6))
    assert [one.done for one in seen] == [1, 2, 3, 4, 5, 6]
    assert all(one.total == 6 for one in seen)
    assert (seen[-1].ready, seen[-1].failed) == (2, ("r1", "r2"))
    assert seen[-1].words == "6 of 6, 2 ready from before, 2 failed: r5"
    assert np.isnan(seen[0].left_s), "what was ready says nothing of the rest"


def test_workers_are_waited_for_in_words(tmp_path):
    seen = []
    er.Runner(2, progress=seen.append).run(Sum(), recordings(3))
    assert [one.done for one in seen] == [0, 1, 2, 3]
    assert seen[0].words == "0 of 3, workers start"
    terminal = io.StringIO()
    terminal.isatty = lambda: True
    shown("here", terminal)(seen[0])
    assert "0 of 3, workers start" in terminal.getvalue()


@pytest.mark.parametrize("where", ["lines", "json"])
def test_progress_as_lines(where):
    stream = io.StringIO()
    show = shown(where, stream)
    show(Progress(1, 3, 0, (), "r0", 0.1, 0.2))
    assert stream.getvalue() == "", "what is soon done says nothing"
    show(Progress(2, 3, 0, ("r1",), "r1", 60.0, 30.0))
    show(Progress(3, 3, 0, ("r1",), "r2", 90.0, float("nan")))
    lines = stream.getvalue().splitlines()
    if where == "lines":
        assert lines == ["2 of 3, 1 failed, about 30 s left: r1", "3 of 3, 1 failed: r2"]
    else:
        assert [json.loads(line)["progress"]["done"] for line in lines] == [2, 3]
        assert json.loads(lines[-1])["progress"]["left_s"] is None


@pytest.mark.parametrize(
    ("slip", "words"),
    [
        ({"workers": 0}, "workers"),
        ({"workers": 2, "cluster": "tcp://x:1"}, "give one of the two"),
        ({"progress": "everywhere"}, "'here', 'lines', 'json'"),
        ({"cache": 5}, "cache"),
        ({"cancel": True}, "cancel"),
    ],
)
def test_slips_are_told(slip, words):
    with pytest.raises(ParameterError, match=words):
        er.Runner(**slip)


def test_work_runs_in_other_processes():
    @er.running.runner.dataclass(frozen=True)
    class Where:
        classes = ()

        def __call__(self, rec):
            return os.getpid()

    found = {one.value for one in er.Runner(2, progress=None).run(Where(), recordings(8))}
    assert os.getpid() not in found


@pytest.mark.parametrize("said", ["\\ud800", "", "x" * 32, "0" * 31])
def test_a_cache_that_calls_itself_oddly_is_none(tmp_path, said):
    (tmp_path / "about-this-cache.json").write_text(f'{{"emgreview cache": 1, "id": "{said}"}}')
    with pytest.raises(ParameterError, match="not that of a cache"):
        er.Cache(tmp_path)


def test_a_file_written_while_it_is_worked_on_is_told_and_not_kept(tmp_path):
    file = tmp_path / "it.edf"
    x = np.random.default_rng(1).normal(0, 5, 4000)
    edfio.Edf([edfio.EdfSignal(x, 1000, label="EMG A", physical_dimension="uV")]).write(file)
    found = er.Runner(cache=tmp_path / "cache", progress=None).run(Rewrites(), [er.read(file)])
    assert "was written while it was worked on" in found.failed["it"]
    assert er.Runner(cache=tmp_path / "cache", progress=None).run(Rewrites(), [er.read(file)]).ready == 0


PAUSED = """
import numpy as np
import emgreview as er
from jobs_for_tests import Sum

given = [er.Recording.from_array(np.ones((1, 400)), 1000, labels=["A"], name=f"r{place}") for place in range(4)]
er.Runner(2, progress=None).run(Sum(pause_s=60), given)
"""


def alive(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="workers are looked for in /proc, which is Linux's")
def test_workers_end_with_a_process_that_is_killed():
    """Before, they stayed for good: 55 of them after a hundred kills."""
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(Path(__file__).parent), *sys.path])}
    process = subprocess.Popen([sys.executable, "-c", PAUSED], env=env)
    workers = []
    for _ in range(300):
        time.sleep(0.1)
        children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
        workers = [pid for pid in children if b"popen_loky" in Path(f"/proc/{pid}/cmdline").read_bytes()]
        if len(workers) == 2:
            break
    assert len(workers) == 2
    time.sleep(3)  # they have begun to work
    process.kill()
    process.wait()
    for _ in range(100):
        if not any(map(alive, workers)):
            break
        time.sleep(0.1)
    left = [pid for pid in workers if alive(pid)]
    for pid in left:
        os.kill(int(pid), 9)
    assert not left
