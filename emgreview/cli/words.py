"""Messages of the package in the words of a shell: what is an argument in Python is an option there.

The package speaks of ``before_s`` and ``columns=[…]``, which is right in a notebook; who typed a command knows
``--before`` and ``--columns A,B``. What stands in quotes, a file's or a channel's name, is left as it is.

    in_shell_words(message)     one line
    in_shell_lines(text)        several
    answer(value)               a value for JSON
"""

import re
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

OPTIONS: Mapping[str, str] = MappingProxyType({
    "after_s": "--after", "before_s": "--before", "break_after_min": "--break-after", "columns": "--columns",
    "cue_s": "--cue", "expect": "--expect", "hold_off_s": "--hold-off", "level": "--level", "edge": "--edge",
    "method": "--method", "normalise": "--normalise", "order": "--order", "plausible_s": "--plausible",
    "rate_hz": "--rate", "reviewer": "--reviewer", "rule": "--rule", "scale_corrected": "--scale-corrected",
    "unit": "--unit", "mask": "--mask", "within_ms": "--within", "reference": "--reference", "response": "--response",
    "log_restored": "--log-restored", "people": "--people", "shift_days": "--shift-days", "keep": "--keep",
    "not_cues": "--not-cue", "heard_by": "--heard-by", "lasting_s": "--lasting", "window_s": "--window",
    "within_s": "--near",
})  # fmt: skip
"""What an argument of a public function is called on the command line."""


def _band_below(half_hz: float) -> str:
    """A band that a rate allows, nine tenths of its half (our own choice, no source), in brackets."""
    upper_hz = int(0.9 * half_hz)
    return f" (--band 20 {upper_hz}, for example)" if upper_hz > 20 else ""


def _typed(value: str) -> str:
    """A value of Python as a shell takes it: text without its quotation marks, a list as JSON in such."""
    return "'" + value.replace("'", '"') + "'" if value.startswith("[") else value.strip("'") or "''"


