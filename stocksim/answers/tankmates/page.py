"""Who may share a tank or a loop: the matrix, the reasons, and what could be done instead."""

from html import escape

import streamlit as st

from stocksim.answers.tankmates import words as company_loop_words
from stocksim.answers.tankmates import words as company_words
from stocksim.answers.tankmates.charts import SIGNS, late_words, matrix_chart, windows_chart
from stocksim.answers.tankmates.decide import judge_company
from stocksim.faces import markup, screen
from stocksim.faces.charts import Panel
from stocksim.faces.palette import theme_config
from stocksim.faces.words import day_words
from stocksim.fish.company import VERDICTS

screen.begin()
shown = screen.shown()
season = shown.season

st.html(markup.heading_html("Company"))
if season is None:
    st.html(markup.faults_html(shown.faults))
    st.stop()
if shown.is_last_sound:
    st.html(markup.notice_html(f"Below: the last sound version, {shown.source.name} before the faults."))
company, site = judge_company(season), season.site
units = site.file.site.units
answer, is_trouble = company_words.headline(company)
st.html(markup.verdict_html(answer, is_trouble))
st.html(f"Who may live with whom: {markup.badge_html('weak')} A rule of thumb; it replaces no keeper's eye.")


def draw(chart: Panel, key: str) -> None:
    """A chart as wide as the page, in the house's colours."""
    spec = chart.to_dict(validate=False) | {"config": theme_config()}
    st.vega_lite_chart(spec, theme=None, width="stretch", alt=spec.pop("description"), key=key)


def judged_html(title: str, verdict: str, when: str, said: list[str]) -> str:
    """A pair with its verdict and what speaks against it."""
    sign = f"{SIGNS[verdict]} {verdict}"
    sign = f'<span class="ss-bad">{escape(sign)}</span>' if verdict == "apart" else f"<b>{escape(sign)}</b>"
    reasons = "".join(f"<li>{escape(sentence)}</li>" for sentence in said)
    return f'<li><b>{escape(title)}</b>: {sign}, {escape(when)}<ul class="ss-small">{reasons}</ul></li>'


def pairs_html(pairs: list) -> str:
    """Pairs of cohorts with all their reasons, the gravest pairs first."""
    items = []
    for pair in sorted(pairs, key=lambda pair: -VERDICTS.index(pair.verdict)):
        said = [company_words.ground_sentence(ground, pair, site, units) for ground in pair.grounds]
        said = said or [company_words.pair_reason(pair, site, units)]
        title = company_words.pair_title(pair) + (f" (tank {', '.join(pair.tanks)})" if pair.tanks else "")
        items.append(judged_html(title, pair.verdict, company_words.pair_when(pair), said))
    return f'<ul class="ss-list">{"".join(items)}</ul>'


if company.pairs:
    st.markdown("## Who may share a tank")
    draw(matrix_chart(company), "company_matrix")
    st.html(markup.caption_html(late_words(company)))
    now = [pair for pair in company.pairs if pair.tanks and (pair.a != pair.b or pair.grounds)]
    if now:
        st.markdown("## Sharing a tank now")
        st.html(pairs_html(now))
    asked = [pair for pair in company.pairs if not pair.tanks and pair.a != pair.b]
    if asked:
        with st.expander("Could the others share a tank?"):
            st.html(pairs_html(asked))

for loop in company.loops:
    st.markdown(f"## {markup.loop_label(loop.loop)}: who may share its water")
    shaded = company_loop_words.water_words(loop, units)
    st.html(markup.caption_html(f"Shaded: the season's {shaded}. Bar: grows well; line: bears."))
    draw(windows_chart(loop, company), f"company_windows_{loop.loop}")
    st.html(markup.table_html(company_loop_words.resident_rows(loop, site, units)))
    st.caption(company_loop_words.RESIDENT_WORDS)
    if loop.pairs:
        items = [
            judged_html(
                f"{company_words.name_words(pair.a)} + {company_words.name_words(pair.b)}",
                pair.verdict,
                f"from {day_words(pair.date)}",
                company_loop_words.loop_sentences(pair, site, units),
            )
            for pair in loop.pairs
        ]
        with st.expander("Species by species", expanded=any(pair.verdict == "apart" for pair in loop.pairs)):
            st.html(f'<ul class="ss-list">{"".join(items)}</ul>')
        st.markdown("**What could be done**" if loop.partitions else "**What else suits it**")
        st.html(markup.bullets_html(company_loop_words.loop_offers(loop, site, units), is_small=False))
if any(o.key == "narrow_growth_window" for loop in company.loops for pair in loop.pairs for o in pair.obstacles):
    st.html(markup.answer_html(company_words.NO_SOURCE))

if company.wild:
    st.markdown("## Wild-caught")
    st.html(markup.bullets_html([company_words.wild_sentence(wild, site) for wild in company.wild], is_small=False))
st.markdown("## Keep in mind")
st.html(markup.bullets_html(company_words.cautions(company)))
