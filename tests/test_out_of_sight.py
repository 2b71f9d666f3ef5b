"""Folders that may not be looked at, as on a shared drive: never an empty one, never a foreign error, never silence."""

import errno
import os
import shutil
import stat

import pytest
from scripted_reviews import detect, make_trials, start

import emgreview as er
from emgreview.errors import EmgreviewError, LogError, ReadError
from emgreview.plain_files import below, found_at, inside, is_folder, real

quiet = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
ONE = er.cut_trials(make_trials("one", seed=1, sub="01").recording, cue="go", before_s=0.5, after_s=1.0)
TWO = er.cut_trials(make_trials("two", seed=2, sub="02").recording, cue="go", before_s=0.5, after_s=1.0)
RECORDINGS = [ONE.recording, TWO.recording]


@pytest.fixture
def close(monkeypatch):
    """A function that closes a folder: nothing in it is found or listed, as without its permissions."""
    closed: list[str] = []

    def guarded(call, listing):
        def look(path=".", *args, **options):
            text = os.fspath(path) if isinstance(path, str | os.PathLike) else ""
            if any(text.startswith(f"{one}{os.sep}") or (listing and text == one) for one in closed):
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), text)
            return call(path, *args, **options)

        return look

    for name in ("stat", "lstat", "open"):
        monkeypatch.setattr(os, name, guarded(getattr(os, name), listing=False))
    for name in ("listdir", "scandir"):
        monkeypatch.setattr(os, name, guarded(getattr(os, name), listing=True))
    return lambda folder: closed.append(str(folder))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made") / "review"
    for code in ("r1", "r2"):
        with start(folder, [ONE, TWO], reviewer=code) as session:
            for trial in session.queue:
                session.accept_rest(trial)
            session.seal(f"of-{code}")
    return folder


@pytest.fixture
def folder(made, tmp_path):
    return shutil.copytree(made, tmp_path / "review")


def opened(folder, **options):
    with start(folder, [ONE, TWO], **options) as session:
        return session.problem


LOOKS = {
    "open": opened,
    "open to read": lambda folder: opened(folder, read_only=True),
    "agreement": lambda folder: er.agreement(folder, "r1", "r2"),
    "merge": lambda folder: er.merge_reviews(folder, "r1", "r2"),
    "diff": lambda folder: er.diff(folder, "of-r1"),
    "replay": lambda folder: er.replay(folder, RECORDINGS, "of-r1", detect=detect),
    "seal": lambda folder: er.seal(folder, RECORDINGS, "new", reviewer="r1", detect=detect),
    "settle": lambda folder: er.adjudicate([ONE, TWO], folder, "r1", "r2", reviewer="r3", detect=detect).close(),
    "read": lambda folder: er.read_version(folder, "of-r1"),
    "withdraw": lambda folder: er.withdraw(folder, "02", reviewer="r1", reason="x"),
}


@quiet
@pytest.mark.parametrize("where", ["", "logs", "logs/sub-01", "logs/sub-02", "versions"])
def test_what_may_hold_logs_or_versions_is_never_taken_for_empty(folder, close, where):
    close(folder / where if where else folder)
    found = er.verify(folder)
    assert not found.ok
    assert "Permission denied" in " ".join(found.problems)
    for look in LOOKS.values():
        with pytest.raises(EmgreviewError, match="Permission denied"):
            look(folder)


@quiet
def test_below_a_closed_folder_nothing_is_said_not_to_exist(folder, close):
    close(folder.parent)
    for look in (er.verify, *LOOKS.values(), er.read_dataset, er.read, er.look, er.read_study):
        try:
            said = str(look(folder))
        except EmgreviewError as why:
            said = str(why)
        assert "Permission denied" in said
        assert "does not exist" not in said


@pytest.mark.parametrize("name", ["a\0b", "x" * 300, "x" * 5000, "\ud800"])
def test_a_name_that_no_file_can_have_is_an_error_of_ours(name):
    for look in (*LOOKS.values(), er.read_dataset, er.read, er.look, er.read_study):
        with pytest.raises(EmgreviewError):
            look(name)
    assert not er.verify(name).ok


