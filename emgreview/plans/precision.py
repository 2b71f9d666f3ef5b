"""How many trials and people does a wanted precision of an onset difference take?

The standard error of a mean difference, from textbooks (from memory): of n people with k trials in each of two
conditions, each person measured in both,

    SE² = s_people² / n + 2 · s_trials² / (n · k)

and of two groups of n people with k trials each, SE² = 2 · (s_people² + s_trials² / k) / n. The interval of the mean
difference reaches t · SE to each side, t of Student's distribution with n - 1 or 2n - 2 degrees of freedom.

    trials_needed    a table of people and trials
    TrialsNeeded     what it returns
    benchmark_sd     spread of the error of onsets, as the package's own benchmark measured it
"""

import functools
import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from scipy import stats

from emgreview import checks
from emgreview.plain_files import read_text
from emgreview.showing import Sheet, Shown, number, percent

DESIGNS = ("within", "between")
KINDS = ("splices", "units", "modulated")
PEOPLE = (6, 8, 10, 12, 16, 20, 24, 32, 48, 64)
MOST_TRIALS = 100_000
"""More trials in a condition than that are not to be had."""


@dataclass(frozen=True, slots=True, repr=False)
class TrialsNeeded(Shown):
    """How many trials each number of people takes; shown as a table.

    Attributes
    ----------
    precision_ms : float
        Half of the interval of the mean difference, as wanted.
    rows : tuple of (int, int or None, float)
        People (a group, between groups); trials per person and condition to record, None where
        no number of trials is enough; and half of the interval with them, in ms (with endless
        trials where there are none).
    sd_trials_ms, sd_people_ms : float
        The spreads that were used.
    error_ms : float
        Spread of the error of automatic onsets in the benchmark.
    design : {"within", "between"}
        Everyone in both conditions, or two groups.
    confidence, lost : float
        Of the interval, and share of trials that are lost, 0 to 1.
    assumptions : tuple of str
        What the numbers rest on.
    """

    precision_ms: float
    rows: tuple[tuple[int, int | None, float], ...]
    sd_trials_ms: float
    sd_people_ms: float
    error_ms: float
    design: str
    confidence: float
    lost: float
    assumptions: tuple[str, ...]

    @property
    def least_people(self) -> int | None:
        """The smallest number of people asked about with which the precision is reached.

        Returns
        -------
        int or None
            None where it is reached with none of them.
        """
        return next((people for people, trials, _ in self.rows if trials is not None), None)

    def to_dict(self) -> dict[str, object]:
        """All of it as plain values, for JSON.

        Returns
        -------
        dict
            The attributes, ``rows`` as mappings and ``assumptions`` as ``notes``.
        """
        rows = [{"people": people, "trials": trials, "half_width_ms": half} for people, trials, half in self.rows]
        plain = ("precision_ms", "sd_trials_ms", "sd_people_ms", "error_ms", "design", "confidence", "lost")
        return {name: getattr(self, name) for name in plain} | {"rows": rows, "notes": [*self.assumptions]}

    def _parts(self) -> Iterator[Sheet | str]:
        yield Sheet(
            f"Mean onset difference to within ± {self.precision_ms:g} ms ({percent(self.confidence)} % interval)",
            ("people a group" if self.design == "between" else "people", "trials per condition", "± ms"),
            [
                (str(people), "no number is enough" if trials is None else str(trials), number(half))
                for people, trials, half in self.rows
            ],
        )
        yield from self.assumptions


def trials_needed(
    precision_ms: float,
    *,
    sd_trials_ms: float,
    sd_people_ms: float,
    design: str = "within",
    measured: bool = True,
    kind: str = "splices",
    level_db: int = 15,
    rise_ms: int = 80,
    lost: float = 0.0,
    confidence: float = 0.95,
    people: Iterable[int] = PEOPLE,
) -> TrialsNeeded:
    """Trials and people for a wanted precision of the mean difference of two onsets.

    Parameters
    ----------
    precision_ms : float
        Half of the interval of the mean difference that you want, in ms.
    sd_trials_ms : float
        Standard deviation of onsets between trials of one person and condition, from a pilot.
    sd_people_ms : float
        Between people, from a pilot: of the difference of the two conditions ("within"), or of
        the mean onset ("between").
    design : {"within", "between"}, default "within"
        Every person in both conditions, or two groups of people.
    measured : bool, default True
        The pilot's onsets were found by the method, so that their spread holds its error; False
        for a spread of true onsets, to which the error is added.
    kind : {"splices", "units", "modulated"}, default "splices"
        Trials of the benchmark whose error is taken: real bursts on real rest, simulated motor
        units, or modulated noise.
    level_db, rise_ms : int, default 15 and 80
        Level and rise of their bursts.
    lost : float, default 0.0
        Share of trials that will not be usable, 0 up to 0.9.
    confidence : float, default 0.95
        Of the interval, 0.5 to 0.999.
    people : iterable of int
        Numbers of people to be told of, a group where the design is "between".

    Returns
    -------
    TrialsNeeded
        One row a number of people, with the assumptions.

    Raises
    ------
    ParameterError
        A number is not what it must be, or the benchmark has no such trials.

    Notes
    -----
    The standard error of a mean difference, from textbooks, from memory [1]_: of n people with
    k trials in each condition, SE² = s_people² / n + 2 s_trials² / (n k); of two groups of n,
    SE² = 2 (s_people² + s_trials² / k) / n. Half of the interval is t SE, t of Student's
    distribution. It is no power analysis and no advice on a study: ask a statistician.

    References
    ----------
    .. [1] Altman 1991, Practical Statistics for Medical Research (from memory).
    .. [2] The package's benchmark of onsets, ``pages/onset-accuracy.md``.

    Examples
    --------
    >>> import emgreview as er
    >>> needed = er.trials_needed(5, sd_trials_ms=30, sd_people_ms=8, people=(8, 16, 32))
    >>> needed.rows[1][:2]
    (16, 75)
    >>> needed.least_people
    16
    """
    wanted = checks.number("precision_ms", precision_ms, above=0)
    within = checks.number("sd_trials_ms", sd_trials_ms, least=0)
    between = checks.number("sd_people_ms", sd_people_ms, least=0)
    checks.demand(design in DESIGNS, "design", design, " or ".join(map(repr, DESIGNS)))
    checks.truth("measured", measured)
    lost = checks.number("lost", lost, least=0, most=0.9)
    confidence = checks.number("confidence", confidence, least=0.5, most=0.999)
    checks.kind("people", people, Iterable, "numbers of people")
    counts = [checks.whole("people", one, least=2, most=100_000) for one in people]
    checks.demand(counts, "people", people, "at least one number of people")
    error = benchmark_sd(kind, level_db, rise_ms)
    spread = within if measured else math.hypot(within, error)
    rows = tuple(_row(wanted, spread, between, design, confidence, lost, count) for count in sorted(set(counts)))
    return TrialsNeeded(
        wanted,
        rows,
        within,
        between,
        error,
        design,
        confidence,
        lost,
        tuple(_assumptions(within, error, design, measured, (kind, level_db, rise_ms), lost)),
    )


