"""Every pair of tokens in use can be read: text 4.5:1, shapes and outlines 3:1 (WCAG 2.2, 1.4.3 and 1.4.11).

Relative luminance and contrast ratio as WCAG 2.2 defines them.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

CSS = Path(__file__).parents[2] / "fleet" / "static" / "fleet" / "css"
GROUNDS = ("paper", "sheet", "sunk", "water-tint")
MAP_GROUNDS = ("m-block", "m-street", "m-river", "m-park")
STATES = ("ok", "act", "watch", "few", "rest")

TEXT = [(text, ground) for text in ("ink", "ink-2", "water-ink", "soil") for ground in GROUNDS]
TEXT += [(f"{state}-ink", ground) for state in STATES for ground in GROUNDS]
TEXT += [("ink-3", ground) for ground in ("paper", "sheet", "sunk")]
TEXT += [("on-water", "water"), ("on-water", "water-ink"), ("paper", "ink")]
TEXT += [
    (text, tint) for tint in ("act-tint", "watch-tint") for text in ("ink", "ink-2", "act-ink", "water-ink")
]
TEXT += [("watch-ink", "watch-tint"), ("ink", "soil-tint")]
TEXT += [("m-text", ground) for ground in ("m-block", "m-street", "m-pave", "m-house")]
TEXT += [
    ("ink", "m-block"),
    ("ink-2", "m-street"),
    ("ink-2", "m-river"),
    ("water-ink", "m-river"),
    ("ink", "z-turf"),
]

PARTS = [(f"{state}-ink", ground) for state in STATES for ground in GROUNDS + MAP_GROUNDS]
PARTS += [("edge", ground) for ground in GROUNDS]
PARTS += [("focus", ground) for ground in (*GROUNDS, "m-block", "act-tint", "watch-tint")]
PARTS += [
    ("water", ground) for ground in ("paper", "sheet", "sunk", "m-block", "m-street", "m-river", "z-turf")
]
PARTS += [("m-route", ground) for ground in MAP_GROUNDS]
PARTS += [
    ("p-rain", "paper"),
    ("p-et", "paper"),
    ("p-line", "paper"),
    ("p-line", "p-band"),
    ("soil", "z-turf"),
]

PRINTED = [(text, ground) for text in ("ink", "ink-2", "ink-3") for ground in ("paper", "sheet", "sunk")]


def tokens(css: str) -> dict[str, str]:
    """Name and colour of each token set in a block of the style sheet."""
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-fA-F]{3,6})\b", css))


def block(css: str, start: str) -> str:
    """The declarations between the braces that follow `start`."""
    begin = css.index("{", css.index(start))
    return css[begin : css.index("}", begin)]


def luminance(colour: str) -> float:
    """Relative luminance of a `#rrggbb` or `#rgb` colour, 0 to 1."""
    digits = colour.lstrip("#")
    if len(digits) == 3:
        digits = "".join(digit * 2 for digit in digits)
    shares = [int(digits[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def sets() -> dict[str, dict[str, str]]:
    """The sets of tokens: light, dark, high contrast in both, print."""
    screen = (CSS / "tokens.css").read_text(encoding="utf-8")
    light = tokens(block(screen, ":root"))
    dark = light | tokens(block(screen, '[data-theme="dark"]'))
    high = light | tokens(block(screen, '[data-theme="contrast"]'))
    high_dark = dark | tokens(block(screen, '[data-theme="contrast-dark"] {\n    --paper'))
    paper = (CSS / "print.css").read_text(encoding="utf-8")
    return {
        "light": light,
        "dark": dark,
        "contrast": high,
        "contrast-dark": high_dark,
        "print": light | tokens(block(paper[paper.index("@media print") :], ":root")),
    }


def test_the_ratio_is_the_published_one() -> None:
    """WCAG 2.2: black on white is 21:1; #777777 on white is 4.48:1, just too little for text."""
    assert contrast("#000", "#fff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("theme", ["light", "dark", "contrast", "contrast-dark"])
def test_text_stands_out_four_and_a_half_to_one(theme: str) -> None:
    chosen = sets()[theme]

    low = {pair: round(contrast(chosen[pair[0]], chosen[pair[1]]), 2) for pair in TEXT}

    assert {pair: ratio for pair, ratio in low.items() if ratio < 4.5} == {}


@pytest.mark.parametrize("theme", ["light", "dark", "contrast", "contrast-dark"])
def test_shapes_and_outlines_stand_out_three_to_one(theme: str) -> None:
    chosen = sets()[theme]

    low = {pair: round(contrast(chosen[pair[0]], chosen[pair[1]]), 2) for pair in PARTS}

    assert {pair: ratio for pair, ratio in low.items() if ratio < 3.0} == {}


@pytest.mark.parametrize("theme", ["contrast", "contrast-dark"])
def test_high_contrast_text_stands_out_seven_to_one(theme: str) -> None:
    """WCAG 2.2, 1.4.6 (enhanced)."""
    high = sets()[theme]

    low = {pair: round(contrast(high[pair[0]], high[pair[1]]), 2) for pair in TEXT}

    assert {pair: ratio for pair, ratio in low.items() if ratio < 7.0} == {}


def test_print_is_dark_on_white() -> None:
    printed = sets()["print"]

    assert printed["paper"] == "#fff"
    assert {pair for pair in PRINTED if contrast(printed[pair[0]], printed[pair[1]]) < 4.5} == set()


def test_dark_colours_stay_off_paper() -> None:
    screen = (CSS / "tokens.css").read_text(encoding="utf-8")

    assert screen.index("@media screen") < screen.index('[data-theme="dark"]')


def test_the_themes_name_the_same_colours() -> None:
    screen = (CSS / "tokens.css").read_text(encoding="utf-8")
    light, dark = tokens(block(screen, ":root")), tokens(block(screen, '[data-theme="dark"]'))

    assert set(light) == set(dark)
