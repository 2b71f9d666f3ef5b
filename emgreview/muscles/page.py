"""The reference as one page to browse and print: a single HTML file that asks nothing of any network.

Every text is escaped. Beside a muscle stands a drawing where a function that makes one is given: it gets the key and
returns SVG, which is put in as it is, or "".

    page            muscles to HTML
    write_page      the same into a new file
"""

import html
import unicodedata
from collections.abc import Callable, Iterable
from pathlib import Path

from emgreview.errors import ParameterError
from emgreview.legible import legible
from emgreview.muscles.facts import CAUTION, SCHEMATIC, Fact, Muscle, Relation
from emgreview.muscles.reference import all_groups, all_muscles, name_of
from emgreview.plain_files import read_text

Drawing = Callable[[str], str]

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:"
"""What a browser may load for the page: nothing from anywhere."""


def page(muscles: Iterable[Muscle], *, title: str = "", drawing: Drawing | None = None) -> str:
    """HTML of all that is known of some muscles, in the order given; ``drawing`` makes the SVG beside each."""
    listed = list(muscles)
    shown = {one.key for one in listed}
    title = title or "Muscles of shoulder, arm and hand"
    regions = list(dict.fromkeys(one.region for one in listed))
    index = "".join(
        f"<section><h2>{_text(region.capitalize())}</h2><ul>"
        + "".join(
            f'<li data-of="{_text(one.key)}"><a href="#{_text(one.key)}">{_text(one.short)}</a></li>'
            for one in listed
            if one.region == region
        )
        + "</ul></section>"
        for region in regions
    )
    articles = "".join(_article(one, shown, drawing) for one in listed)
    here = Path(__file__).parent
    style, script = read_text(here / "page.css"), read_text(here / "page.js")
    return f"""<!DOCTYPE html>
<html lang="en-GB">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{_text(title)}</title>
<style>
{style}</style>
</head>
<body>
<header>
<h1>{_text(title)}</h1>
<p class="caution" role="note"><strong>Caution.</strong> {_text(CAUTION)}</p>
<p class="faint">{_text(SCHEMATIC)} Every fact names its source; what rests on memory or on one source says so. Pads
record from a place, not from a muscle.</p>
</header>
<div class="tools" role="search">
<input id="search" type="search" autocomplete="off" placeholder="Find: a muscle, a movement, a neighbour"
 aria-label="Find a muscle, a movement or a neighbour" aria-keyshortcuts="/">
<button id="theme" type="button">Light or dark</button>
<span id="said" class="faint" role="status"></span>
<span class="faint">/ to find, Escape to show all</span>
</div>
<nav aria-label="Muscles">{index}</nav>
<main>
{articles}</main>
<script>
{script}</script>
</body>
</html>
"""


def write_page(path: str | Path, muscles: Iterable[Muscle], *, title: str = "", drawing: Drawing | None = None) -> Path:
    """Write the page into a new file and return its path. Raises ParameterError where there is one already."""
    path, text = Path(path), page(muscles, title=title, drawing=drawing)
    try:
        with path.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        raise ParameterError(f"{path} exists already; nothing was written; give the name of a new file.") from None
    except OSError as why:
        raise ParameterError(f"{path} cannot be written ({why.strerror}); give another place.") from why
    return path


def _article(one: Muscle, shown: set[str], drawing: Drawing | None) -> str:
    rows: dict[str, list[str]] = {}
    for about, fact, words in one.facts():
        said = _linked(fact, shown) if isinstance(fact, Relation) else _text(words)
        rows.setdefault(about, []).append(f'<p>{said}<br><span class="source">{_text(fact.by)}</span></p>')
    facts = "".join(f"<dt>{_text(about)}</dt><dd>{''.join(said)}</dd>" for about, said in rows.items())
    called = ", ".join((*one.abbreviations, *one.synonyms))
    warning = f'<p class="warning"><strong>Warning:</strong> {_text(one.warning)}.</p>' if one.warning else ""
    picture = drawing(one.key) if drawing is not None else ""
    figure = f'<figure class="drawing">{picture}</figure>' if picture else ""
    return (
        f'<article id="{_text(one.key)}" tabindex="-1" data-words="{_text(_words(one))}">'
        f"<h2>{_text(one.short)}</h2>"
        f'<p class="faint">{_text(f"{one.region}, {one.side}; also called: {called}")}</p>'
        f"{warning}{figure}<dl>{facts}</dl></article>\n"
    )


def _linked(fact: Fact, shown: set[str]) -> str:
    """Names of a relation, each leading to its place on the page where it has one."""
    assert isinstance(fact, Relation)
    names = [
        f'<a href="#{_text(key)}">{_text(name)}</a>' if key in shown else _text(name)
        for key, name in zip(fact.keys, fact.names, strict=True)
    ]
    return ", ".join(names) + (f" ({_text(fact.text)})" if fact.text else "")


def _words(one: Muscle) -> str:
    """What the search finds a muscle by, in small letters without accents."""
    said = [
        one.key,
        one.name,
        *one.abbreviations,
        *one.synonyms,
        one.region,
        one.side,
        one.depth,
        one.ease,
        one.warning,
    ]
    said += [name_of(one.group)] if one.group in all_groups() else []
    said += [name_of(key) for key in one.members if key in all_muscles()]
    said += [words for _, _, words in one.facts()]
    plain = unicodedata.normalize("NFKD", " ".join(said)).casefold()
    return "".join(letter for letter in plain if not unicodedata.combining(letter))


def _text(text: str) -> str:
    return html.escape(legible(text))
