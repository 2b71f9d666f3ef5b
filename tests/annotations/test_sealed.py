"""Sealed versions are what was sealed, whatever happens to their files, and whoever else seals."""

import json
import multiprocessing
import shutil
import warnings
from contextlib import suppress
from pathlib import Path

import pytest
from scripted_reviews import make_trials, start

import emgreview as er
from emgreview import replaying
from emgreview.annotations.description import misfit
from emgreview.annotations.versions import DESCRIPTION, TABLE, seal_version, sealed_names
from emgreview.errors import EmgreviewError, SignalWarning, VersionError


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    """A review with a version, and the SHA-256 to quote."""
    folder = tmp_path_factory.mktemp("review")
    with start(folder) as session:
        session.accept_rest(session.queue[0])
        session.unusable(session.queue[1], "FDI", ["clipped"])
        return folder, session.seal("v1").sha256


def flips(path, step=1):
    """Its content with each byte changed in turn, or every so many, each by another bit."""
    content = path.read_bytes()
    for place in range(0, len(content), step):
        yield content[:place] + bytes([content[place] ^ 1 << place % 8]) + content[place + 1 :]


@pytest.mark.parametrize("beside", ["logs", "a digest"])
@pytest.mark.parametrize("name", [DESCRIPTION, TABLE])
def test_every_flip_of_a_published_file_is_refused(sealed, tmp_path, name, beside, counted):
    folder, digest = tmp_path / "copy", sealed[1]
    shutil.copytree(sealed[0], folder)
    if beside != "logs":
        shutil.rmtree(folder / "logs")
    expect = None if beside == "logs" else digest
    path = folder / "versions" / "v1" / name
    path.chmod(0o644)
    changed = list(flips(path, 1 if beside == "logs" else 11))  # a digest is the quicker of the two, and simpler
    for content in changed:
        path.write_bytes(content)
        with pytest.raises(VersionError):
            er.read_version(folder, "v1", expect=expect)
    counted(f"flips of {name} with {beside} at hand: {len(changed)}, each refused")


def test_a_description_that_fits_its_table_is_held_against_the_logs(sealed, tmp_path):
    folder = tmp_path / "copy"
    shutil.copytree(sealed[0], folder)
    path = folder / "versions" / "v1" / DESCRIPTION
    path.chmod(0o644)
    description = json.loads(path.read_text("utf-8"))
    description["columns"]["reviewed"]["type"] = "text"
    path.write_text(json.dumps(description), "utf-8")
    for call in (
        lambda: er.read_version(folder, "v1"),
        lambda: er.diff(folder, "v1", "now"),
        lambda: er.replay(folder, folder, "v1"),
    ):
        with pytest.raises(VersionError, match="was changed after sealing"):
            call()
    assert "was changed after sealing" in er.verify(folder).problems[0]


def test_where_nothing_vouches_for_a_version_it_is_said(sealed, tmp_path):
    shutil.copytree(sealed[0] / "versions", tmp_path / "versions")
    with pytest.warns(SignalWarning, match="no logs lie beside it"):
        table = er.read_version(tmp_path, "v1")
    assert "expect=" in table.attrs["notes"][0]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert er.read_version(tmp_path, "v1", expect=sealed[1]).attrs["notes"] == []
        assert er.read_version(sealed[0], "v1").attrs["notes"] == []


@pytest.mark.parametrize("change", ["a column is missing", "a column is not described"])
def test_table_and_description_name_the_same_columns(sealed, tmp_path, change):
    """Even where every digest fits, as in a version that another program wrote."""
    read = er.read_version(sealed[0], "v1").attrs["version"]
    columns = dict(read["columns"])
    table = (sealed[0] / "versions" / "v1" / TABLE).read_bytes()
    if change == "a column is missing":
        columns["more"] = {"type": "text", "description": "one more"}
    else:
        del columns["accepted"]
    seal_version(tmp_path, "v1", table, {**read, "columns": columns})
    (tmp_path / "logs").mkdir()
    with pytest.raises(VersionError, match=r"lacks 'more'|'accepted' is not described"):
        er.read_version(tmp_path, "v1")


def test_trials_and_recordings_of_a_description_name_the_same(sealed, tmp_path):
    """A recording without a method would be replayed as identical, for nothing would be held against it."""
    shutil.copytree(sealed[0], tmp_path / "copy")
    read = er.read_version(sealed[0], "v1").attrs["version"]
    table = (sealed[0] / "versions" / "v1" / TABLE).read_bytes()
    shutil.rmtree(tmp_path / "copy" / "versions")
    (log,) = (tmp_path / "copy" / "logs").glob("*.jsonl")
    lines = log.read_bytes().splitlines(keepends=True)
    log.write_bytes(b"".join(line for line in lines if b'"operation":"seal"' not in line))
    seal_version(tmp_path / "copy", "v1", table, {**read, "recordings": {}})
    with pytest.raises(VersionError, match="do not name the same: 'rec'"):
        er.replay(tmp_path / "copy", make_trials().recording, "v1")


