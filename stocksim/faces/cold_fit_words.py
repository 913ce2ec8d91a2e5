"""A fit of the heat balance to a log, in words."""

from __future__ import annotations

from stocksim.faces.cold_data import BELIEVED, hard_to_believe
from stocksim.faces.wrapping import wrapped
from stocksim.planning.cold_fit import HeatFit


def _wrapped(text: str, indent: str) -> str:
    return "\n".join(wrapped(text, indent))


def fit_text(fit: HeatFit) -> str:
    """What to write into the site file, and how far to trust it."""
    lines = [
        f"Fitted to {fit.days} logged days of loop {fit.loop}. Under [greenhouse] write:",
        *(f"{key} = {value:.3f}    # known within a factor of {fit.uncertainty[key]:.2f}"
          for key, value in fit.factors.items()),
        _wrapped(
            f"Misfit (root mean square of the day's mean): {fit.rms_before_c:.2f} degC before, {fit.rms_after_c:.2f} "
            f"degC after; mean error after {fit.bias_after_c:+.2f} degC.", ""
        ),
    ]  # fmt: skip
    if fit.is_on_normals:
        lines.append(
            _wrapped(
                "The weather was monthly normals, so the log's own cold and warm spells are part of the misfit: a "
                'weather file of the same days (kind = "file") fits far better.', ""
            )
        )  # fmt: skip
    for key in hard_to_believe(fit):
        lines.append(
            _wrapped(
                f"Do not take {key} over unseen: {fit.factors[key]:.2f} lies outside {BELIEVED[0]:g} to "
                f"{BELIEVED[1]:g} (our choice), so the house is hardly as the site file says. Check sizes, cover, "
                "leaks, heaters, and the place and hour of the log first.", ""
            )
        )  # fmt: skip
    if any(value > 1.4 for value in fit.uncertainty.values()):
        lines.append("A factor known no better than 1.4 is hardly told by this log; leave it at 1.")
    return "\n".join(lines)
