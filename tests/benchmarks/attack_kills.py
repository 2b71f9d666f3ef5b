"""Kill every command that writes at random moments, and count what was lost.

    python tests/benchmarks/attack_kills.py [--kills 200] [--seed 1] [--only NAME ...]

Each command runs in a process of its own that says on a pipe what is to be kept ("try") and what was acknowledged
("saved"); it is killed (SIGKILL) at a moment drawn over the time that it takes. What is then on disk is opened as a
person would: acknowledged ⊆ recovered ⊆ attempted, every file that has its name is whole, the review goes on, and
``verify`` finds nothing. Exit status 0 when nothing was lost. A kill does not test the loss of power: the states of
which tests/annotations/test_faults.py goes through.
"""

import argparse
import dataclasses
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np

import emgreview as er
from emgreview.annotations.withdrawals import withdrawals
from emgreview.plain_files import write_new
from emgreview.session import Session

Say = Callable[[str, str], None]


def trials_of(n: int = 6) -> er.Trials:
    rng = np.random.default_rng(3)
    go = [2000 * (k + 1) for k in range(n)]
    x = rng.normal(0, 4, (2, 2000 * (n + 2)))
    for cue in go:
        x[:, cue + 200 : cue + 600] += rng.normal(0, 50, (2, 400))
    rec = er.Recording.from_array(x, 1000.0, labels=["FDI", "APB"], markers=[(cue, "go") for cue in go], name="rec")
    return er.cut_trials(rec, cue="go", before_s=0.8, after_s=1.0)


TRIALS = trials_of()


def review(folder: Path, code: str = "r1") -> Session:
    return er.open_review(TRIALS, folder, reviewer=code)


def comments(folder: Path, code: str = "r1") -> set[str]:
    lines = (folder / "logs" / f"rec_reviewer-{code}.jsonl").read_bytes().split(b"\n")[:-1]
    return {event["new"] for event in map(json.loads, lines) if event["field"] == "comment" and event["new"]}


def decide(folder: Path, say: Say) -> None:
    with review(folder) as session:
        for k in range(40):
            say("try", f"comment {k}")
            session.comment(session.queue[k % 6], f"comment {k}")
            say("saved", f"comment {k}")


def undo(folder: Path, say: Say) -> None:
    with review(folder) as session:
        for k in range(20):
            say("try", f"comment {k}")
            session.comment(session.queue[k % 6], f"comment {k}")
            session.undo()
            session.redo()
            say("saved", f"comment {k}")


def seal(folder: Path, say: Say) -> None:
    with review(folder) as session:
        for k in range(12):
            say("try", f"v{k}")
            session.seal(f"v{k}")
            say("saved", f"v{k}")


def settle(folder: Path, say: Say) -> None:
    with er.adjudicate(TRIALS, folder, "r1", "r2", reviewer="r3", blind=False) as session:
        for trial in session.queue:
            say("try", trial)
            session.settle(trial, "FDI", "A")
            say("saved", trial)


def rules(folder: Path, say: Say) -> None:
    for k in range(60):
        say("try", f"rule {k}")
        er.Rule(name=f"rule {k}", version=1, onset_s=(0.08, 0.8)).write(folder / f"{k}.toml")
        say("saved", f"rule {k}")


def tables(folder: Path, say: Say) -> None:
    for k in range(60):
        say("try", f"{k}.tsv")
        write_new(folder / f"{k}.tsv", f"{k}\n" * 20_000)
        say("saved", f"{k}.tsv")


def demo(folder: Path, say: Say) -> None:
    say("try", "demo")
    er.write_demo(folder / "demo", participants=2, trials=2, workers=1)
    say("saved", "demo")


def one_decided(folder: Path) -> None:
    with review(folder) as session:
        session.accept_rest(session.queue[0])


def two_apart(folder: Path) -> None:
    for code in ("r1", "r2"):
        with review(folder, code) as session:
            for trial in session.queue:
                session.accept_rest(trial)
                if code == "r2":
                    session.none_visible(trial, "FDI")
                    session.accept_rest(trial)


PEOPLE = [f"{k:02}" for k in range(1, 9)]


def people(folder: Path) -> None:
    """Two reviewers of some people, one version of it all."""
    rec = TRIALS.recording
    each = [dataclasses.replace(rec, name=f"rec{sub}", entities={"sub": sub}) for sub in PEOPLE]
    trials = [er.cut_trials(one, cue="go", before_s=0.5, after_s=1.0) for one in each]
    for code in ("r1", "r2"):
        with er.open_review(trials, folder, reviewer=code) as session:
            for trial in session.queue[::6]:
                session.accept_rest(trial)
            session.seal(f"of-{code}")


def withdraw(folder: Path, say: Say) -> None:
    for sub in PEOPLE[1:]:
        say("try", sub)
        er.withdraw(folder, sub, reviewer="r1", reason="withdrew")
        say("saved", sub)


