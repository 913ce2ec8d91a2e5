"""HTML of the pages: verdict, broken limits, tables and badges; every text from outside is escaped."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from html import escape

from stocksim.engine.results.frames import Season
from stocksim.faces.answer import Answer, Chart, Head, Html, Lines, Part, Points, Sentences, Table
from stocksim.faces.palette import (
    CAUTION,
    DARK_FAINT,
    DARK_INK,
    DARK_SHADE,
    DARK_SOUND,
    DARK_TROUBLE,
    FAINT,
    INK,
    PAPER,
    SHADE,
    SOUND,
    TROUBLE,
    species_colour,
    species_dash,
)  # fmt: skip

STYLE = f"""<style>
:root {{--ss-ink: {INK}; --ss-faint: {FAINT}; --ss-shade: {SHADE}; --ss-bad: {TROUBLE}; --ss-good: {SOUND};
  --ss-rule: #d9cfb8}}
@media screen and (prefers-color-scheme: dark) {{
  :root {{--ss-ink: {DARK_INK}; --ss-faint: {DARK_FAINT}; --ss-shade: {DARK_SHADE}; --ss-bad: {DARK_TROUBLE};
    --ss-good: {DARK_SOUND}; --ss-rule: #4a5452}}
  .ss-key, .ss-tank img, [data-testid="stVegaLiteChart"] {{background: {PAPER}; border-radius: 6px;
    padding: .3rem .5rem}}
  .ss-key {{--ss-ink: {INK}; color: {INK}}}
  [data-testid="stButtonGroup"] p {{color: var(--ss-ink)}}
}}
.stApp :is(.stButton, .stDownloadButton, .stFormSubmitButton, .stPopover, .stPageLink, .stFileUploader) :is(button, a),
.stApp :is(.stTextInput, .stNumberInput) input, .stApp summary,
.stApp [data-testid="stButtonGroup"] :is(button, [role="radio"]),
.stApp :is(.stSelectbox, .stMultiSelect) :is(input, button), .stApp .stCheckbox label,
.stApp :is([data-testid="stElementToolbar"], .stDateInput) button {{min-height: 44px}}
.stApp :is([data-testid="stElementToolbar"], .stDateInput) button {{min-width: 44px}}
.stApp details:not([data-testid]) > summary {{align-content: center}}
[data-testid="stHeaderActionElements"] {{display: none}}
.stApp :is(a, button, input, textarea, summary, [role="radio"], [role="slider"]):focus-visible {{
  outline: 3px solid var(--ss-ink) !important; outline-offset: 2px}}
.stMainBlockContainer {{padding: .7rem 1.2rem 2rem; max-width: 1120px}}
.stMainBlockContainer h1 {{font: 700 1.9rem/1.2 'Source Serif', serif; padding: 0; margin: 0}}
.stMainBlockContainer h2 {{font-size: 1.35rem; padding: .6rem 0 .2rem}}
[data-testid="stVegaLiteChart"] {{overflow: hidden}}
[data-testid="stVegaLiteChart"] svg {{max-width: 100%; height: auto; touch-action: pan-y}}
.ss-verdict {{display: flex; gap: .8rem; align-items: center; padding: .7rem 1rem; border-radius: 6px;
  color: {PAPER}; font: 600 1.12rem/1.3 'Source Serif', serif}}
.ss-verdict .mark {{font: 700 1.9rem/1 sans-serif}}
.ss-trouble {{background: {TROUBLE}}} .ss-sound {{background: {SOUND}}} .ss-caution {{background: {CAUTION}}}
.ss-site {{display: block; font: 600 .82rem/1.2 'Source Sans', sans-serif; opacity: .92}}
.ss-answer {{border: 2px solid var(--ss-ink); border-left-width: 8px; border-radius: 4px; padding: .5rem .9rem;
  font: 600 1.15rem/1.35 'Source Serif', serif}}
.ss-bad-answer {{border-color: var(--ss-bad)}}
.ss-old {{background: var(--ss-shade); color: var(--ss-ink); border: 2px dashed var(--ss-ink);
  font-size: 1rem; padding: .45rem 1rem}}
.ss-told {{background: var(--ss-shade); color: var(--ss-ink); border: 2px dashed var(--ss-ink);
  border-radius: 6px; padding: .45rem 1rem;
  font-weight: 600}}
.ss-list {{margin: 0; padding-left: 1.7rem; line-height: 1.4; font-size: 1.02rem}}
.ss-list li {{margin: .35rem 0}} .ss-list li::marker {{font-weight: 700}}
.ss-do {{display: block; padding: .12rem .5rem; margin-top: .1rem; background: var(--ss-shade);
  border-left: 4px solid var(--ss-good)}}
.ss-do b {{color: var(--ss-good)}}
.ss-say {{font-size: 1.05rem; font-weight: 600; padding: .4rem .7rem; line-height: 1.4}}
.ss-table {{border-collapse: collapse; width: 100%; font-size: .95rem; font-variant-numeric: tabular-nums}}
.ss-table th {{text-align: left; border-bottom: 2px solid var(--ss-ink); padding: .25rem .5rem; color: var(--ss-faint);
  font-weight: 600; vertical-align: bottom}}
.ss-table td {{border-bottom: 1px solid var(--ss-rule); padding: .3rem .5rem; vertical-align: top}}
.ss-table td:first-child {{font-weight: 700}}
.ss-bad {{color: var(--ss-bad); font-weight: 700}}
.ss-key {{display: flex; flex-wrap: wrap; gap: .2rem 1.1rem; font-size: .95rem; align-items: center}}
.ss-key span {{white-space: nowrap}} 
.ss-swatch {{display: inline-block; width: 38px; height: 4px; vertical-align: middle; margin-right: .4rem}}
[data-testid="stLayoutWrapper"]:has(> .st-key-verdict_bar) {{position: sticky; top: .3rem; z-index: 60}}
[data-testid="stHeader"] {{display: none}}
.st-key-first_screen {{gap: 1.4rem; align-items: flex-start}}
.st-key-first_screen > :has(.st-key-first_actions) {{flex: 5 1 330px}}
.st-key-first_screen > :has(.st-key-first_picture) {{flex: 6 1 420px}}
.st-key-menu {{border-bottom: 1px solid var(--ss-rule); padding-bottom: .3rem}}
.st-key-menu, .st-key-menu_group {{gap: 0 .1rem; align-items: center}}
.st-key-menu a {{min-height: 44px}}
[data-testid="stLayoutWrapper"]:has(> .st-key-menu_fold) {{display: none}}
.st-key-menu p {{font-size: 1rem}} .st-key-menu .ss-group {{font-size: .86rem; color: var(--ss-faint)}}
.st-key-menu a[aria-current="page"] p {{font-weight: 700}}
.ss-badge {{white-space: nowrap; font-size: .78rem; border: 1.5px solid var(--ss-ink); border-radius: 9px;
  padding: 0 .45rem; margin-left: .3rem}}
.ss-weak {{border-style: dashed; font-weight: 700}} .ss-good {{border-width: 3px}}
.ss-words {{margin: 0}}
[data-testid="stCaptionContainer"] p {{color: var(--ss-faint); opacity: 1}}
[data-testid="stCaptionContainer"] {{opacity: 1}}
.ss-caption {{font-size: .88rem; line-height: 1.4; color: var(--ss-faint)}}
.ss-small {{font-size: .9rem; line-height: 1.45}}
@media (max-width: 1180px) {{
  [data-testid="stLayoutWrapper"]:has(> .st-key-menu_group) {{display: none}}
  [data-testid="stLayoutWrapper"]:has(> .st-key-menu_fold) {{display: block}}
}}
@media screen and (max-width: 1000px) {{
  .ss-table {{font-size: .86rem}} .ss-table :is(th, td) {{overflow-wrap: anywhere; padding: .25rem .3rem}}
  .st-key-first_screen {{flex-direction: column !important; gap: .6rem}}
  .st-key-first_screen > :has(.st-key-first_picture) {{order: -1}}
  .st-key-first_screen > * {{width: 100%; flex: none !important}}
}}
@media (max-width: 640px) {{
  .stMainBlockContainer {{padding: .5rem .8rem 2rem}}
  .stMainBlockContainer h1 {{font-size: 1.25rem}}
  .ss-verdict {{font-size: .98rem; padding: .4rem .6rem; gap: .5rem}}
  .ss-verdict .mark {{font-size: 1.4rem}}
  .st-key-menu {{gap: 0 .3rem}} .st-key-menu p {{font-size: .95rem}}
  /* no room: buttons on Season and Site lead there */
  .st-key-menu .stElementContainer:has(a[href$="start"]) {{display: none}}
  [data-testid="stButtonGroup"] [role="radiogroup"], [data-testid="stButtonGroup"] > div {{flex-wrap: wrap !important;
    overflow: visible !important}}
  .ss-table thead {{display: none}}
  .ss-table tr {{display: grid; grid-template-columns: 1fr 1fr 1fr; padding: .35rem 0;
    border-bottom: 1px solid var(--ss-faint)}}
  .ss-table td {{border: 0; padding: .1rem .2rem; overflow-wrap: anywhere}}
  .ss-table td::before {{content: attr(data-head); display: block; font-size: .74rem; color: var(--ss-faint);
    font-weight: 400}}
  .ss-table td:first-child {{grid-column: 1 / -1; font-size: 1.1rem}}
  .ss-table td[data-head="source"], .ss-table td[data-head="where"] {{grid-column: 1 / -1}}
  .ss-table td:first-child::before {{content: none}}
}}
@media print {{
  header, .stButton, .stDownloadButton, .stPopover,
  .st-key-menu, .st-key-saving_bar, .st-key-fetch, .st-key-try_them {{display: none !important}}
  [data-testid="stLayoutWrapper"]:has(> .st-key-verdict_bar) {{position: static}}
  .stApp, .stMain, [data-testid="stAppViewContainer"], [data-testid="stMain"] {{position: static !important;
    overflow: visible !important; height: auto !important; display: block !important}}
  .stMainBlockContainer {{padding: 0; max-width: none; zoom: .35}}
  ul.ss-list.ss-small {{columns: 3; column-gap: 2rem; max-width: none}}
  .st-key-part_charts {{display: grid !important; grid-template-columns: 1fr 1fr; max-width: 64%}}
  .st-key-first_screen {{display: flex !important; flex-wrap: nowrap !important}}
  .st-key-first_screen > * {{flex: 1 1 0 !important; min-width: 0 !important; width: auto !important}}
  .st-key-first_screen > :has(.st-key-first_picture) {{flex: 0 0 38% !important}}
  .st-key-first_picture [data-testid="stExpander"] {{display: none}}
  [data-testid="stVegaLiteChart"] svg {{width: 100%}}
  * {{print-color-adjust: exact; -webkit-print-color-adjust: exact}}
  @page {{size: A4 portrait; margin: 8mm}}
}}
</style>"""


def label(words: str, instead: str) -> str:
    """Words for a label, a help or a heading, which are rendered as Markdown, or others where they are more than plain.

    Examples
    --------
    >>> label("remove tank_1", "remove this"), label("remove **x** http://y", "remove this")
    ('remove tank_1', 'remove this')
    """
    is_plain = re.fullmatch(r"(?:[^\W_]|[ .,%-]|(?<=[^\W_])_(?=[^\W_]))*", words)
    return words if is_plain else instead


def loop_label(loop: str) -> str:
    """A loop of a sound site in a label or a heading."""
    return f"Loop {plain_underscores(loop)}"


def plain_underscores(words: str) -> str:
    r"""Words for a label or a heading, names of a sound site in them; Markdown takes some underscores for more.

    Examples
    --------
    >>> plain_underscores("Loop _a_b_: water") == r"Loop \_a_b\_: water" == plain_underscores(r"Loop \_a_b\_: water")
    True
    """
    return re.sub(r"(?<!\\)(?:_(?![^\W_])|(?<![^\W_])_)", r"\_", words)


def heading_html(text: str) -> str:
    """The page's heading; a site's name is shown as it is, not as Markdown."""
    return f"<h1>{escape(text)}</h1>"


def verdict_html(text: str, is_trouble: bool, is_caution: bool = False, name: str = "") -> str:
    """The verdict on a site in a coloured bar with a sign, so that it can be read without colour."""
    kind, mark = ("trouble", "&#10007;") if is_trouble else ("sound", "&#10003;")
    if is_caution and not is_trouble:
        kind, mark = "caution", "!"
    whose = f'<span class="ss-site">{escape(name)}</span>' if name else ""
    return (
        f'<div class="ss-verdict ss-{kind}" role="status"><span class="mark" aria-hidden="true">{mark}</span>'
        f"<span>{whose}{escape(text)}</span></div>"
    )


def said_html(text: str, is_trouble: bool, is_caution: bool = False) -> str:
    """A page's own answer: a sign where it is a bad one, never an all-clear, which the bar at the top alone gives."""
    mark = "&#10007;&nbsp;" if is_trouble else "!&nbsp;" if is_caution else ""
    kind = " ss-bad-answer" if is_trouble else ""
    return f'<div class="ss-answer{kind}" role="status">{mark}{escape(text)}</div>'


def group_html(name: str) -> str:
    """Name of a group of links, or the end of one."""
    return f'<span class="ss-group">{escape(name)}{":" if name else "&#124;"}</span>'


def notice_html(text: str) -> str:
    """A notice that what is shown is not the newest text."""
    return f'<div class="ss-verdict ss-old" role="status"><span>{escape(text)}</span></div>'


def told_html(text: str) -> str:
    """A notice about the site's file, above the page's own answer."""
    return f'<div class="ss-told" role="status">{escape(text)}</div>'


def answer_html(text: str) -> str:
    """A sentence that says what to do."""
    return f'<div class="ss-do ss-say">{escape(text)}</div>'


def faults_html(faults: Iterable[str]) -> str:
    """Faults of a site file, one sentence each."""
    items = "".join(f"<li>{escape(fault)}</li>" for fault in faults)
    return f'<ol class="ss-list ss-faults">{items}</ol>'


def fault_html(fault: str) -> str:
    """One fault beside the row it names."""
    return f'<div class="ss-bad">&#10007;&nbsp;{escape(fault)}</div>'


def points_html(points: Points) -> str:
    """Broken limits in the order given, then advice, each with what helps."""
    items = []
    for point in points.items:
        words = point.helps[:1].upper() + point.helps[1:]
        helps = f"<b>What helps:</b> {escape(words)}." if words else ""
        helps = helps or ("" if points.is_sought else "<b>What helps:</b> trying changes&hellip;")
        help_html = f'<span class="ss-do">{helps}</span>' if helps else ""
        items.append((point.is_broken, f"<li>{escape(point.words)}{help_html}</li>"))
    broken = "".join(item for is_broken, item in items if is_broken)
    advice = "".join(item for is_broken, item in items if not is_broken)
    return f'<ol class="ss-list">{broken}</ol><ul class="ss-list ss-small">{advice}</ul>'


def table_html(rows: Sequence[dict[str, str]], bad: Iterable[tuple[int, str]] = ()) -> str:
    """A table that turns into cards on a phone; ``bad`` cells (row, head) carry a sign beside the colour.

    Parameters
    ----------
    rows : sequence of dict of str to str
        Keys are the heads; a text that begins with ``!`` is bad.
    bad : iterable of (int, str)
        More bad cells.

    Returns
    -------
    str
        HTML.
    """
    if not rows:
        return ""
    marked = set(bad)
    heads = "".join(f'<th scope="col">{escape(head)}</th>' for head in rows[0])
    lines = []
    for number, row in enumerate(rows):
        cells = []
        for head, text in row.items():
            is_bad = text.startswith("!") or (number, head) in marked
            body = escape(text.lstrip("!"))
            body = f'<span class="ss-bad">&#10007;&nbsp;{body}</span>' if is_bad else body
            cells.append(f'<td data-head="{escape(head)}">{body}</td>')
        lines.append(f"<tr>{''.join(cells)}</tr>")
    return f'<table class="ss-table"><thead><tr>{heads}</tr></thead><tbody>{"".join(lines)}</tbody></table>'


def numbered_html(sentences: Iterable[str]) -> str:
    """Sentences as a numbered list, for points numbered on a chart."""
    items = "".join(f"<li>{escape(sentence)}</li>" for sentence in sentences)
    return f'<ol class="ss-list ss-small">{items}</ol>'


def badge_html(evidence: str, of: str = "evidence") -> str:
    """Grade of evidence, told by words and border."""
    return f'<span class="ss-badge ss-{escape(evidence)}">{escape(of)} {escape(evidence)}</span>'


def swatch_html(species: str) -> str:
    """Line of a species as the charts draw it."""
    stops, here = [], 0
    for number, step in enumerate(species_dash(species)):
        colour = "transparent" if number % 2 else species_colour(species)
        stops.append(f"{colour} {here}px {here + step}px")
        here += step
    return (
        '<span class="ss-swatch" aria-hidden="true" '
        f'style="background: repeating-linear-gradient(90deg, {", ".join(stops)})"></span>'
    )


def species_key_html(season: Season) -> str:
    """Line, name and grade of evidence of every species of the site."""
    items = [
        f"<span>{swatch_html(key)}{escape(entry.title)}{badge_html(entry.evidence)}</span>"
        for key, entry in season.site.species.items()
    ]
    return f'<div class="ss-key">{"".join(items)}</div>'


def paragraph_html(text: str, head: str = "") -> str:
    """A paragraph of text as it is, not as Markdown, after a bold head."""
    bold = f"<b>{escape(head)}</b> " if head else ""
    return f'<p class="ss-words">{bold}{escape(text)}</p>'


def caption_html(text: str) -> str:
    """A small line below something, of text as it is."""
    return f'<p class="ss-words ss-caption">{escape(text)}</p>'


def bullets_html(sentences: Iterable[str], is_small: bool = True) -> str:
    """Sentences as a list, small where they are background."""
    items = "".join(f"<li>{escape(sentence)}</li>" for sentence in sentences)
    return f'<ul class="ss-list{" ss-small" if is_small else ""}">{items}</ul>'


def words_html(meanings: Mapping[str, str]) -> str:
    """Words and what they mean, folded; not on paper."""
    rows = "".join(f"<dt><b>{escape(term)}</b></dt><dd>{escape(meaning)}</dd>" for term, meaning in meanings.items())
    style = "<style>@media print {.ss-words {display: none}}</style>"
    return f'{style}<details class="ss-words"><summary>Words on this page</summary><dl>{rows}</dl></details>'


def part_html(part: Part) -> str:
    """HTML of a part of an answer; empty for charts, which a page or report draws, and for what only text shows."""
    if isinstance(part, Points):
        return points_html(part)
    if isinstance(part, Chart) or (not isinstance(part, Html) and part.on == "text"):
        return ""
    if isinstance(part, Html):
        return part.html
    if isinstance(part, Head):
        return f"<h2>{escape(part.text)}</h2>"
    if isinstance(part, Table):
        return table_html(part.rows, part.bad)
    if isinstance(part, Lines):
        return f"<pre>{escape(chr(10).join(part.lines))}</pre>"
    return _sentences_html(part)


def _sentences_html(part: Sentences) -> str:
    items = list(part.items)
    if not items:
        return ""
    if part.kind == "answer":
        return answer_html(items[0]) + (bullets_html(items[1:], False) if items[1:] else "")
    if part.kind in ("list", "background"):
        return bullets_html(items, part.kind == "background")
    if part.kind == "numbered":
        return numbered_html(items)
    one = {"do": answer_html, "plain": paragraph_html, "note": caption_html}[part.kind]
    return "".join(map(one, items))


def answer_page_html(answer: Answer) -> str:
    """A whole answer as HTML for a report: heading, verdict, every section; folded ones stay closed until opened."""
    parts = [heading_html(answer.title)] if answer.title else []
    parts += [verdict_html(answer.verdict, answer.is_trouble, answer.is_caution)] if answer.verdict else []
    for section in answer.sections:
        inner = "".join(map(part_html, section.parts))
        if inner and section.folded:
            opened = " open" if section.is_open else ""
            inner = f"<details{opened}><summary>{escape(section.folded)}</summary>{inner}</details>"
        parts.append(inner)
    return "".join(parts)
