"""What the public docstrings owe a reader: the sections of scientific Python (numpydoc), true to the code, and examples
that run.

Gone through are the public names, the classes that public functions return, and their public methods and properties.
"""

import ast
import builtins
import doctest
import inspect
import re
import textwrap
import typing
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from types import ModuleType

import pytest

import emgreview
from emgreview import errors

SECTIONS = (  # numpydoc's, in its order
    "Parameters",
    "Attributes",
    "Returns",
    "Yields",
    "Raises",
    "Warns",
    "See Also",
    "Notes",
    "References",
    "Examples",
)
WIDEST = 92
"""Columns of a line; ``help`` puts four to eight in front."""

SCREENS = {"review", "long_view", "participants", "show_cues", "study_form"}
NO_EXAMPLE = SCREENS | {"bench_findings", "bench_onsets"}
"""Screens are seen in a notebook; a bench takes minutes."""


def returned(function: object) -> Iterator[type]:
    """Classes of the package that a public function returns, by its annotation."""
    written = function.__annotations__.get("return")
    found = getattr(inspect.getmodule(function), written, None) if isinstance(written, str) else written
    for one in (found, *typing.get_args(found)):
        if inspect.isclass(one) and one.__module__.startswith("emgreview"):
            yield one


NAMES = {name: getattr(emgreview, name) for name in emgreview.__all__}
FUNCTIONS = {name: one for name, one in NAMES.items() if inspect.isfunction(one)}
CLASSES = {
    one.__name__: one
    for one in [
        *(one for one in NAMES.values() if inspect.isclass(one) and not issubclass(one, Exception)),
        *(one for function in FUNCTIONS.values() for one in returned(function)),
    ]
}


def members(cls: type) -> Iterator[tuple[str, object]]:
    """Public methods and properties that a class has from the package, its bases' included: name, and what stands in
    the class. Of a screen only its own, for the rest is its wire."""
    for base in cls.__mro__:
        if base is cls or (
            base.__module__.startswith("emgreview") and not cls.__module__.startswith("emgreview.views")
        ):
            for name, one in vars(base).items():
                if not name.startswith("_") and (
                    inspect.isfunction(one) or isinstance(one, property | cached_property | classmethod | staticmethod)
                ):
                    yield f"{base.__name__}.{name}", one


MEMBERS = {name: one for cls in CLASSES.values() for name, one in members(cls)}
METHODS = {
    name: getattr(one, "__func__", one)
    for name, one in MEMBERS.items()
    if not isinstance(one, property | cached_property)
}
CALLABLE = FUNCTIONS | METHODS
EVERY = NAMES | CLASSES | MEMBERS


def text_of(one: object) -> str:
    return inspect.cleandoc(one.__doc__ or "")


def sections(one: object) -> dict[str, str]:
    """The sections of a docstring; "" is what stands before them."""
    found, name = {"": []}, ""
    lines = text_of(one).split("\n")
    for number, line in enumerate(lines):
        if number + 1 < len(lines) and line and re.fullmatch("-{3,}", lines[number + 1]):
            name = line
            found[name] = []
        elif not re.fullmatch("-{3,}", line):
            found[name].append(line)
    return {name: "\n".join(part).strip("\n") for name, part in found.items()}


def heads(part: str) -> list[str]:
    """The names that a section tells of: "low_hz, high_hz : float" are two."""
    lines = [line for line in part.split("\n") if line and not line.startswith(" ")]
    return [name.strip() for line in lines for name in line.split(" : ")[0].split(",")]


def kinds(part: str) -> dict[str, str]:
    """What a section says of each name behind its colon; of "default 1 and 2" each gets its own."""
    found = {}
    for line in part.split("\n"):
        if line and not line.startswith(" "):
            names, _, kind = line.partition(" : ")
            names = [name.strip() for name in names.split(",")]
            head, default, values = kind.partition(", default ")
            each = values.split(" and ") if " and " in values else [values] * len(names)
            found |= {name: head + default + value for name, value in zip(names, each, strict=True)}
    return found


def parameters_of(function: object) -> list[str]:
    stars = {inspect.Parameter.VAR_POSITIONAL: "*", inspect.Parameter.VAR_KEYWORD: "**"}
    given = inspect.signature(function).parameters.values()
    return [stars.get(one.kind, "") + one.name for one in given if one.name not in ("self", "cls")]


