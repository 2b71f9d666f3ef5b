"""The browser half as one file: emgreview/views/bundle.js, made of the modules in emgreview/views/js by Deno's bundler.

    python tests/js/bundle.py             make it anew
    python tests/js/bundle.py --check     fail where it is stale: where modules or bundle have changed since it was made
    python tests/js/bundle.py --rebuild   fail where a new one would differ; says so and gives 3 where none can be made

Its first lines hold two digests, of the modules and of what follows, so that ``--check`` needs neither network nor
bundler. Deno comes with the test dependencies; its bundler is one program that Deno fetches from npm, once.
"""

import hashlib
import subprocess
import sys
import tempfile
from pathlib import Path

from deno import find_deno_bin

VIEWS = Path(__file__).parents[2] / "emgreview" / "views"
SOURCES, BUNDLE = VIEWS / "js", VIEWS / "bundle.js"
COMMAND = "python tests/js/bundle.py"
HEAD = "// Generated from the modules in js/, which say what it does and why: edit those, then run {}.\n"
NO_BUNDLER = 3


def digest_of_sources() -> str:
    """Of every module's name and text."""
    found = hashlib.sha256()
    modules = sorted(SOURCES.rglob("*.js"))
    assert modules, f"{SOURCES} holds no module"
    for path in modules:
        text = path.read_text("utf-8").encode()  # line endings of the checkout do not count
        found.update(f"{path.relative_to(SOURCES).as_posix()} {len(text)}\n".encode() + text)
    return found.hexdigest()


def head_for(body: str) -> str:
    """The first lines of a bundle."""
    own = hashlib.sha256(body.encode()).hexdigest()
    return HEAD.format(COMMAND) + f"// modules {digest_of_sources()}\n// bundle {own}\n"


def build() -> str:
    """The bundle as Deno makes it. OSError where it makes none, with what it says."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "bundle.js"
        arguments = ["bundle", "--no-lock", "--config", "deno.json", "--platform", "browser", "-o", str(out), "main.js"]
        done = subprocess.run([find_deno_bin(), *arguments], cwd=SOURCES, capture_output=True, text=True)
        if done.returncode or not out.exists():
            raise OSError(f"Deno makes no bundle; it says:\n{done.stderr.strip()}")
        body = out.read_text("utf-8")
    return head_for(body) + body


def is_stale() -> bool:
    """Whether modules or bundle were changed since it was made."""
    if not BUNDLE.exists():
        return True
    text = BUNDLE.read_text("utf-8")
    head, body = text.split("\n", 3)[:3], text.split("\n", 3)[-1]
    return "\n".join(head) + "\n" != head_for(body)


def main(arguments: list[str]) -> int:
    if arguments == ["--check"]:
        if is_stale():
            print(f"{BUNDLE.name} is stale: run {COMMAND}")
        return int(is_stale())
    try:
        made = build()
    except OSError as reason:
        print(reason)
        return NO_BUNDLER
    if arguments == ["--rebuild"]:
        same = BUNDLE.exists() and BUNDLE.read_text("utf-8") == made
        print("a new bundle is the same" if same else f"a new {BUNDLE.name} differs: run {COMMAND}")
        return int(not same)
    BUNDLE.write_text(made, "utf-8", newline="\n")
    print(f"{BUNDLE}: {len(made)} letters")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