_PHRASES: tuple[tuple[str, str | Callable[[re.Match[str]], str]], ...] = (
    # Whole sentences first: what to do is something else in a shell.
    (r"\ber\.selectivity\b", "emgreview contractions"),
    (r"\bplan\.missing lists them", "--sheet lists them"),
    (r"\bchoose with muscles=\[…\]", "choose with --muscles A,B"),
    (
        r"\bTo move the markers: rec = delay\.apply\(rec\)\.",
        "To move the markers, in Python: er.measure_delay(...).apply(rec).",
    ),
    (r"themselves, er\.with_cues, and not a median", "themselves, --pulses of the other commands, and not a median"),
    (
        r"look at the channel with er\.show_cues, and choose level, edge or within_s anew",
        "look at the channel with er.show_cues in a notebook, and choose --level, --edge or --near anew",
    ),
    (r"er\.muscle\(name\) shows one", "emgreview muscles NAME shows one"),
    (r"such as said=\{'([^']*)': '([^']*)'\}, or None for", r"such as --say '\1=\2', or none for"),
    (r"(?<![-\w])people does not say", "--people does not say"),
    (
        r"\bgive people=\{.*\}\.",
        "give --people TABLE.tsv with the columns recording, sub, task and, where needed, run.",
    ),
    (r"\bgive said=\{'(\w+)': [^}]*\}", r"give --say \1=…"),
    (r"is said by said=\{'TaskName': '(\w+)'\}", r"is said by --say TaskName=\1"),
    (r"(?<![-\w])said does not give", "--say does not give"),
    (r"\b(correct it|add it) (in|to) said\b", r"\1 \2 --say"),
    (r"\bgive labels=\{old: new\}, or keep=\[that label\]", "give --label OLD=NEW, or --keep LABEL"),
    (r", or keep=\['?([^'\]]*)'?\]", r", or --keep \1"),
    (r"\b(in|give another in|say in) people\b", r"\1 --people"),
    (r"(?<![-\w])people (names|gives) (?=')", r"--people \1"),
    (
        r": trial_ids has the new one of each old one\.",
        ": --key FILE.json or --json has the new one of each old one.",
    ),
    (r": shift_days has the number of days,", ": --key FILE.json or --json has the number of days,"),
    (r"what read_dataset\(folder\) or read\(path\) returns", "a recording or a folder of them"),
    (r"; trials are cut with processing=Processing\(high_hz=…\)", ""),
    (
        r"half of it, (\S+) Hz; give a lower high_hz, or high_hz=None to leave the upper side open",
        lambda found: (
            f"half of it, {found[1]} Hz; give a lower one{_band_below(float(found[1]))}, or none to leave the "
            "upper side open (--band 20 none)"
        ),
    ),
    (
        r"confirm it with confirm_alignment\b",
        "confirm it: emgreview study DESCRIPTION --confirm RECORDING --reason WHY",
    ),
    (r"say rows=\[…\] yourself", "say --rows yourself"),
    (r"missing = \[\"([^\"]*)\".*?\] below \[trials\]", r"--trials-missing \1"),
    (
        r"\b(header|names|decimal|missing|separator|comment|encoding|time_unit)=('[^']*'|\[[^\]]*\]|\d+)",
        lambda found: f"--layout {found[1]} {_typed(found[2])}",
    ),
    (r"; er\.look\(path\) says what the file holds", "; emgreview look FILE says what it holds"),
    (r"\ber\.look\(path\) proposes", "emgreview look FILE proposes"),
    (r"look at the file: er\.look\(path\)", "look at it: emgreview look FILE"),
    (r"\ba high_hz of", "an upper edge of the band of"),
    (r"\ba low_hz of", "a lower edge of the band of"),
    (r"\blow_hz and high_hz came as (\S+) and (\S+);", r"--band came as \1 \2;"),
    (
        r"search_s \(0\.0, None\) around \S+ s is (\S+) s long; allowed: windows inside the signal, at least (\S+) s "
        r"are needed; give a longer window",
        r"--after came as \1; allowed: \2 or more, in which an onset is searched; give a longer one",
    ),
    (
        r"(?<![-\w])reference came as .* and normalise as 'none', which divides by nothing; allowed with a reference:",
        "--reference came, and no --normalise that divides by it; allowed with it:",
    ),
    (r"give one of them as normalise, or leave the reference out", "give one to --normalise, or leave --reference out"),
    (r"\bhigh_hz came as (\S+);", r"the upper edge of --band came as \1;"),
    (r"\blow_hz came as (\S+);", r"the lower edge of --band came as \1;"),
    (r"\blow_hz \(", "the lower edge ("),
    (
        r"cut longer trials, or give processing=Processing\(rest_s=\(start, stop\)\) with a window inside",
        "the rest is the last 0.5 s before the cue: give a --before of 0.5 or more",
    ),
    (r"; use read\(\) for one file; read_dataset\(\) takes a folder of recordings", "; give a folder of recordings"),
    (r"; read_dataset\(\) takes a folder of recordings", ""),
    (r", or use read\(\) for single files of other kinds", ", or a single file"),
    (r" is a folder; read\(\) takes one file; use read_dataset\(\) for a folder of recordings", " is a folder"),
    (r", read it yourself and use Recording\.from_array,", ","),
    (r": rec\.with_markers\(\[one for one in rec\.markers if [^\]]*\]\)", " where the markers are stored"),
    (r"remove one with rec\.with_markers\(\.\.\.\)", "remove one where the markers are stored"),
    (r"with rec\.with_markers\(\.\.\.\)", "where the markers are stored"),
    (
        r" \(channel_range\(\) gives lowest and highest\), or codes=True for a channel of digital codes",
        ", or --codes CHANNEL in the place of --pulses for a channel of digital codes",
    ),
    (r"search it with level= instead, or", "search it with --pulses and --level instead, or"),
    (r"\bunder mask (?=0x)", "under --mask "),
    (r"\bunder the mask (?=0x)", "under --mask "),
    (r"try another mask\b", "try another --mask"),
    (r"try a mask with fewer bits", "try a --mask with fewer bits"),
    (r"say whose with reviewer=\.\.\.", "say whose with --reviewer CODE"),
    (r"name it: method=\.\.\.", "name it: --method NAME"),
    (r"; give that function as detect=, or another method=\.", "; give another --method."),
    (r"er\.adjudicate opens a session about them", "a session in a notebook settles them"),
    (r"[,;](?: or)? give a shorter creep_s", ""),
    (
        r"\bnot_cues=\[([^\]]*)\]",
        lambda found: " ".join(f'--not-cue "{label}"' for label in re.findall(r"'([^']*)'", found[1])),
    ),
    (r"\bcreep_s is (\S+) s\b", r"\1 s are measured"),
    (r"; make it with er\.include\(table, rule\),", "; seal the version with a --rule,"),
    (r"open it with blind=False", "open it without --blind"),
    (r"it was to be opened with blind=False:", "--blind did not come:"),
    (r"go on with blind=True", "go on with --blind"),
    (r"blind=True and unblind='([^']*)' both", r"--blind and --unblind '\1' both"),
    (r"say why with unblind='all are decided'", 'say why with --unblind "all are decided"'),
    (r"(?<![-\w])unblind came\b", "--unblind came"),
    (r"go on from it by log_restored='why'", 'go on from it by --log-restored "WHY"'),
    (r"(?<![-\w])log_restored came\b", "--log-restored came"),
    (r"go on without it by log_restored='why' on opening", 'go on without it by --log-restored "WHY" on opening'),
    (r"\ber\.withdraw says so", "emgreview withdraw says so"),
    (r"\ber\.withdraw\(folder, '([^']*)', …\) does", r"emgreview withdraw FOLDER \1 does"),
    (
        r"\ber\.withdraw\(folder, recordings=\['([^']*)'.*?\], …\) does",
        r"emgreview withdraw FOLDER --recording '\1' does",
    ),
    (r"say it again with versions=\['([^']*)'[^\]]*\]", r"say it again with --version \1 (and each other)"),
    (r"give the participant's code, or recordings=\[…\]", "give the participant's code, or --recording NAME"),
    (r", or open this one with read_only=True", ""),
    (r"check the cue given to cut_trials", "check --cue"),
    (r"channels\.tsv, unit=(, channels=)?\)", "channels.tsv, --unit)"),
    (r"it is a list of the labels to keep, each once", "it holds the labels to keep, each once: --columns FCR,BB"),
    (r"open the review with scale_corrected='why'", 'open the review with --scale-corrected "WHY"'),
    (r"say so with scale_corrected=\S+", 'say so with --scale-corrected "WHY"'),
    (
        r"a list with one label for each column in order, None for a column to leave out, 'time' for seconds, such as "
        r"columns=\['time', 'biceps', None\]",
        "one label for each column in order, - for a column to leave out, time for seconds: --columns time,biceps,-",
    ),
    (r"\bcolumns= names", "--columns names"),
    (r"leave it out: None for it in columns=\.", "leave it out: - for it in --columns."),
    (r"correct the order of columns=\.", "correct the order of --columns."),
    (r"None in columns= leaves one out", "- in --columns leaves one out"),
    (r"correct the line or columns=\.", "correct the line or --columns."),
    (r"(?<![-\w])columns is missing", "--columns is missing"),
    (
        r"(?<![-\w])columns came as \[([^\]]*)\]",
        lambda found: "--columns came as " + re.sub(r"['\" ]", "", found[1]).replace("None", "-"),
    ),
    (r"(?<![-\w])columns came as", "--columns came as"),
    (r"name in columns only", "name in --columns only"),
    (r"with rate_hz, unit and columns given", "with --rate, --unit and --columns"),
    (r"unless rate_hz, unit and columns are given", "unless --rate, --unit and --columns are given"),
    (r", or unit=\{'([^']+)': '([^']+)'\}", r", or --unit \1=\2"),
    (r"unit=\{'([^']+)': '([^']+)'\}", r"--unit \1=\2"),
    (r"a mapping of labels to units", "units by label (--unit FCR=mV,TRIGGER=V)"),
    (r"\(named in unit=\)", "(named in --unit)"),
    (r"\bunit= says", "--unit says"),
    (r"unit='(\w+)'", r"--unit \1"),
    (r"rate_hz=(\d+)", r"--rate \1"),
    (r"\brate_hz (came|states|says|is|as)\b", r"--rate \1"),
    (r"\bcorrect rate_hz", "correct --rate"),
    (r"steps of 1/rate_hz", "steps of one over --rate"),
    (r"\bgive rate_hz\b", "give --rate"),
    (r"\bleave unit out", "leave --unit out"),
    (r"columns=\[([^\]]*)\]", lambda found: "--columns " + re.sub(r"[' ]", "", found[1]).replace("None", "-")),
    (r"one reviewer's own spread is what self_check measures", "a reviewer's own spread is measured in a notebook"),
    (r"parameters came without the method that they belong to \(([^)]*)\)", r"--set \1 came without its --method"),
    (r"allowed: minutes above 0, None for never", "allowed: minutes above 0, or 0 for never"),
    (r"allowed: None, or above", "allowed: none, or above"),
    (r"\[Errno \d+\] ", ""),
    (r"\bplausible_s came as [(\[]([^, ]+), ([^, ]+)[)\]];", r"--plausible came as \1 \2;"),
    (r"allowed: \(start, stop\) in seconds from the cue", "allowed: START and STOP in seconds from the cue"),
    (r"(?<![-\w])reference came as", "--reference came as"),
    (r"^((?:[^ :]+: )*)recordings came as (?=-?\d)", r"\1--trials came as "),
    (r"^((?:[^ :]+: )*)(expect|trials|participants|seed|level|edge) came as", r"\1--\2 came as"),
    (r"(\(one label for each column in order), None for one", r"\1, - for one"),
    (r"(?<![-\w])columns (is|are) missing", r"--columns \1 missing"),
    (r"(?<![-\w])unit (and|is|are) ", r"--unit \1 "),
    (r"(?<![-\w])rate_hz, unit and columns\b", "--rate, --unit and --columns"),
    (r"(?<![-\w])unit and columns\b", "--unit and --columns"),
    (r"(?<![-\w])rate_hz and (unit|columns)\b", r"--rate and --\1"),
)

