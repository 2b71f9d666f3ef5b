"""A cut of power at every call of a whole review and of a settlement: what was acknowledged is there.

The layer that injects it stands in `power_cuts.py`; the log by itself is tried in `annotations/test_faults.py`.
"""

import itertools
import warnings

import pytest
from power_cuts import Watched, after_a_power_cut, folder_as_disk, materialise
from scripted_reviews import Unflushed, detect, make_trials, start

import emgreview as er
from emgreview.annotations.versions import sealed_names

TRIALS = make_trials()


def review(session, said):
    """Decisions of every kind, each followed by a word on what stands then."""
    one, two, *_ = session.queue
    for step in (
        lambda: session.accept(one, "FDI"),
        lambda: session.move(one, "APB", onset_s=0.25),
        lambda: session.accept_rest(one),
        lambda: session.unusable(two, "FDI", ["clipped"]),
        lambda: session.undo(),
        lambda: session.redo(),
        lambda: session.seal("v1"),
        lambda: session.comment(two, "after sealing"),
    ):
        step()
        said()


def settle(session, said):
    for trial in session.queue:
        session.settle(trial, "FDI", "A")
        said()


def apart(folder):
    for code in ("r1", "r2"):
        with start(folder, TRIALS, reviewer=code, files=Unflushed()) as session:
            for trial in session.queue:
                if code == "r2":
                    session.none_visible(trial, "FDI")
                session.accept_rest(trial)


def open_settlement(folder, **options):
    return er.adjudicate(TRIALS, folder, "r1", "r2", reviewer="r3", blind=False, detect=detect, **options)


CASES = {
    "a review": (lambda folder: None, lambda folder, **o: start(folder, TRIALS, **o), review),
    "a settlement": (apart, open_settlement, settle),
}


@pytest.mark.filterwarnings("ignore:The last line of")
@pytest.mark.parametrize("which", CASES)
def test_a_cut_at_any_call_loses_nothing_that_was_acknowledged(tmp_path, which, counted):
    begin, open_, act = CASES[which]
    folder = tmp_path / "real"
    folder.mkdir()
    begin(folder)
    before, files = folder_as_disk(folder), Watched()
    states, at = [], [0]
    with open_(folder, files=files) as session:

        def said():
            states.append({trial: session.state(trial) for trial in session.queue})
            at.append(len(files.calls))

        said()
        act(session, said)
    cases = whole = 0
    for size in range(len(files.calls) + 1):
        known = sum(end <= size for end in at[1:])  # so many states had been acknowledged
        disks = list(after_a_power_cut(files.calls[:size], before))
        for disk in itertools.islice(disks, 0, None, max(1, len(disks) // 6)):
            place = tmp_path / "cut" / str(cases)
            place.mkdir(parents=True)
            materialise(disk, folder, place)
            with open_(place, files=Unflushed()) as again:
                assert again.problem is None, (size, again.problem)
                now = {trial: again.state(trial) for trial in again.queue}
                assert now in states[max(0, known - 1) : known + 1], (which, size)
                again.comment(again.queue[0], "goes on")
            found = er.verify(place)
            assert found.ok, found.problems
            for name in sealed_names(place):
                whole += 1
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore")  # no log had time to say that it was sealed
                    er.read_version(place, name)
            cases += 1
    counted(f"power cuts in {which}: {cases} contents of the disk, {whole} versions read, nothing acknowledged lost")
