"""Colours of the drawings: own palettes for a light and a dark page and for paper, and their contrast.

Blue against orange, which people with any common colour blindness tell apart; and never colour alone: sites are tinted
with pads on them, neighbours are hatched, deep muscles have a broken edge.

    PALETTES    light, dark and print: what is painted with what
    style       the style sheet of a drawing for a theme
    contrast    the ratio of two colours by WCAG 2
"""

PALETTES = {
    "light": {
        "paper": "#ffffff",
        "ink": "#17212b",
        "quiet": "#4a5763",
        "skin": "#f8f3ec",
        "edge": "#5a6570",
        "bone": "#e9e2d6",
        "faint": "#c3bbae",
        "belly": "#f1e9de",
        "site": "#c4def4",
        "siteedge": "#0b4f8a",
        "pad": "#0b3f70",
        "ring": "#ffffff",
        "hatch": "#a34a00",
    },
    "dark": {
        "paper": "#11161c",
        "ink": "#eef2f6",
        "quiet": "#b4bfca",
        "skin": "#1d252d",
        "edge": "#8794a1",
        "bone": "#2d3843",
        "faint": "#45525f",
        "belly": "#242e38",
        "site": "#1c466b",
        "siteedge": "#86c5ff",
        "pad": "#d6ecff",
        "ring": "#11161c",
        "hatch": "#ffb15c",
    },
    "print": {
        "paper": "#ffffff",
        "ink": "#000000",
        "quiet": "#000000",
        "skin": "#ffffff",
        "edge": "#000000",
        "bone": "#f2f2f2",
        "faint": "#b0b0b0",
        "belly": "#ffffff",
        "site": "#cfcfcf",
        "siteedge": "#000000",
        "pad": "#000000",
        "ring": "#ffffff",
        "hatch": "#000000",
    },
}
THEMES = ("auto", "light", "dark", "print")

ROOT = "emgreview-drawing"
RULES = {
    "text": "font-family:system-ui,'Segoe UI',Helvetica,Arial,'DejaVu Sans',sans-serif;font-size:13px;fill:var(--ink)",
    ".name": "font-weight:bold",
    ".title": "font-weight:bold;font-size:16px",
    ".quiet": "fill:var(--quiet)",
    ".mark": "font-style:italic;fill:var(--quiet)",
    ".paper": "fill:var(--paper)",
    ".skin": "fill:var(--skin);stroke:none",
    ".edge": "fill:none;stroke:var(--edge);stroke-width:1.5;stroke-linejoin:round;stroke-linecap:round",
    ".bone": "fill:var(--bone);stroke:var(--faint);stroke-width:1",
    ".crease": "fill:none;stroke:var(--faint);stroke-width:1.2;stroke-linecap:round",
    ".belly": "fill:var(--belly);stroke:var(--faint);stroke-width:0.9;stroke-linejoin:round",
    ".under": "fill:none;stroke:var(--faint);stroke-width:0.9;stroke-dasharray:3 3",
    ".site": "fill:var(--site);stroke:var(--siteedge);stroke-width:1.6;stroke-linejoin:round",
    ".heard": "fill:none;stroke:var(--hatch);stroke-width:1.2;stroke-linejoin:round",
    ".hatch": "fill:none;stroke:var(--hatch);stroke-width:1.1",
    ".deep": "stroke-dasharray:5 3",
    ".pad": "fill:var(--pad);stroke:var(--ring);stroke-width:1.4",
    ".way": "fill:none;stroke:var(--pad);stroke-width:1.2",
    ".halo": "fill:none;stroke:var(--paper);stroke-width:3.2;stroke-opacity:0.85",
    ".lead": "fill:none;stroke:var(--ink);stroke-width:0.9",
    ".end": "fill:var(--ink)",
    ".spot": "fill:var(--paper);stroke:var(--ink);stroke-width:1.2",
}


def style(theme: str) -> str:
    """The style sheet: every rule holds for this drawing's theme alone. ``auto`` follows JupyterLab's theme where there
    is one, else what the reader's system prefers; on paper all are black on white."""
    own = f".{ROOT}-{theme}"
    if theme == "auto":
        sheet = [_colours(own, "light"), f"@media (prefers-color-scheme:dark){{{_colours(own, 'dark')}}}"]
        sheet += [_colours(f'[data-jp-theme-light="{light}"] {own}', name) for light, name in _LABS]
    else:
        sheet = [_colours(own, theme)]
    sheet.append(f"{own}{{width:100%;min-width:820px;max-width:960px;height:auto}}")
    sheet.append(f"@media print{{{_colours(f'{own},[data-jp-theme-light] {own}', 'print')}{own}{{min-width:0}}}}")
    sheet += [f"{own} {what}{{{how}}}" for what, how in RULES.items()]
    return "".join(sheet)


def contrast(one: str, other: str) -> float:
    """The contrast ratio of two colours by WCAG 2, from 1 to 21."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


_LABS = (("true", "light"), ("false", "dark"))


def _colours(what: str, palette: str) -> str:
    return f"{what}{{{';'.join(f'--{name}:{colour}' for name, colour in PALETTES[palette].items())}}}"


def _luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
