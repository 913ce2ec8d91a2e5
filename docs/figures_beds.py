"""The figure and the table of the page on beds: ``python docs/figures_beds.py``."""

from __future__ import annotations

import re
from pathlib import Path

import altair as alt

from stocksim import load_site, run_season
from stocksim.answers.beds.decide import LoopBalance, bed_balance
from stocksim.site.examples import FOLDER

HERE = Path(__file__).resolve().parent
FIGURES = HERE / "figures"
BACKGROUND = "#fbf8f1"
LEGEND = alt.Legend(orient="top", symbolType="stroke", symbolSize=300)
BLOCK = re.compile(r"(<!-- months -->\n)(.*?)(\n<!-- end of months -->)", re.DOTALL)


def demo_main() -> LoopBalance:
    """Cool loop of the demonstration site."""
    return bed_balance(run_season(load_site(FOLDER / "heron_lane.toml")))[0]


def months_table(balance: LoopBalance) -> str:
    """Fixed ratio and seasonal answer, a row a month: the middle week of each."""
    lines = [
        "| week of | light, mol/m2/day | water, degC | feed, g/day | feeding-ratio area, m2 | nitrogen area, m2 | "
        "times | feed the beds ask for, by ratio / by nitrogen, g/day |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for week in balance.weeks[2::4]:
        middle = 0.5 * (week.handbook_low_m2 + week.handbook_high_m2)
        planted = f"{week.handbook_feed_g:.0f} / {week.balance_feed_g:.0f}"
        lines.append(
            f"| {week.first:%-d %b} | {week.light_mol_m2:.0f} | {week.temperature_c:.1f} | {week.feed_g:.0f} | "
            f"{middle:.1f} | {week.balance_m2:.0f} | {week.balance_m2 / middle:.1f} | {planted} |"
        )
    return "\n".join(lines)


def chart(balance: LoopBalance) -> alt.VConcatChart:
    """Draw and feed against their autumn week, a unit each and all together; below both areas."""
    weeks = {week.first: week for week in balance.weeks}
    fall = balance.fall
    assert fall is not None
    start = weeks[fall.reference]
    rows = []
    for week in balance.weeks:
        if week.first < fall.reference:
            continue
        shares = {
            "feed of a kilo of fish": (week.feed_g / week.biomass_kg) / (start.feed_g / start.biomass_kg),
            "draw of the beds": week.draw_g / start.draw_g,
            "feed of all fish": week.feed_g / start.feed_g,
        }
        rows += [{"week": str(week.first), "what": name, "share": 100.0 * share} for name, share in shares.items()]
    areas = [
        {"week": str(week.first), "what": name, "area": value}
        for week in balance.weeks
        for name, value in (
            ("planted", week.planted_m2), ("by nitrogen", week.balance_m2),
            ("by handbook ratio", 0.5 * (week.handbook_low_m2 + week.handbook_high_m2)),
        )
    ]  # fmt: skip
    x = alt.X("week:T", title=None, axis=alt.Axis(format="%b"))
    dash = alt.StrokeDash("what:N", title=None, legend=LEGEND)
    top = alt.Chart(alt.Data(values=rows)).mark_line(strokeWidth=2.2).encode(
        x=x, y=alt.Y("share:Q", title=f"% of the week of {start.first:%-d %b}"), strokeDash=dash,
        color=alt.Color("what:N", title=None, legend=LEGEND, scale=alt.Scale(range=["#3f6f3a", "#a9741f", "#6d6a5c"])),
    )  # fmt: skip
    below = alt.Chart(alt.Data(values=areas)).mark_line(strokeWidth=2.2).encode(
        x=x, y=alt.Y("area:Q", title="m2"), strokeDash=dash,
        color=alt.Color("what:N", title=None, legend=LEGEND, scale=alt.Scale(range=["#a9741f", "#22302f", "#3f6f3a"])),
    )  # fmt: skip
    panels = [panel.properties(width=480, height=170) for panel in (top, below)]
    return (
        alt.vconcat(*panels)
        .resolve_scale(color="independent", strokeDash="independent")
        .properties(background=BACKGROUND)
    )


def draw() -> None:
    """Write the figure, and the table into the page."""
    balance = demo_main()
    FIGURES.mkdir(exist_ok=True)
    chart(balance).configure(font="sans-serif").configure_view(stroke=None).save(str(FIGURES / "beds.svg"))
    page = HERE / "beds.md"
    text = page.read_text(encoding="utf-8")
    page.write_text(BLOCK.sub(lambda match: match[1] + months_table(balance) + match[3], text), encoding="utf-8")


if __name__ == "__main__":
    draw()
