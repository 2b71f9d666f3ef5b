"""The long campaign of mutated files: run by hand before a release, on a quiet machine.

    python tests/benchmarks/attack_files.py [inputs, 100000] [target ...]

Prints inputs, own errors, foreign tracebacks and hangs, and the first traceback or hang of each place, with the number
that makes it again: ``attack("edf", 1, folder, first=1234)``. What is attacked is a line in TARGETS of
``tests/mutating.py``.
"""

import resource
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "reading")]

import mutating  # noqa: E402

MEMORY = 4 << 30


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
            found = mutating.attack(name, count, Path(place), tell=tell)
            for part in ("inputs", "fine", "own", "foreign", "hangs"):
                setattr(total, part, getattr(total, part) + getattr(found, part))
            print(f"{name}: {found} ({time.monotonic() - begun:.0f} s)", flush=True)
    print(f"in all: {total}")
    for place, n in places.most_common():
        print(f"  {n:6} at {place}")
    sys.exit(bool(total.foreign or total.hangs))


if __name__ == "__main__":
    main()
