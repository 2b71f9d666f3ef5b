"""The long campaign of mutated files: run by hand before a release, on a quiet machine.

    python tests/benchmarks/attack_files.py [inputs, 100000] [target ...]

Prints inputs, own errors, foreign tracebacks and hangs, and the first traceback or hang of each place, with the number
that makes it again: ``attack("edf", 1, folder, first=1234)``. What is attacked is a line in TARGETS of
``tests/mutating.py``.

Inputs are looked at in a process of its own. A look within a library that no signal ends, as one in C that loops, is
ended with its process after STUCK_S, counted as a hang, and the next process goes on behind it.
"""

import json
import os
import resource
import select
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "reading")]

import mutating  # noqa: E402

MEMORY = 4 << 30
STUCK_S = 60.0
PARTS = ("inputs", "fine", "own", "foreign", "hangs")


def looked_at(name: str, first: int, count: int, place: Path, out: int) -> None:
    """What a process of its own does: inputs, and what became of each as a line of JSON."""
    for number in range(first, first + count):
        found = mutating.attack(name, 1, place, first=number)
        os.write(out, (json.dumps({part: getattr(found, part) for part in PARTS}) + "\n").encode())


def attacked(name: str, count: int, place: Path, tell: Callable[[str], object]) -> mutating.Counts:
    """All inputs of one target, past those that end the process they are looked at in."""
    total = mutating.Counts()
    while total.inputs < count:
        back, out = os.pipe()
        if (process := os.fork()) == 0:
            os.close(back)
            try:
                looked_at(name, total.inputs, count - total.inputs, place, out)
            finally:
                os._exit(0)
        os.close(out)
        stuck = False
        with os.fdopen(back, "rb", buffering=0) as stream:
            rest = b""
            while not stuck:
                if not select.select([stream], [], [], STUCK_S)[0]:
                    stuck = True
                elif not (came := stream.read(1 << 16)):
                    break
                else:
                    *lines, rest = (rest + came).split(b"\n")
                    for line in lines:
                        for part, value in json.loads(line).items():
                            setattr(total, part, getattr(total, part) + value)
                            for said in value if isinstance(value, list) else ():
                                tell(said)
        os.kill(process, signal.SIGKILL)
        _, status = os.waitpid(process, 0)
        if total.inputs < count:
            how = "nothing ended it" if stuck else f"it ended the process, status {status},"
            said = f"{name} {total.inputs}: {how} at a library"
            total.hangs.append(said)
            tell(said)
            total.inputs += 1
    return total


def main() -> None:
    whole, *names = sys.argv[1:] or ["100000"]
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    total = mutating.Counts()
    places: Counter[str] = Counter()

    def tell(said: str) -> None:
        place = said.rpartition(": ")[2] if " at " not in said else said.rpartition(" at ")[2]
        places[place] += 1
        if places[place] == 1:
            print(f"  {said}", flush=True)

    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as place:
        for name, count in mutating.shared(int(whole), names or mutating.TARGETS).items():
            begun = time.monotonic()
            found = attacked(name, count, Path(place), tell)
            for part in PARTS:
                setattr(total, part, getattr(total, part) + getattr(found, part))
            print(f"{name}: {found} ({time.monotonic() - begun:.0f} s)", flush=True)
    print(f"in all: {total}")
    for place, n in places.most_common():
        print(f"  {n:6} at {place}")
    sys.exit(bool(total.foreign or total.hangs))


if __name__ == "__main__":
    main()