_NONE = re.compile(r"(?<!\w)'[^']*'(?!\w)|\bNone\b")
"""What is quoted, or None: only the second is put in other words."""

SENTENCES = frozenset((
    "baseline_note", "bulk", "dataset_notes", "differences", "do", "findings",
    "looked", "not_looked", "notes", "problem",
    "problems", "scale_notes", "source", "words",
))  # fmt: skip
"""Under these names an answer in JSON holds sentences for people; all else there is data, and stays as it is."""


def in_shell_words(message: object) -> str:
    """A message as one line, with options in the place of arguments."""
    return _reworded(" ".join(str(message).split()))


def in_shell_lines(text: str) -> str:
    """Several lines, each in shell words, its spaces as they are."""
    return "\n".join(map(_reworded, text.split("\n")))


def answer(value: Any, name: str = "") -> Any:
    """A value for JSON, with the sentences that stand in it in shell words: see SENTENCES."""
    if isinstance(value, Mapping):
        return {str(key): answer(part, str(key)) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [answer(part, name) for part in value]
    return in_shell_words(value) if isinstance(value, str) and name in SENTENCES else value


def _reworded(line: str) -> str:
    for pattern, words in _PHRASES:
        line = re.sub(pattern, words, line)
    for name, option in OPTIONS.items():
        line = re.sub(rf"(?<![\w/'\"-]){name}=(?=\S)", f"{option} ", line)
        if "_" in name:
            line = re.sub(rf"(?<![\w/'\".-]){name}(?![\w/'\".-]*['\"/])\b", option, line)
    return _NONE.sub(lambda found: found[0] if found[0] != "None" else "none", line)