@quiet
def test_a_log_that_is_a_link_to_itself_keeps_nobody_else_in_the_review(folder):
    log = folder / "logs" / "sub-01" / "one_reviewer-r1.jsonl"
    log.unlink()
    log.symlink_to(log.name)
    assert er.withdraw(folder, "02", reviewer="r2", reason="x").logs
    (folder / "logs" / "sub-03").symlink_to("sub-03")
    assert real(folder / "logs" / "sub-03")
    with pytest.raises(EmgreviewError):
        er.withdraw(folder, "01", reviewer="r1", reason="x")


@quiet
def test_a_person_of_a_dataset_who_may_not_be_looked_at_is_not_left_out_in_silence(tmp_path, close):
    er.write_demo(tmp_path / "demo", participants=2, trials=1, workers=1)
    close(tmp_path / "demo" / "sub-02" / "emg")
    with pytest.raises(ReadError, match=r"sub-02.*Permission denied"):
        er.read_dataset(tmp_path / "demo")


@quiet
def test_a_closed_folder_beside_recordings_keeps_nobody_from_them(tmp_path, close):
    er.write_demo(tmp_path / "demo", participants=1, trials=1, workers=1)
    file = next((tmp_path / "demo").rglob("*_emg.[eb]df"))
    shutil.copy(file, tmp_path / file.name)
    (tmp_path / "lost+found").mkdir()
    close(tmp_path / "lost+found")
    assert len(er.read_dataset(tmp_path).recordings) == 1


@quiet
def test_what_is_not_ours_to_delete_is_not_called_withdrawn(folder, monkeypatch):
    monkeypatch.setattr(os, "access", lambda path, mode: "sub-02" not in str(path))
    with pytest.raises(LogError, match=r"not yours to delete files in.*nothing was withdrawn"):
        er.withdraw(folder, "02", reviewer="r1", reason="x")
    assert er.verify(folder).ok
    assert not er.verify(folder).notes


@quiet
def test_a_lock_that_is_not_ours_to_take_withdraws_nobody(folder, monkeypatch):
    from filelock import FileLock

    take = FileLock.acquire

    def refused(self, *args, **options):
        if "sub-02" in str(self.lock_file):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return take(self, *args, **options)

    monkeypatch.setattr(FileLock, "acquire", refused)
    with pytest.raises(LogError, match="nothing was withdrawn"):
        er.withdraw(folder, "02", reviewer="r1", reason="x")
    assert er.verify(folder).ok
    assert (folder / "logs" / "sub-02").is_dir()


def test_folders_without_end_are_gone_through_without_recursion(tmp_path):
    made = [tmp_path / "/".join("a" * n) for n in range(1, 1201)]
    for place in made:
        place.mkdir()
    try:
        assert sum(1 for _ in below(tmp_path)) == len(made)
        (tmp_path / "loop").symlink_to(".")
        assert sum(1 for _ in below(tmp_path)) == len(made) + 1
        (tmp_path / "logs").symlink_to("a")
        assert not er.verify(tmp_path).ok
    finally:
        for place in reversed(made):  # what clears up after tests would run out of stack
            place.rmdir()


def test_nothing_there_is_told_from_not_to_be_told(tmp_path, close):
    (tmp_path / "link").symlink_to("gone")
    assert found_at(tmp_path / "no") is None
    assert found_at(tmp_path / "link") is None
    assert stat.S_ISLNK(found_at(tmp_path / "link", link=True).st_mode)
    assert not is_folder(tmp_path / "link")
    assert inside(tmp_path / "no") == []
    (tmp_path / "closed").mkdir()
    close(tmp_path / "closed")
    assert is_folder(tmp_path / "closed")
    for look in (inside, lambda path: list(below(path)), lambda path: found_at(path / "x")):
        with pytest.raises(ReadError, match="Permission denied"):
            look(tmp_path / "closed")
