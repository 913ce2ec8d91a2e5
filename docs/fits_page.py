"""The page docs/fits.md and its figure, written from the species files and the check points."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np

from stocksim.library.sources import Entry
from stocksim.library.species import load_species

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))  # pytest loads this file from another folder

from check_points import CHECKS, SPECIES, Check, Fish  # noqa: E402

PAGE = HERE / "fits.md"
FIGURE = HERE / "figures" / "fits.svg"
FREE = (
    "intake_scale", "intake_exponent", "appetite_optimum", "appetite_upper_zero", "appetite_q10",
    "no_feeding_below", "cold_ramp_width",
)  # fmt: skip
HAND = (
    "maintenance_at_20", "maintenance_q10_cold", "maintenance_q10_warm", "growth_efficiency",
    "fasting_loss_fraction", "body_energy", "body_protein", "fitted_feed_energy", "fitted_feed_protein",
)  # fmt: skip

INTRODUCTION = """# How the fish species were fitted

This page is written by `python docs/refit.py`; do not edit it by hand. `python docs/refit.py --check` fails
when a species file differs from a fresh fit by more than 0.5 % or when this page is stale. The points,
their sources and how much of each source was read stand in `docs/check_points.py`.

**Read this first.** Seven numbers per species (how much it eats and how that changes with temperature) are
fitted to the few published growth figures listed below; maintenance, growth efficiency, body energy and
body protein are set by hand, and maintenance was set with D10, D13 and the feed conversions in view. Points
marked *fit* were seen by the fit: they show **calibration, not validation**. The fit is pulled weakly to an
earlier trial fit that had itself seen every D point, so D points marked *no* are only partly independent; E
points were used for no number at all and are the nearest thing to a test. Optimum, upper zero and Q10
describe a curve; do not quote them as physiology. Stock, strain, density, light and meals together move
growth by 40 % either way.