def half_width(spread: float, between: float, design: str, confidence: float, people: int, trials: float) -> float:
    """Half of the interval of the mean difference, in the unit of the spreads."""
    if design == "within":
        variance, freedom = between**2 / people + 2 * spread**2 / (people * trials), people - 1
    else:
        variance, freedom = 2 * (between**2 + spread**2 / trials) / people, 2 * people - 2
    return float(stats.t.ppf((1 + confidence) / 2, freedom) * math.sqrt(variance))


def _row(
    wanted: float, spread: float, between: float, design: str, confidence: float, lost: float, people: int
) -> tuple[int, int | None, float]:
    half = functools.partial(half_width, spread, between, design, confidence, people)
    if half(math.inf) >= wanted and half(1) > wanted:
        return people, None, half(math.inf)
    unit = half_width(0, 1, design, confidence, people, 1)  # of one unit of spread between people
    room = (wanted / unit) ** 2 - between**2
    usable = max(1, math.ceil((2 if design == "within" else 1) * spread**2 / room * (1 - 1e-12))) if room > 0 else 1
    asked = math.ceil(usable / (1 - lost) * (1 - 1e-12))
    return (people, asked, half(usable)) if asked <= MOST_TRIALS else (people, None, half(math.inf))


def _assumptions(
    within: float, error: float, design: str, measured: bool, cell: tuple[str, int, int], lost: float
) -> Iterator[str]:
    yield (
        "Standard error of a mean difference, and Student's t (textbooks, from memory); people and trials are "
        "independent, spreads are those of the pilot and alike in both conditions, and no trial drifts with time."
    )
    if design == "within":
        yield "Every person does both conditions; the spread between people is that of their true differences."
    else:
        yield "Two groups of as many people each; the spread between people is that of their true mean onsets."
    kind, level, rise = cell
    said = f"Onsets of the default method spread by {error:g} ms about the truth ({kind}, {level} dB, rise {rise} ms; "
    said += "the package's own benchmark)"
    if measured:
        yield f"{said}; the pilot's spread between trials is taken to hold that error already."
        if within < error:
            yield (
                f"The pilot's spread between trials ({within:g} ms) is less than that error: look whether the pilot's "
                "bursts are stronger or faster than those, or its trials too few."
            )
    else:
        yield f"{said}, and that is added to the spread between trials."
    yield (
        "A bias that is alike in both conditions cancels. Where one is weaker or slower it does not, and no number of "
        "trials removes it: compare the levels of both first."
    )
    if lost:
        yield f"{percent(lost)} % of trials are taken to be lost; so many more are recorded."
    yield (
        "A spread from a pilot of few people is itself uncertain: 10 people give it to within -31 and +83 % "
        "(95 %, chi-squared). This is no power analysis; ask a statistician before the study."
    )


@functools.cache
def _cells() -> dict[tuple[str, int, int], float]:
    """SD of the error of the default method in ms, by kind, level and rise, as the page of the benchmark has it."""
    page = read_text(Path(__file__).parents[1] / "pages" / "onset-accuracy.md")
    cells = {}
    for kind in KINDS:
        _, _, part = page.partition(f"## {kind.capitalize()}: the default method in full\n")
        for line in re.split(r"\n## ", part, maxsplit=1)[0].splitlines():
            parts = [one.strip() for one in line.strip("|").split("|")]
            if len(parts) > 3 and parts[0].isdigit():
                cells[kind, int(parts[0]), int(parts[1])] = float(parts[3])
    return cells


def benchmark_sd(kind: str, level_db: int, rise_ms: int) -> float:
    """Standard deviation of the onset's error in ms on trials of the benchmark. Raises ParameterError where it has no
    such trials."""
    checks.demand(kind in KINDS, "kind", kind, ", ".join(KINDS))
    levels = sorted({level for name, level, _ in _cells() if name == kind})
    rises = sorted({rise for name, _, rise in _cells() if name == kind})
    checks.demand(level_db in levels, "level_db", level_db, ", ".join(map(str, levels)))
    checks.demand(rise_ms in rises, "rise_ms", rise_ms, ", ".join(map(str, rises)))
    return _cells()[kind, level_db, rise_ms]
