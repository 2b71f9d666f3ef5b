"""The house: who may import whom, what importing the package costs, what every public name owes.

The floors are those of DEVELOPERS.md; this test reads them from the syntax tree.
"""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import emgreview

PACKAGE = Path(emgreview.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))

FLOORS = [  # from the ground up; a part may import from the floors below it, and from itself
    {"legible"},
    {"errors"},
    {"cells", "checks", "plain_files", "showing"},
    {"intervals", "model"},
    {"muscles", "rhythm", "signal"},
    {"checking", "conditioning", "running", "unnamed"},
    {"plans"},
    {"annotations", "evidence", "fitness", "keys", "reading", "simulation", "trials"},
    {"converting", "detecting", "remarks", "scroll", "tables"},
    {"bench", "cohort", "contractions", "demo", "many", "measuring"},
    {"people", "recutting"},
    {"session"},
    {"second_look"},
    {"replaying", "trial_lists"},
    {"views"},
    {"cli"},
]
NEVER = {("annotations", "signal"), ("reading", "signal")}
OUTSIDE = {  # third-party packages that only some parts may import
    "pandas": {"cohort", "contractions", "many", "measuring", "muscles", "people", "tables", "reading"},
    "panel": {"views"},
    "bokeh": {"views"},
    "param": {"views"},
    "ipywidgets": {"views"},
}
SIGNAL_MAY = {"numpy", "scipy"}


def part_of(module: str) -> str:
    return module.split(".")[1] if "." in module else "__init__"


def imports_of(path: Path) -> set[str]:
    """Absolute names of everything a file imports, wherever in the file the import stands. Of ``import emgreview``
    these are the homes of the public names that are used of it."""
    names, whole = set(), set()
    tree = ast.parse(path.read_text())
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
            whole |= {alias.asname or alias.name for alias in node.names if alias.name == "emgreview"}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports relatively; write the whole name"
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in whole:
            names.add(f"{emgreview._HOME_OF.get(node.attr, 'emgreview')}.{node.attr}")
    return names


def floor_of(part: str) -> int:
    found = [height for height, floor in enumerate(FLOORS) if part in floor]
    assert found, f"part {part!r} stands on no floor: add it to FLOORS here and to DEVELOPERS.md"
    return found[0]


def test_there_are_modules():
    assert len(MODULES) > 10


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_run_downward_only(path):
    relative = path.relative_to(PACKAGE)
    part = relative.parts[0].removesuffix(".py")
    if part in ("__init__", "__main__"):
        return
    for name in imports_of(path):
        if name.startswith("emgreview."):
            other = part_of(name)
            if other == "__version__":
                continue
            below = floor_of(other) < floor_of(part)
            assert other == part or below, f"{relative} imports {name}, which does not lie below it"
            assert (part, other) not in NEVER, f"{part} must never import {other}"
        package = name.split(".")[0]
        if package in OUTSIDE:
            assert part in OUTSIDE[package], f"{relative} imports {package}, which only {OUTSIDE[package]} may"
        if part == "signal" and package not in sys.stdlib_module_names | {"emgreview"}:
            assert package in SIGNAL_MAY, f"{relative} imports {package}; signal knows numpy and scipy alone"


OWN_FILES = {  # what these read is the package's own, or was written by the same call
    "plain_files.py",
    "annotations/conforming.py",
    "views/host.py",
    "views/long_view.py",
    "views/people.py",
    "views/trial_review.py",
    "demo/lab.py",
    "bench/planted.py",
    "bench/recipes.py",
}
BARE = {"read_text", "read_bytes", "fromfile", "loadtxt", "genfromtxt", "read_csv"}


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_files_are_read_through_the_one_door(path):
    """What a stranger may have written is a plain file of bounded size and depth before anything is done with it."""
    if str(path.relative_to(PACKAGE)) in OWN_FILES:
        return
    for node in ast.walk(ast.parse(path.read_text())):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
            continue
        name, of = node.func.attr, getattr(node.func.value, "id", "")
        modes = [one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)]
        reads = (
            name == "open" and of not in ("os", "er") and modes and not any(set(mode) & set("wxa") for mode in modes)
        )
        opened = bool(node.args) and getattr(node.args[0], "id", "") == "stream"  # by one of those doors
        bare = (name in BARE and of not in ("np", "plain_files") and not opened) or (of, name) == ("tomllib", "loads")
        bare = bare or reads
        assert not bare, f"line {node.lineno} reads a file; use emgreview.plain_files"


LOOKED_THROUGH = {"annotations", "cohort", "reading", "second_look", "session", "tables"}
OWN_PLACES = {"annotations/files.py", "annotations/log.py"}  # what comes of an OSError is said there


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_folders_are_looked_through_by_the_one_door(path):
    """A folder that may not be looked at is an error; pathlib says that nothing is there, or raises one of its own."""
    relative = path.relative_to(PACKAGE)
    if relative.parts[0] not in LOOKED_THROUGH or relative.as_posix() in OWN_PLACES:
        return
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            of = getattr(node.func.value, "id", "")
            bare = node.func.attr in {"exists", "is_dir", "is_file", "glob", "rglob", "iterdir", "resolve"}
            assert not bare or of == "links", f"line {node.lineno} looks at a folder; use emgreview.plain_files"


def test_what_is_used_of_the_package_as_a_whole_counts_as_imported(tmp_path):
    path = tmp_path / "module.py"
    path.write_text("import emgreview as er\n\ndef f():\n    return er.open_review, er.__version__\n")
    assert imports_of(path) == {"emgreview", "emgreview.session.open_review", "emgreview.__version__"}


def test_tests_do_not_import_each_other():
    for path in Path(__file__).parent.rglob("*.py"):
        modules = {name.split(".")[0] for name in imports_of(path)}
        shared = [name for name in modules if name.startswith("test_")]
        assert not shared, f"{path.name} imports {shared}; what tests share is a module of its own"


def test_importing_the_package_loads_no_user_interface_toolkit():
    code = "import sys, emgreview; print(*[m for m in ('panel', 'bokeh', 'ipywidgets', 'IPython') if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert out.strip() == ""


def test_a_review_session_needs_no_user_interface_toolkit():
    code = "import sys, emgreview as er; er.open_review, er.simulate, er.read; print('panel' in sys.modules)"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert out.strip() == "False"


@pytest.mark.parametrize("name", emgreview.__all__)
def test_every_public_name_loads_and_says_what_it_is(name):
    assert getattr(emgreview, name).__doc__


def test_public_names_for_type_checkers_are_those_at_run_time():
    tree = ast.parse((PACKAGE / "__init__.py").read_text())
    guarded = next(node for node in tree.body if isinstance(node, ast.If))
    stated = {f"{node.module}.{alias.name}" for node in guarded.body for alias in node.names}
    assert stated == {f"{home}.{name}" for home, names in emgreview._HOMES.items() for name in names}


def test_a_misspelt_public_name_is_answered_with_the_list():
    with pytest.raises(AttributeError, match=r"no public name 'cut_trails'; there are: .*cut_trials"):
        _ = emgreview.cut_trails


def test_javascript_stands_in_files_not_in_strings():
    for path in (PACKAGE / "views").rglob("*.py"):
        assert "addEventListener" not in path.read_text(), f"{path.name} holds JavaScript"