def tree_of(function: object) -> ast.FunctionDef:
    return ast.parse(textwrap.dedent(inspect.getsource(inspect.unwrap(function)))).body[0]


NOT_MET = {
    "bench_findings": {"RateError", "SignalError"},  # by way of check
    "check": {
        "RateError",
        "SignalError",
        "UnknownNameError",
    },  # it gives its own stretches and channels to what it asks
    "verdicts": {"RateError", "SignalError"},  # those of check, and it gives its own stretches to the spectrum
    "plan_bulk": {"UnknownNameError"},  # a session's folder and reviewer are there
    "plan_self_check": {"UnknownNameError"},
    "BulkAudit.finish": {"UnknownNameError", "ParameterError"},
    "Merge.mark": {"UnknownNameError"},  # it asks for the response, and for no burst by its name
    "open_review": {"VersionError"},  # of the method of a review that cannot be read: opening says what is amiss
    "withdraw": {"VersionError"},  # of a seal that goes on beside it, which it passes over
}
"""Errors that a function would raise by its text, and never does, with the reason."""
OWED = {
    "read_dataset": {"RateError", "UnitError"},
    "verify": {"LogError", "LogBrokenError"},
}
"""Errors that are still to be told, or to be raised no longer."""


def raised_by(function: object) -> set[str]:
    """Errors of the package that a function's own text raises, or that of a function of the package that it calls by
    its name, and so on, but for those that are caught."""
    return raised_in(tree_of(function).body, inspect.getmodule(inspect.unwrap(function)), {function})


def raised_in(nodes: list[ast.AST], module: ModuleType, seen: set[object]) -> set[str]:
    found = set()
    for node in nodes:
        if isinstance(node, ast.Try):
            types = [one for handler in node.handlers for one in ast.walk(handler.type)]
            caught = {one.id for one in types if isinstance(one, ast.Name)}
            bases = tuple(getattr(errors, name, getattr(builtins, name, ())) for name in caught)
            inside = raised_in(node.body, module, seen)
            found |= {name for name in inside if not issubclass(getattr(errors, name), bases)}
            found |= raised_in([*node.handlers, *node.orelse, *node.finalbody], module, seen)
            continue
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            one = getattr(module, node.func.id, None)
            if inspect.isclass(one) and issubclass(one, errors.EmgreviewError):
                found.add(node.func.id)
            elif inspect.isfunction(one) and one.__module__.startswith("emgreview") and one not in seen:
                found |= raised_in(tree_of(one).body, inspect.getmodule(inspect.unwrap(one)), seen | {one})
        found |= raised_in(list(ast.iter_child_nodes(node)), module, seen)
    return found


# Form --------------------------------------------------------------------------------------------------------------


def test_much_is_gone_through():
    assert len(FUNCTIONS) > 30
    assert {"Session", "Recording", "Trials", "Rule", "Dataset", "BulkAudit"} <= set(CLASSES)
    assert len(METHODS) > 60


@pytest.mark.parametrize("name", EVERY)
def test_docstring_begins_with_a_sentence_and_has_known_sections_in_order(name):
    text, found = text_of(EVERY[name]), list(sections(EVERY[name]))
    assert text, f"{name} has no docstring"
    summary = text.split("\n\n")[0]
    assert summary.endswith((".", ":")), f"{name} does not begin with a sentence"
    assert found[1:] == [one for one in SECTIONS if one in found], f"{name}: sections {found[1:]}"
    assert len(found) == len(set(found))


@pytest.mark.parametrize("name", EVERY)
def test_docstring_fits_a_terminal(name):
    wide = [line for line in text_of(EVERY[name]).split("\n") if len(line) > WIDEST]
    assert not wide, f"{name}: {wide}"


# What is told, is so -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", CALLABLE)
def test_parameters_are_those_of_the_signature(name):
    told = heads(sections(CALLABLE[name]).get("Parameters", ""))
    assert told == parameters_of(CALLABLE[name])