def found_withdrawn(folder: Path) -> set[str]:
    """Those of whom it was said; saying it again ends what was begun, and all others are whole."""
    gone = {str(one.participant) for one in withdrawals(folder)}
    for sub in gone:
        er.withdraw(folder, sub, reviewer="r1", reason="withdrew")
    assert er.verify(folder).ok, er.verify(folder).problems
    there = {path.parent.name.removeprefix("sub-") for path in folder.glob("logs/*/*.jsonl")}
    assert there == {*PEOPLE} - gone, (there, gone)
    er.agreement(folder, "r1", "r2")
    return gone


def nothing(folder: Path) -> None:
    pass


def found_versions(folder: Path) -> set[str]:
    names = {path.name for path in (folder / "versions").glob("[!.]*")} if (folder / "versions").is_dir() else set()
    for name in names:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a version of which no log had time to say that it was sealed
            er.read_version(folder, name)
    return names


def found_settled(folder: Path) -> set[str]:
    path = folder / "logs" / "rec_reviewer-r3.jsonl"
    lines = path.read_bytes().split(b"\n")[:-1] if path.exists() else []
    return {event["subject"]["trial"] for event in map(json.loads, lines) if event["operation"] == "settle"}


def found_rules(folder: Path) -> set[str]:
    return {er.Rule.read(path).name for path in folder.glob("*.toml")}


def found_tables(folder: Path) -> set[str]:
    for path in folder.glob("*.tsv"):
        assert path.read_text() == f"{path.stem}\n" * 20_000, path
    return {path.name for path in folder.glob("*.tsv")}


def found_demo(folder: Path) -> set[str]:
    """Whole files; writing it again mends what is missing."""
    if not (folder / "demo").is_dir():
        return set()
    er.write_demo(folder / "demo", participants=2, trials=2, workers=1)
    data = er.read_dataset(folder / "demo")
    return {"demo"} if len(list(data.recordings)) == 2 else set()


COMMANDS = {
    "decide": (one_decided, decide, comments),
    "undo and redo": (one_decided, undo, comments),
    "seal": (one_decided, seal, found_versions),
    "settle": (two_apart, settle, found_settled),
    "withdraw": (people, withdraw, found_withdrawn),
    "write a rule": (nothing, rules, found_rules),
    "write a table": (nothing, tables, found_tables),
    "write the demo": (nothing, demo, found_demo),
}


def goes_on(folder: Path, name: str) -> None:
    """What is left opens for writing, takes a decision, and holds what it must."""
    if name in ("decide", "undo and redo", "seal", "settle"):
        with review(folder) as session:
            assert session.problem is None, session.problem
            session.comment(session.queue[0], "goes on")
        if name == "settle":
            with er.adjudicate(TRIALS, folder, "r1", "r2", reviewer="r3", blind=False) as session:
                assert session.problem is None, session.problem
        if name == "seal":
            with review(folder) as session:
                session.seal("after")
        assert er.verify(folder).ok, er.verify(folder).problems


def child(run: Callable[[Path, Say], None], folder: Path, out: int) -> None:
    def say(word: str, what: str) -> None:
        os.write(out, f"{word} {what}\n".encode())

    try:
        say("begun", "")
        run(folder, say)
    finally:
        os._exit(0)


def campaign(name: str, kills: int, chance: random.Random, place: Path) -> list[int]:
    begin, run, found = COMMANDS[name]
    ready = place / "ready"
    ready.mkdir()
    begin(ready)
    totals, whole_s = [0, 0, 0, 0], 0.0
    for kill in range(-1, kills):  # the first one is let be, to learn how long it takes
        folder = place / "work"
        shutil.copytree(ready, folder)
        back, out = os.pipe()
        if (process := os.fork()) == 0:
            os.close(back)
            child(run, folder, out)
        os.close(out)
        with os.fdopen(back, "rb") as stream:
            stream.readline()
            start = time.perf_counter()
            if kill >= 0:
                time.sleep(chance.uniform(0, whole_s))
                os.kill(process, signal.SIGKILL)
            said = stream.read().decode()
            if kill < 0:
                whole_s = time.perf_counter() - start
        os.waitpid(process, 0)
        lines = [line.split(" ", 1) for line in said.splitlines()]
        tried = {what for word, what in lines if word == "try"}
        saved = {what for word, what in lines if word == "saved"}
        there = found(folder)
        if name == "write the demo":
            tried |= there
        assert saved <= there <= tried, (name, kill, saved - there, there - tried)
        goes_on(folder, name)
        for at, count in enumerate((kill >= 0, len(tried), len(saved), len(there))):
            totals[at] += count
        shutil.rmtree(folder)
    shutil.rmtree(ready)
    return totals


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="*", choices=list(COMMANDS), default=list(COMMANDS))
    given = parser.parse_args()
    warnings.simplefilter("ignore", er.SignalWarning)
    lost = 0
    for name in given.only:
        with tempfile.TemporaryDirectory() as place:
            try:
                kills, tried, saved, there = campaign(name, given.kills, random.Random(given.seed), Path(place))
            except AssertionError as why:
                lost += 1
                print(f"{name}: FAILED {why}", flush=True)
            else:
                print(
                    f"{name}: {kills} kills, {tried} attempted, {saved} acknowledged, {there} found, 0 lost", flush=True
                )
    return int(lost > 0)


if __name__ == "__main__":
    sys.exit(main())