Method: bounded least squares with scipy from four seeded starts. Each miss is counted in quarters of its
tolerance; points that are only a range count when outside it. Tolerances were set before the fit and never
widened. The pull to the trial fit has a standard width of 25 % in intake scale, 0.04 in exponent, 1.5 degC
in optimum, 2 degC in hump width, 35 % in hump exponent, 1 degC in no-feeding temperature and 2.5 degC in
ramp width. The hump exponent (which stands for Q10) is kept at 1.02 or more, so that appetite does not fall
off a cliff at the hot edge; largemouth bass and channel catfish lie on that bound. Spans are the 5-95 %
range of the linearized fit with that pull; where no point bears on a number the span is simply that of the
pull. Feed is feed *eaten*; spilled feed is added by the ration.
"""


class Result(NamedTuple):
    """A check with what the shipped species file gives."""

    check: Check
    modelled: float

    @property
    def passed(self) -> bool:
        return self.check.low <= self.modelled <= self.check.high

    def miss(self) -> str:
        check = self.check
        if check.expect is not None:
            return f"{100.0 * (self.modelled / check.expect - 1.0):+.1f} %"
        if self.passed:
            return "inside"
        return f"{self.modelled - (check.high if self.modelled > check.high else check.low):+.3g}"


def results(entry: Entry) -> list[Result]:
    """Every check of a species with the modelled value."""
    fish = Fish(entry.__getitem__)
    return [Result(check, np.squeeze(check.value(fish)).item()) for check in CHECKS if check.species == entry.name]


def _range(check: Check) -> str:
    return f"below {check.high:g}" if check.low < 0.0 else f"{check.low:.4g} to {check.high:.4g}"


def _parameters(entry: Entry) -> list[str]:
    lines = ["| value | | unit | plausible span | how |", "|---|---|---|---|---|"]
    for key in (*FREE, *HAND):
        value = entry.values[key]
        span = "" if value.low is None else f"{value.low:g} to {value.high:g}"
        how = "fitted" if value.source.startswith("fit") else f"{entry.sources[value.source].read}: {value.where}"
        lines.append(f"| {key} | {value.value:g} | {value.unit} | {span} | {how} |")
    return lines


def _checks(found: list[Result]) -> list[str]:
    lines = [
        "| point | what | published | tolerance | modelled | miss | | seen by the fit | source |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for result in found:
        check = result.check
        published = "" if check.expect is None else f"{check.expect:g}"
        verdict, seen = "pass" if result.passed else "**FAIL**", "fit" if check.used else "no"
        lines.append(
            f"| {check.id} | {check.what} | {published} | {_range(check)} | {result.modelled:.3g} "
            f"| {result.miss()} | {verdict} | {seen} | {check.source} |"
        )
    return lines


def text() -> str:
    """The whole page."""
    entries = [load_species(name) for name in SPECIES]
    found = {entry.name: results(entry) for entry in entries}
    every = [result for name in SPECIES for result in found[name]]
    seen = [result for result in every if result.check.used]
    failing = [result for result in every if not result.passed]
    lines = [INTRODUCTION, "![Modelled over published value with its tolerance](figures/fits.svg)", ""]
    lines += ["## What passes and what fails", ""]
    lines.append(
        f"{sum(r.passed for r in every)} of {len(every)} numbers lie inside their tolerance. "
        f"{len(seen)} of the {len(every)} were seen by the fit. Failing:"
    )
    lines.append("")
    for result in failing:
        check = result.check
        lines.append(
            f"- **{check.id}, {check.species}**: {check.what}: modelled {result.modelled:.3g}, tolerance "
            f"{_range(check)}, miss {result.miss()}. {EXPLAINED.get(check.id, '')}".rstrip()
        )
    lines += ["", "## How far to trust each species", "", "| species | evidence | summary |", "|---|---|---|"]
    lines += [f"| {entry.name} | {entry.evidence} | {entry.summary} |" for entry in entries]
    weak = ", ".join(entry.name for entry in entries if entry.evidence == "weak")
    lines += [
        "", f"**Weak: {weak}.** Their growth or limits rest on memory, on an assumption or on sources that "
        "disagree; treat their dates as guesses until you have weighed your own fish.", "",
    ]  # fmt: skip
    for entry in entries:
        used = sum(result.check.used for result in found[entry.name])
        free = sum(entry.values[key].source.startswith("fit") for key in FREE)
        lines += [
            f"## {entry.title}", "", f"Table of {entry.name}; evidence {entry.evidence}; {free} free numbers "
            f"against {used} points seen by the fit.", "", *_checks(found[entry.name]), "",
            *_parameters(entry), "",
        ]  # fmt: skip
    return "\n".join(lines).rstrip() + "\n"


EXPLAINED = {
    "D2 fcr": "Growth is right, feed use is too low: such small fish spill or burn more than the model has "
    "it. A practical factor of 1.4 instead of 1.2 would be needed, so plan more feed for fish below 5 g.",
    "E4": "A cage series on 46-56 % protein feed grew bass about twice as fast as the two trials fitted here "
    "(D8, D9). Both cannot hold for one stock; the slow side is shipped.",
}


def draw() -> None:
    """The figure: modelled over published value of each point that has one, with its tolerance."""
    import altair as alt

    rows = []
    for name in SPECIES:
        for check, modelled in results(load_species(name)):
            if check.expect is not None:
                low, high = max(check.low, 0.0) / check.expect, check.high / check.expect
                rows.append(
                    {
                        "point": f"{name.replace('_', ' ')} {check.id}",
                        "ratio": round(modelled / check.expect, 4),
                        "low": round(low, 4),
                        "high": round(high, 4),
                        "seen": "seen by the fit" if check.used else "not seen",
                    }
                )
    base = alt.Chart(alt.Data(values=rows)).encode(y=alt.Y("point:N", sort=None, title=None))
    axis = alt.X("low:Q", title="modelled / published (bar: tolerance)", scale=alt.Scale(domain=[0.1, 1.9]))
    band = base.mark_bar(color="#d9cdb4", height=5).encode(x=axis, x2="high:Q")
    dots = base.mark_point(size=45, filled=True, opacity=1).encode(
        x="ratio:Q",
        color=alt.Color("seen:N", title=None, scale=alt.Scale(range=["#b5532a", "#1f4e5f"])),
        shape=alt.Shape("seen:N", title=None, scale=alt.Scale(range=["diamond", "circle"])),
    )
    one = alt.Chart(alt.Data(values=[{"x": 1}])).mark_rule(color="#555", strokeDash=[3, 3]).encode(x="x:Q")
    chart = (band + one + dots).properties(width=420, height=13 * len(rows), background="#fbf8f1")
    FIGURE.parent.mkdir(exist_ok=True)
    chart.configure(font="sans-serif").configure_view(stroke=None).save(str(FIGURE))
