"""The session sheet: one HTML page to print on A4 and fill in by pen, or to read on a screen. It asks nothing of any
network, runs no script, and every text in it is escaped.

    sheet       a plan to HTML
"""

import html
from collections.abc import Iterable
from pathlib import Path

from emgreview.errors import ParameterError
from emgreview.legible import legible
from emgreview.muscles import CAUTION, Fact
from emgreview.muscles.drawings import draw_muscles
from emgreview.muscles.facts import SCHEMATIC
from emgreview.muscles.wording import also_hears
from emgreview.plain_files import read_text
from emgreview.plans.fields import SESSION, SITE
from emgreview.plans.planning import Plan, Site
from emgreview.plans.words import CAUTIONS, ITEMS, NOT_A_DEVICE, ORDER, SOURCES

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
"""What a browser may load for the page: nothing from anywhere, and no script."""
_BLOCKS = 14
"""Rows for blocks, at least."""


def sheet(plan: Plan) -> str:
    """HTML of the session sheet."""
    title = f"Session sheet: {plan.movement}" if plan.movement else "Session sheet"
    parts = [_head(plan, title), _overview(plan), _order(), *(_site(one) for one in plan.sites)]
    parts += [_blocks(plan), _items(plan), _open(plan)]
    style = read_text(Path(__file__).with_name("sheet.css"))
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
{"".join(parts)}</body>
</html>
"""


def _head(plan: Plan, title: str) -> str:
    about = [
        ("Movement", f"{plan.movement} ({', '.join(plan.movements)})" if plan.movement else ""),
        ("Side", plan.side),
        ("Postures", "; ".join(plan.postures)),
    ]
    known = "".join(f"<tr><th scope='row'>{name}</th><td>{_or_line(words)}</td></tr>" for name, words in about)
    boxes = [
        ("Participant (code)", plan.said.get("participant", "")),
        ("Session (code)", plan.said.get("session", "")),
        ("Placed by (code)", plan.said.get("placed_by", "")),
        ("Date", ""),
        ("Start", ""),
        ("End", ""),
    ]
    return (
        f"<header><h1>{_text(title)}</h1>{_caution(NOT_A_DEVICE)}{_caution(CAUTIONS['data'])}"
        f"<table class='known'>{known}</table>{_boxes(boxes)}{_notes(plan.notes)}</header>\n"
    )


def _order() -> str:
    rows = "".join(
        f"<tr><td class='tick'></td><th scope='row'>{_text(step.what)}</th><td>{_text(step.how)}</td>"
        "<td class='pen'></td></tr>"
        for step in ORDER
    )
    needed = dict.fromkeys(step.caution for step in ORDER if step.caution and step.caution != "data")
    return (
        "<section id='order'><h2>Order of the session</h2>"
        f"{''.join(_caution(CAUTIONS[one]) for one in needed)}"
        "<table class='steps'><thead><tr><th>Done</th><th>Step</th><th>What is recorded or logged</th>"
        "<th>Time, notes</th>"
        f"</tr></thead><tbody>{rows}</tbody></table>"
        "<p class='faint'>An order that is common; times and counts are common practice, no source.</p></section>\n"
    )


def _overview(plan: Plan) -> str:
    rows = "".join(
        f"<tr><th scope='row'>{_text(one.label)}</th><td>{_text(one.over)}</td><td>{_text(one.part)}</td>"
        f"<td>{_text(', '.join(one.muscle.neighbour_names) or 'none known')}</td><td>{_text(one.muscle.ease)}</td></tr>"
        for one in plan.sites
    )
    warned = "".join(f"<p class='warning'><strong>Warning.</strong> {_text(words)}</p>" for words in plan.warnings)
    return (
        "<section id='channels'><h2>Channels</h2><table><thead><tr><th>Channel</th><th>Recorded over</th>"
        f"<th>In the movement</th><th>Also heard there</th><th>Surface pads</th></tr></thead>"
        f"<tbody>{rows}</tbody></table>"
        f"{warned}<p class='faint'>Pads record from a place, not from a muscle.</p></section>\n"
    )


def _site(site: Site) -> str:
    one = site.muscle
    facts = [
        ("Site, as described", one.site),
        ("Spacing", (one.spacing,)),
        ("Test movement", one.test),
        ("Quiet movement", one.quiet),
        ("Rest", ()),
    ]
    rows = "".join(_fact(name, said) for name, said in facts)
    heard = also_hears(one.key)
    rows += f"<tr><th scope='row'>Neighbours</th><td>{_text(heard or 'none known')}{_sources(one.hears)}</td></tr>"
    rows += _fact("To know", one.cautions) if one.cautions else ""
    warning = f"<p class='warning'><strong>Warning.</strong> {_text(one.warning)}.</p>" if one.warning else ""
    boxes = [
        (_called(field.name, field.means), _value(site.said.get(field.name)), field.choices) for field in SITE.values()
    ]
    boxes += [("Side", site.side, ()), ("Fixed to input no.", "", ()), ("Placed by (code)", "", ())]
    return (
        f"<section class='site'><h2>{_text(site.label)}: over {_text(site.over)}</h2>"
        f"{_caution(CAUTIONS['placing'])}{_caution(CAUTIONS['moving'])}{warning}"
        f"<table class='facts'>{rows}</table>{_boxes(boxes)}{_drawing(site)}</section>\n"
    )


def _fact(name: str, said: Iterable[Fact]) -> str:
    words = "".join(f"<p>{_text(fact.marked)} <span class='source'>[{_text(fact.by)}]</span></p>" for fact in said)
    if name == "Rest":
        words = "<p>relaxed and supported, 10 s <span class='source'>[common practice, no source]</span></p>"
    return f"<tr><th scope='row'>{name}</th><td>{words}</td></tr>"


def _sources(facts: Iterable[Fact]) -> str:
    by = dict.fromkeys(fact.by for fact in facts)
    return f" <span class='source'>[{_text('; '.join(by))}]</span>" if by else ""


def _drawing(site: Site) -> str:
    try:
        drawing = draw_muscles(site.key, side=site.side)
    except ParameterError:  # no view shows it
        return "<p class='faint'>No drawing shows this muscle.</p>"
    lines = "<span class='line'></span>" * 3
    return (
        f"<div class='drawn'><figure>{drawing.svg}</figure>"
        f"<p class='name'>{_text(site.label)}: where the pads were placed on this person, marked above; "
        "measures in mm</p>"
        f"{lines}</div>"
    )


def _blocks(plan: Plan) -> str:
    names = [*plan.postures, *[""] * max(2, _BLOCKS - len(plan.postures))]
    rows = "".join(f"<tr><td class='pen'>{_text(name)}</td>{'<td class=pen></td>' * 5}</tr>" for name in names)
    return (
        f"<section id='blocks'><h2>Blocks</h2>{_caution(CAUTIONS['moving'])}<table class='steps'><thead><tr>"
        "<th>Posture, condition</th><th>File</th><th>Start</th><th>End</th><th>Trials</th><th>What happened, "
        "with the time"
        f"</th></tr></thead><tbody>{rows}</tbody></table></section>\n"
    )


def _items(plan: Plan) -> str:
    rows = ""
    for item in ITEMS:
        said = [_value(plan.said[name]) for name in item.fields if name in plan.said]
        whole = len(said) == len(item.fields)
        lacking = ", ".join(SESSION[name].name for name in item.fields if name not in plan.said)
        more = f" <span class='source'>({_text(lacking)}: not said)</span>" if said and not whole else ""
        words = f"{_text('; '.join(said))}{more}" if said else ""
        rows += f"<tr><th scope='row'>{_text(item.name)}</th><td class='pen'>{words}</td><td>{_text(item.by)}</td></tr>"
    return (
        "<section id='items'><h2>To be logged and reported</h2>"
        "<p class='faint'>Which item each standard asks for is from memory: check with the standards.</p>"
        "<table><thead><tr><th>Item</th><th>This session</th><th>Asked for by</th></tr></thead>"
        f"<tbody>{rows}</tbody></table><p class='faint'>{_text(SOURCES)}</p></section>\n"
    )


def _open(plan: Plan) -> str:
    lacking = "".join(f"<li>{_text(one)}</li>" for one in plan.missing)
    listed = f"<ul>{lacking}</ul>" if lacking else "<p>Nothing: every field is filled in.</p>"
    return (
        f"<section id='missing'><h2>Not filled in when this was printed ({len(plan.missing)})</h2>{listed}"
        f"<p class='faint'>{_text(SCHEMATIC)}</p>{_caution(CAUTION)}</section>\n"
    )


def _boxes(boxes: Iterable[tuple[object, ...]]) -> str:
    made = ""
    for name, value, *choices in boxes:
        marks = choices[0] if choices else ()
        pen = _text(str(value))
        if not value and isinstance(marks, tuple) and marks:
            pen = " ".join(f"<span class='mark'></span> {_text(one)}" for one in marks)
        made += f"<div><span class='name'>{_text(str(name))}</span><span class='line'>{pen}</span></div>"
    return f"<div class='boxes'>{made}</div>"


def _called(name: str, means: str) -> str:
    known = {
        "placement": "How the site was found",
        "spacing_mm": "Spacing used (mm)",
        "direction": "Direction of the pair",
        "impedance_kohm": "Impedance (kΩ)",
        "skinfold_mm": "Skinfold (mm)",
        "photo": "Photo",
        "placed_at": "Time placed",
    }
    return known.get(name, means)


def _value(value: object) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _or_line(words: str) -> str:
    return _text(words) if words else "<span class='line'></span>"


def _notes(notes: Iterable[str]) -> str:
    return "".join(f"<p class='faint'>{_text(one)}</p>" for one in notes)


def _caution(words: str) -> str:
    head, sign, rest = words.partition(":")
    bold = f"<strong>{_text(head)}:</strong>{_text(rest)}" if sign and head.startswith("Caution") else _text(words)
    return f"<p class='caution' role='note'>{bold}</p>"


def _text(text: str) -> str:
    return html.escape(legible(text))