@pytest.mark.parametrize("name", [*CALLABLE, *CLASSES])
def test_defaults_are_those_of_the_signature(name):
    """As "default 2", as the first of {"a", "b"}, or None among the types; longer lists are told in words."""
    told = kinds(sections(EVERY[name]).get("Parameters", ""))
    for one in inspect.signature(getattr(EVERY[name], "__func__", EVERY[name])).parameters.values():
        if one.name not in told:  # attributes have none
            continue
        kind, default = told[one.name], one.default
        if found := re.search(r", default (.+)$", kind):
            said = ast.literal_eval(found[1].replace("NaN", "'NaN'"))
            assert said == ("NaN" if default != default else default), f"{one.name}: {kind}"
        elif found := re.match(r"{([^,]+),", kind):
            assert default in (ast.literal_eval(found[1]), inspect.Parameter.empty), f"{one.name}: {kind}"
        elif default is None:
            assert "None" in kind, f"{one.name}: {kind}"
        else:
            assert not isinstance(default, str | int | float), f"{one.name} has the default {default!r}, told: {kind}"


@pytest.mark.parametrize("name", CALLABLE)
def test_what_comes_back_is_told(name):
    written = inspect.unwrap(CALLABLE[name]).__annotations__["return"]
    told = sections(CALLABLE[name])
    assert ("Returns" in told or "Yields" in told) == (written is not None), written


@pytest.mark.parametrize("name", CLASSES)
def test_fields_of_a_class_are_told(name):
    """Those that a person gives as Parameters, those that a person reads as Attributes."""
    fields = getattr(CLASSES[name], "__dataclass_fields__", {})
    told = sections(CLASSES[name])
    if not fields and "Parameters" in told:  # a class that is made by hand: what it is made of
        fields = [one for one in inspect.signature(CLASSES[name].__init__).parameters if one != "self"]
    assert [one for one in fields if not one.startswith("_")] == heads(
        told.get("Parameters", told.get("Attributes", "") if fields else "")
    )


@pytest.mark.parametrize("name", EVERY)
def test_errors_told_exist(name):
    told = sections(EVERY[name])
    for error in heads(told.get("Raises", "")):
        assert issubclass(getattr(errors, error), errors.EmgreviewError), error
    for warning in heads(told.get("Warns", "")):
        assert issubclass(getattr(errors, warning), UserWarning), warning


@pytest.mark.parametrize("name", CALLABLE)
def test_errors_raised_are_told(name):
    """Itself, or the class above it."""
    told = [getattr(errors, error) for error in heads(sections(CALLABLE[name]).get("Raises", ""))]
    for error in raised_by(CALLABLE[name]) - NOT_MET.get(name, set()) - OWED.get(name, set()):
        assert issubclass(getattr(errors, error), tuple(told)), f"{name} raises {error} and tells {told}"


@pytest.mark.parametrize("name", NOT_MET)
def test_what_is_said_not_to_be_met_is_in_the_text(name):
    assert NOT_MET[name] <= raised_by(CALLABLE[name]), "strike out what is no longer raised"


def test_modules_that_docstrings_name_exist():
    folder = Path(emgreview.__file__).parents[1]
    for name, one in EVERY.items():
        for path in re.findall(r"``(emgreview/[\w/]+)``", text_of(one)):
            assert (folder / path).exists(), f"{name}: {path}"


# Examples ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name in NAMES if name in FUNCTIONS and name not in NO_EXAMPLE])
def test_every_public_function_has_an_example(name):
    assert ">>> import emgreview as er\n" in sections(NAMES[name]).get("Examples", "")


@pytest.mark.parametrize("name", [name for name, one in EVERY.items() if ">>> " in text_of(one)])
def test_example_runs(name, tmp_path, monkeypatch):
    """As a person would run it: in an empty folder, with nothing but what it imports itself."""
    monkeypatch.chdir(tmp_path)
    parser, said = doctest.DocTestParser(), []
    test = parser.get_doctest(text_of(EVERY[name]), {}, name, None, None)
    options = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS
    outcome = doctest.DocTestRunner(optionflags=options).run(test, out=said.append)
    assert outcome.attempted > 0
    assert outcome.failed == 0, "".join(said)
    assert not list(tmp_path.iterdir()), "an example leaves files behind"
