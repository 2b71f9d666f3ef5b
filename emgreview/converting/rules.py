"""What may say who a person is, and what a conversion makes of it: judged by names of fields and forms of values.

A machine finds names of fields, dates, addresses and words that no task needs; it does not understand any of them. What
is kept is listed for a person to look at (:mod:`emgreview.converting.traces`).

    Rules               whether a label, a column or a field is kept, and what stands for it
    words_of_people     words of fields that hold names, not to be met in any text that is kept
"""

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from emgreview.errors import ParameterError

REMOVED = "text removed"
"""Stands for a label of free text: the moment is kept, the words are not."""

HIDDEN = "X"
FREE = "free text"
"""Why a column is not kept whose words may be anybody's."""

_PERSONAL = frozenset((
    "name", "surname", "forename", "firstname", "lastname", "fullname", "family", "given", "nickname", "initial",
    "initials", "birth", "birthday", "birthdate", "dob", "born", "email", "mail", "phone", "telephone", "tel",
    "mobile", "fax", "address", "street", "city", "town", "village", "county", "postcode", "postal", "zip", "plz",
    "ssn", "nhs", "insurance", "mrn", "patient", "passport", "licence", "license", "photo", "image", "url", "website",
    "comment", "comments", "remark", "remarks", "note", "notes", "free", "contact", "guardian", "parent", "mother",
    "father", "employer", "school", "operator", "technician", "experimenter", "investigator", "doctor", "physician",
    "therapist", "nurse", "referrer", "institution", "institutional", "department", "hospital", "clinic", "station",
    "serial", "date", "datetime", "acq", "author", "authors", "user", "username", "ip", "host", "hostname", "account",
    "signature", "relative", "rater", "coder", "examiner", "assistant", "staff", "observer",
    "code", "key", "pseudonym", "medication", "file", "filename", "path",
))  # fmt: skip
"""Words in the name of a column or field that holds what may say who a person is, or where and when."""

_TASK_WORDS = frozenset((
    "go", "start", "stop", "end", "begin", "left", "right", "both", "up", "down", "cue", "cues", "on", "off", "stim",
    "stimulus", "stimuli", "trigger", "response", "rest", "press", "release", "warning", "target", "trial", "block",
    "baseline", "beep", "light", "tone", "sound", "flash", "mvc", "contraction", "relax", "hand", "arm", "leg", "foot",
    "finger", "wrist", "elbow", "knee", "ankle", "button", "task", "run", "move", "movement", "onset", "offset",
    "small", "large", "low", "high", "slow", "fast", "event", "pulse", "sync", "ready", "set", "early", "late",
    "correct", "wrong", "error", "hit", "miss", "grip", "reach", "lift", "turn", "flexion", "extension", "open",
    "close", "closed", "male", "female", "other", "control", "patient", "healthy", "yes", "no", "true", "false", "test",
    "practice", "pause", "break", "none", "record", "recording", "pre", "post", "follow", "dominant", "congruent",
    "incongruent", "upper", "lower", "blink", "artefact", "artifact", "swallow", "force", "step", "heel", "toe",
))  # fmt: skip
"""Words of tasks, which are kept however seldom they are."""

_OFTEN = 3
"""A label of a few words that comes so often in a recording is a code, and no remark (our own choice, no source)."""

_DATE = re.compile(
    r"\b(\d{4}[-./]\d{1,2}[-./]\d{1,2}|\d{1,2}[-./]\d{1,2}[-./](\d{4}|\d{2})|"
    r"\d{1,2}[- ]?[A-Za-z]{3}[a-z]*[- ,]*\d{4})\b"
)
_MAIL = re.compile(r"\S+@\S+\.\w+")
_LONG_NUMBER = re.compile(r"\d[\d /()-]{5,}\d")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")

KEPT_FIELDS = frozenset((
    "TaskName", "EMGPlacementScheme", "EMGPlacementSchemeDescription", "EMGReference", "EMGGround",
    "SamplingFrequency", "PowerLineFrequency", "RecordingType", "SoftwareFilters", "HardwareFilters",
    "RecordingDuration", "InterelectrodeDistance", "ElectrodeType", "ElectrodeMaterial", "EMGChannelCount",
    "ECGChannelCount", "EOGChannelCount", "MISCChannelCount", "TriggerChannelCount", "EpochLength", "SamplesRecorded",
    "MissingSampleCodes",
))  # fmt: skip
"""Fields of the sidecar emg.json that tell how was recorded, not whom, where or when."""


