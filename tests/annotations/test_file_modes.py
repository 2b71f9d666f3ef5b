"""Who may read the files of a review: those who may read its folder, and nobody else."""

import os
import stat

import numpy as np
import pytest

import emgreview as er

pytestmark = pytest.mark.skipif(os.name == "nt", reason="modes of files are those of POSIX")


@pytest.fixture
def umask():
    def to(mode):
        os.umask(mode)

    before = os.umask(0o022)
    yield to
    os.umask(before)


def reviewed(folder) -> dict[str, int]:
    """Mode of every file and folder of a review that was begun, decided on and sealed."""
    x = np.random.default_rng(1).normal(0, 5, (1, 12_000))
    rec = er.Recording.from_array(x, 1000, labels=["FDI"], markers=[(2000 * k, "go") for k in (1, 2, 3)], name="rec")
    trials = er.cut_trials(rec, cue="go", before_s=0.5, after_s=1.0, processing=er.Processing(high_hz=None))
    with er.open_review(trials, folder, reviewer="r1", method="threshold") as session:
        session.none_visible(session.queue[0], "FDI")
        session.seal("first")
        inside = [path for path in folder.rglob("*") if not path.name.startswith(".")]
        return {str(path.relative_to(folder)): stat.S_IMODE(path.stat().st_mode) for path in inside}


@pytest.mark.parametrize(
    ("of_folder", "others"), [(0o700, 0), (0o750, 0o040), (0o755, 0o044), (0o711, 0), (0o770, 0o040)]
)
def test_files_are_read_by_those_who_may_read_the_folder(tmp_path, umask, of_folder, others):
    folder = tmp_path / "review"
    folder.mkdir()
    folder.chmod(of_folder)
    modes = reviewed(folder)
    files = {name: mode for name, mode in modes.items() if (folder / name).is_file()}
    assert len(files) >= 3
    for name, mode in files.items():
        assert mode & 0o077 == others, f"{name}: {mode:o}"
        assert mode & 0o400
    for name in modes.keys() - files.keys():
        assert modes[name] & 0o055 == of_folder & 0o055, f"{name}: {modes[name]:o}"


def test_the_umask_takes_away_what_the_folder_would_give(tmp_path, umask):
    folder = tmp_path / "review"
    folder.mkdir()
    folder.chmod(0o755)
    umask(0o077)
    assert all(mode & 0o077 == 0 for mode in reviewed(folder).values())


def test_a_folder_that_is_made_for_a_review_follows_the_one_it_lies_in(tmp_path, umask):
    tmp_path.chmod(0o700)
    folder = tmp_path / "made" / "review"
    modes = reviewed(folder)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert all(mode & 0o077 == 0 for mode in modes.values())
