"""The power-cut card: the half sheet that hangs beside the tanks.

Apart from `page` because it is the one sheet of HTML and style that goes on paper.
"""

from __future__ import annotations

from html import escape

from stocksim.faces.answer import Answer, Part, Sentences, Table
from stocksim.faces.markup import table_html


def card_html(answer: Answer) -> str:
    """The card: the answer large, the tanks, what a generator must carry, every caution.

    Parameters
    ----------
    answer : Answer
        Of `stocksim.answers.powercut.answer`.

    Returns
    -------
    str
        HTML; alone on paper it fills the upper half of an A4 sheet.
    """
    parts = [part for key in ("tanks", "notes", "cautions") for part in answer.section(key).parts]
    told = f'<div class="ss-card-answer" role="status">{escape(answer.verdict)}</div>'
    return f'<section class="ss-card">{told}{"".join(map(_part_html, parts))}</section>'


def _part_html(part: Part) -> str:
    """A part in the card's own small print."""
    if isinstance(part, Table):
        return table_html(part.rows)
    if not isinstance(part, Sentences) or part.on == "text":
        return ""
    items = [f"<b>{escape(item)}</b>" if part.kind == "do" else escape(item) for item in part.items]
    if part.kind == "numbered":
        return f'<ol class="ss-card-cautions">{"".join(f"<li>{item}</li>" for item in items)}</ol>'
    size = "when" if part.kind == "plain" else "note"
    return "".join(f'<p class="ss-card-{size}">{item}</p>' for item in items)


CARD_STYLE = """<style>
.ss-card {border: 2px solid currentColor; border-radius: 6px; padding: .8rem 1rem}
.ss-card-answer {font: 700 1.75rem/1.2 'Source Serif', serif; margin-bottom: .3rem}
.ss-card p {margin: .35rem 0} .ss-card-when {font-size: 1rem}
.ss-card-note {font-size: .92rem; line-height: 1.4}
.ss-card-cautions {font-size: .95rem; line-height: 1.4; margin: .5rem 0 0; padding-left: 1.5rem}
.ss-card-cautions li {margin: .25rem 0} .ss-card-cautions li::marker {font-weight: 700}
@media (max-width: 640px) {.ss-card {padding: .6rem .7rem} .ss-card-answer {font-size: 1.4rem}}
@media print {
  .stMainBlockContainer:has(.ss-card) {zoom: 1; padding: 0}
  .stMainBlockContainer:has(.ss-card) h1, .stMainBlockContainer:has(.ss-card) .st-key-cut_screen,
  .stMainBlockContainer:has(.ss-card) .st-key-verdict_bar {display: none}
  .stMainBlockContainer:has(.ss-card) [data-testid="stVerticalBlock"] {gap: 0}
  .ss-card {border: 0; border-bottom: 1px dashed; border-radius: 0; padding: 0 0 2mm; max-height: 138mm}
  .ss-card-answer {font-size: 15pt; margin-bottom: 1mm} .ss-card p {margin: .8mm 0}
  .ss-card-when {font-size: 8.5pt}
  .ss-card .ss-table {font-size: 8.5pt} .ss-card .ss-table thead {display: table-header-group}
  .ss-card .ss-table tr {display: table-row}
  .ss-card .ss-table td, .ss-card .ss-table th {display: table-cell; padding: .4mm 1.2mm}
  .ss-card .ss-table td::before {content: none}
  .ss-card-note {font-size: 7.6pt; line-height: 1.25}
  .ss-card-cautions {font-size: 7.6pt; line-height: 1.25; columns: 2; column-gap: 5mm; margin: 1mm 0 0;
    padding-left: 4mm}
  .ss-card-cautions li {margin: 0 0 .7mm; break-inside: avoid}
}
</style>"""
