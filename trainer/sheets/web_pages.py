"""A document as one HTML file: nothing is fetched, no script runs, every text from outside is escaped.

It reads at any width, on paper in black and white (A4 and Letter), with a keyboard and with a screen reader: landmarks
and headings, figures as SVG with a title and a description, each with its numbers in a table that opens below it. What
is wider than the window scrolls in a box of its own, which takes the keyboard's focus.

Sources: HTML Living Standard; WAI-ARIA 1.2 (img, region); WCAG 2.2 (1.1.1, 1.3.1, 1.4.10, 2.1.1, 2.4.1).
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from typing import Final

from trainer.sheets.documents import Block, Document, Figure, Paragraph, Points, Section, Table
from trainer.sheets.drawings import clean, svg_element

_STYLE: Final = """
:root { color-scheme: light dark; --ink: #1c1f23; --paper: #fffdf8; --rule: #8a8f98; --link: #1d4f91; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e6e8eb; --paper: #16191d; --rule: #6d747e; --link: #a9c8f5; }
}
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 52rem; padding: 1rem; color: var(--ink); background: var(--paper);
  font: 1rem/1.5 system-ui, "DejaVu Sans", "Segoe UI", sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 0 0 .5rem; }
h2 { font-size: 1.3rem; margin: 2.2rem 0 .6rem; border-bottom: 2px solid var(--rule); padding-bottom: .2rem; }
p, ul, dl { margin: .6rem 0; }
header p { margin: .1rem 0; }
a { color: var(--link); }
a:focus-visible, summary:focus-visible, .wide:focus-visible { outline: 3px solid var(--link); outline-offset: 2px; }
.skip { position: absolute; left: -100vw; }
.skip:focus { position: static; }
nav ul { list-style: none; padding: 0; display: flex; flex-wrap: wrap; gap: .2rem 1rem; }
dt { font-weight: bold; margin-top: .5rem; }
dd { margin: 0 0 0 1rem; }
figure { margin: 1.2rem 0; }
figcaption { font-weight: bold; margin-bottom: .3rem; }
.wide { overflow-x: auto; margin: .8rem 0; }
svg { display: block; width: 100%; min-width: 34rem; height: auto; font-family: inherit; }
details { margin: .4rem 0; }
summary { cursor: pointer; color: var(--link); }
table { border-collapse: collapse; font-size: .9rem; }
caption { text-align: left; font-weight: bold; padding: .4rem 0; }
th, td { border-bottom: 1px solid var(--rule); padding: .25rem .6rem .25rem 0; text-align: left; vertical-align: top;
  overflow-wrap: normal; }
tbody th { font-weight: normal; min-width: 8rem; }
.figure { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
@page { margin: 15mm; }
@media print {
  :root { color-scheme: light; --ink: #000; --paper: #fff; --rule: #777; --link: #000; }
  body { max-width: none; padding: 0; font-size: 10pt; }
  nav, .skip, details:not([open]) { display: none; }
  h2, figcaption, caption { break-after: avoid; }
  figure, tr, dt { break-inside: avoid; }
  dt { break-after: avoid; }
  .wide { overflow: visible; }
  svg { min-width: 0; width: 78%; }
  .short { break-inside: avoid; }
  figure { margin: .6rem 0; }
  .wide { margin: .2rem 0; }
  table { font-size: 8.5pt; }
}
"""


_SHORT: Final = 16
"""A table of so many rows stays on one page when it is printed."""


def web_page(document: Document) -> str:
    """The whole file."""
    title = escape(clean(document.title))
    about = f"{title}, {escape(clean(document.below[0]))}" if document.below else title
    lines = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
        '<meta name="color-scheme" content="light dark">',
        f"<title>{about}</title>",
        f"<style>{_STYLE}</style>",
        "</head>",
        "<body>",
        '<a class="skip" href="#content">To the report</a>',
        "<header>",
        f"<h1>{title}</h1>",
        *(f'<p dir="auto">{escape(clean(line))}</p>' for line in document.below),
        "</header>",
        '<nav aria-label="Sections">',
        "<ul>",
        *(f'<li><a href="#{each.name}">{escape(clean(each.heading))}</a></li>' for each in document.sections),
        "</ul>",
        "</nav>",
        '<main id="content">',
    ]
    for section in document.sections:
        lines += _section(section)
    return "\n".join([*lines, "</main>", "</body>", "</html>"]) + "\n"


def _section(section: Section) -> Iterator[str]:
    heading = f"{section.name}-heading"
    yield f'<section id="{section.name}" aria-labelledby="{heading}">'
    yield f'<h2 id="{heading}">{escape(clean(section.heading))}</h2>'
    for number, block in enumerate(section.blocks):
        yield from _block(block, f"{section.name}-{number}")
    yield "</section>"


def _block(block: Block, name: str) -> Iterator[str]:
    match block:
        case Paragraph():
            yield f"<p>{escape(clean(block.text))}</p>"
        case Points():
            yield "<dl>"
            for lead, text in block.points:
                yield f'<dt dir="auto">{escape(clean(lead))}</dt><dd>{escape(clean(text))}</dd>'
            yield "</dl>"
        case Table():
            yield from _table(block, f"{name}-table")
        case Figure():
            yield f'<figure id="{name}">'
            yield f'<figcaption dir="auto">{escape(clean(block.title))}</figcaption>'
            yield f'<div class="wide" tabindex="0" role="region" aria-label="{_attribute(block.title)}, figure">'
            yield svg_element(block.drawing, name, block.title, block.description)
            yield "</div>"
            yield "<details><summary>The numbers as a table</summary>"
            yield from _table(block.table, f"{name}-table")
            yield "</details>"
            yield "</figure>"


def _attribute(text: str) -> str:
    return escape(clean(text), quote=True)


def _table(table: Table, name: str) -> Iterator[str]:
    yield f'<div class="wide" tabindex="0" role="region" aria-labelledby="{name}">'
    short = ' class="short"' if len(table.rows) <= _SHORT else ""
    yield f'<table{short}><caption id="{name}">{escape(clean(table.caption))}</caption>'
    heads = "".join(
        f'<th scope="col"{_class(table, at)}>{escape(clean(column))}</th>' for at, column in enumerate(table.columns)
    )
    yield f"<thead><tr>{heads}</tr></thead>"
    yield "<tbody>"
    for row in table.rows:
        first = f'<th scope="row" dir="auto"{_class(table, 0)}>{escape(clean(row[0]))}</th>'
        rest = "".join(f"<td{_class(table, at)}>{escape(clean(cell))}</td>" for at, cell in enumerate(row[1:], 1))
        yield f"<tr>{first}{rest}</tr>"
    yield "</tbody></table></div>"


def _class(table: Table, column: int) -> str:
    return ' class="figure"' if column in table.figures else ""