@dataclass(frozen=True)
class Rules:
    """``scrub``: whether anything is removed; ``keep``: labels, columns and fields that are kept by name; ``words``:
    words that no text may hold; ``codes``: labels that a table of the source describes as such."""

    scrub: bool = True
    keep: frozenset[str] = frozenset()
    words: frozenset[str] = frozenset()
    codes: frozenset[str] = frozenset()

    def label(self, text: str, often: int) -> str:
        """A marker's label as it is written, of which a recording has so many."""
        if not self.scrub or text in self.keep:
            return text
        return self.masked(text) if text in self.codes or _is_code(text, often) else REMOVED

    def column(self, name: str, values: Collection[str], *, people: bool = False) -> str:
        """Why a column is not kept, or ""; ``people``: it has one value a person."""
        if not self.scrub or name in self.keep:
            return ""
        if personal(name):
            return "its name"
        given = [one for one in values if one not in ("n/a", "")]
        if any(_MAIL.search(one) for one in given):
            return "e-mail addresses"
        if any(_DATE.search(one) for one in given):
            return "dates"
        texts = [one for one in given if not _NUMBER.fullmatch(one)]
        if any(_LONG_NUMBER.search(one) for one in texts):
            return "long numbers"
        often = Counter(one for one in texts if one not in self.codes)
        if people:
            strange = {one for one in texts if not _is_code(one, 1)}
            free = any(len(one.split()) > 3 for one in texts) or (strange and len(strange) == len(given))
        else:
            free = any(not _is_code(one, n) for one, n in often.items())
        return FREE if free else ""

    def seldom(self, values: Iterable[str]) -> str:
        """How many words of a column a recording has too seldom, or too long, to be codes; none of them is named."""
        often = Counter(one for one in values if one not in ("n/a", "") and not _NUMBER.fullmatch(one))
        few = sum(one not in self.codes and not _is_code(one, n) for one, n in often.items())
        return f"{few} of its {len(often)} words stand there fewer than {_OFTEN} times, or are no code"

    def field(self, name: str) -> bool:
        """Whether a field of emg.json is kept."""
        return not self.scrub or name in KEPT_FIELDS or name in self.keep

    def masked(self, text: str) -> str:
        """A text without the words of people, and without dates and addresses."""
        if not self.scrub or text in self.keep:
            return text
        text = _DATE.sub(HIDDEN, _MAIL.sub(HIDDEN, text))
        return re.sub(r"[^\W_]+", lambda found: HIDDEN if found[0].casefold() in self.words else found[0], text)

    def names_a_person(self, text: str) -> bool:
        return self.scrub and text not in self.keep and self.masked(text) != text


def personal(name: str) -> bool:
    """Whether the name of a column or field says that it holds what may tell who a person is."""
    words = {word.lower() for word in re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", name)}
    return bool(words & _PERSONAL) and name != "participant_id"


NAMING = frozenset((
    "name", "surname", "forename", "firstname", "lastname", "fullname", "family", "given", "nickname", "email", "mail",
    "street", "address", "guardian", "contact", "operator", "technician", "experimenter", "investigator", "physician",
    "doctor", "therapist", "mother", "father", "mrn",
))  # fmt: skip
"""Words in the name of a column or field that holds names and no sentences: what stands there is met nowhere else."""


def names_people(name: str) -> bool:
    """Whether the name of a column or field says that it holds names."""
    return bool({word.lower() for word in re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", name)} & NAMING)


def words_of_people(texts: Iterable[str]) -> frozenset[str]:
    """Words of three letters and more, but for those of tasks and months; numbers of five digits and more."""
    texts = list(texts)
    found = {word.casefold() for text in texts for word in re.findall(r"[^\W\d_]+", text) if len(word) >= 3}
    numbers = {one for text in texts for one in re.findall(r"[^\W_]*\d[^\W_]*", text) if len(one) >= 5}
    return frozenset((found - _TASK_WORDS - _NO_NAMES) | {one.casefold() for one in numbers})


_NO_NAMES = frozenset((
    "startdate", "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec", "the", "and",
    "xxx", "unknown", "anonymous", "anonymized", "anonymised", "emg", "edf", "bdf",
))  # fmt: skip


def _is_code(text: str, often: int) -> bool:
    """Whether a label can be taken for a code: words of tasks, one or two letters, numbers; or a few words that come
    often."""
    if len(text) > 40 or _DATE.search(text) or _MAIL.search(text):
        return False
    words = re.findall(r"[^\W\d_]+", text)
    known = all(len(word) <= 2 or word.casefold() in _TASK_WORDS for word in words)
    if known and len(words) <= 6 and not _LONG_NUMBER.search(text):
        return True
    return often >= _OFTEN and len(words) <= 3


def age(text: str) -> str:
    """An age as BIDS recommends to write it: 89 and more as 89+."""
    return "89+" if _NUMBER.fullmatch(text) and float(text) >= 89 else text


def check_keep(keep: object) -> frozenset[str]:
    if isinstance(keep, str) or not isinstance(keep, Sequence | Collection):
        raise ParameterError(
            f"keep came as {keep!r}; allowed: a list of labels, columns and fields that are kept by name; give "
            "keep=['trial_type']."
        )
    return frozenset(str(one) for one in keep)


def masked_values(value: object, rules: Rules) -> object:
    """A value of JSON with its texts masked."""
    if isinstance(value, str):
        return rules.masked(value)
    if isinstance(value, Mapping):
        return {str(name): masked_values(part, rules) for name, part in value.items()}
    return [masked_values(one, rules) for one in value] if isinstance(value, list | tuple) else value
