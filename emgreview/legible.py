r"""The one place that shows a stranger's text in a message: nothing in it moves the cursor, colours, hides or turns it.

Names of files, people, channels and versions, comments and reasons may come from anybody's file, and stand in messages
that a terminal prints as they are: an escape sequence there clears the screen, a mark that turns the direction of
writing shows a name as another. Such letters, and halves of surrogate pairs, which no stream writes, are shown as
their numbers, as Python writes them: ``\x1b``, ``\u202e``, ``\ud800``. What is stored, and what JSON answers, stays.

    legible         a text of one or more lines
    one_line        the same, line ends too as their numbers
    escaped         JSON whose letters are all seen, the same JSON
"""

import unicodedata
from json import dumps

_JOINS = "\u200c\u200d"
"""Not seen, and part of how words of some languages, and pictures of people, are written."""

_HIDDEN = frozenset(("Cc", "Cf", "Cs", "Zl", "Zp"))


def legible(text: str) -> str:
    """A text whose letters are all seen; line feeds and tabs stay."""
    return text if text.isprintable() else "".join(_number(one) if _hidden(one) else one for one in text)


def one_line(text: str) -> str:
    """A text in one line whose letters are all seen."""
    return legible(text).replace("\n", "\\n").replace("\t", "\\t")


def escaped(json: str) -> str:
    """JSON with every letter that is not seen escaped as JSON does; line ends between its parts stay."""
    return json if json.isprintable() else "".join(dumps(one)[1:-1] if _hidden(one) else one for one in json)


def _hidden(letter: str) -> bool:
    if letter.isprintable() or letter in "\n\t" or letter in _JOINS:
        return False
    return unicodedata.category(letter) in _HIDDEN and ord(letter) != 0xAD  # a soft hyphen hides nothing


def _number(letter: str) -> str:
    return letter.encode("unicode_escape").decode()