# Two who seal at once ------------------------------------------------------------------------------------------------


def seal_many(folder, name, start_together, said):
    start_together.wait()
    for number in range(20):
        try:
            done = seal_version(folder, f"v{number}", f"{name} {number}\n".encode(), {"by": name})
            said.put((number, name, done.sha256))
        except EmgreviewError as why:
            said.put((number, name, str(why)))


def test_of_those_who_seal_one_name_at_once_one_gets_it_and_the_others_are_told(tmp_path, counted):
    context = multiprocessing.get_context("fork")
    together, said = context.Barrier(3), context.Queue()
    people = [context.Process(target=seal_many, args=(tmp_path, name, together, said)) for name in "abc"]
    for one in people:
        one.start()
    answers = [said.get(timeout=120) for _ in range(60)]
    for one in people:
        one.join()
    for number in range(20):
        got = [(name, words) for which, name, words in answers if which == number]
        (winner,) = [(name, words) for name, words in got if len(words) == 64]
        assert all("exists already" in words for name, words in got if name != winner[0]), got
        found = tmp_path / "versions" / f"v{number}"
        assert (found / TABLE).read_text() == f"{winner[0]} {number}\n"
        assert json.loads((found / DESCRIPTION).read_text())["by"] == winner[0]
    assert not list((tmp_path / "versions").glob(".*unfinished*"))
    counted("three processes seal 20 names at once: 20 versions, whole, of who was told so; 40 told that it exists")


def test_a_folder_that_a_crash_left_is_cleared_and_a_living_one_is_not(tmp_path):
    left = tmp_path / "versions" / ".v1.0123.unfinished"
    left.mkdir(parents=True)
    (left / TABLE).write_text("half")
    seal_version(tmp_path, "v1", b"a\n", {})
    assert not left.exists()
    assert sealed_names(tmp_path) == ("v1",)


SAMPLES = sorted((Path(__file__).parents[1] / "files").rglob("decisions.json"))


def test_every_stored_description_fits_the_schema():
    assert len(SAMPLES) > 10
    for path in SAMPLES:
        assert not misfit(json.loads(path.read_text("utf-8"))), path


@pytest.mark.parametrize(
    "part", ["columns", "trials", "recordings", "logs", "packages", "inclusion", "reviewer", "bulk"]
)
@pytest.mark.parametrize("value", [None, 3, [], [[]], {"a": 1}, {"a": {"lines": "x"}}, "text"])
def test_a_description_in_another_form_is_refused_in_our_own_words(sealed, tmp_path, part, value):
    """Written anew with digests that fit, and no log to hold it against."""
    read = er.read_version(sealed[0], "v1").attrs["version"]
    table = (sealed[0] / "versions" / "v1" / TABLE).read_bytes()
    folder = tmp_path / "versions" / "v1"
    folder.mkdir(parents=True)
    (folder / TABLE).write_bytes(table)
    (folder / DESCRIPTION).write_text(json.dumps({**read, part: value}), "utf-8")
    shutil.copytree(sealed[0] / "logs", tmp_path / "logs")
    for log in (tmp_path / "logs").rglob("*.jsonl"):  # as they were before sealing
        log.write_bytes(b"".join(log.read_bytes().splitlines(keepends=True)[:-1]))
    fine = not misfit({**read, part: value})
    for call in (
        lambda: er.read_version(tmp_path, "v1"),
        lambda: er.diff(tmp_path, "v1", "now"),
        lambda: er.replay(tmp_path, tmp_path, "v1"),
        lambda: er.verify(tmp_path),
        lambda: start(tmp_path).close(),
    ):
        with warnings.catch_warnings(), suppress(EmgreviewError):
            warnings.simplefilter("ignore")
            assert call() is None or fine or call().__class__.__name__ == "Verified"


def test_an_adjudication_that_names_a_log_elsewhere_copies_nothing_there(tmp_path):
    place = tmp_path / "place"
    for where in ("../x_reviewer-r1.jsonl", "logs/../../x_reviewer-r1.jsonl", "/tmp/x_reviewer-r1.jsonl"):
        with pytest.raises(EmgreviewError, match="leads out of the review folder"):
            replaying._copy_logs(tmp_path, place, {where: {"lines": 1, "sha256": "0" * 64}})


@pytest.mark.parametrize("what", ["the lock", "the folder"])
def test_nothing_is_sealed_through_a_link(tmp_path, what):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "kept").write_text("kept")
    review = tmp_path / "review"
    if what == "the folder":
        review.mkdir()
        (review / "versions").symlink_to(elsewhere)
    else:
        (review / "versions").mkdir(parents=True)
        (review / "versions" / ".lock").symlink_to(elsewhere / "kept")
    with pytest.raises(VersionError, match="link"):
        seal_version(review, "v1", b"a\n", {})
    assert [path.name for path in elsewhere.iterdir()] == ["kept"]
    assert (elsewhere / "kept").read_text() == "kept"
