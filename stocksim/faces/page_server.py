"""The pages' server: Streamlit's command, which asks nobody outside and keeps the last entry of a page that goes."""

from __future__ import annotations

from streamlit import net_util
from streamlit.runtime.app_session import AppSession
from streamlit.web import cli

from stocksim.faces.serving import own_address


def _nobody_asked() -> None:
    """In place of a web request that tells which address the house has outside."""


def _run_on(session: AppSession) -> None:
    """In place of a run's stop when its page goes: a run just asked for would be dropped, and with it the entry."""


def main() -> None:
    """Run Streamlit's command line."""
    # Streamlit would ask a web service when a page of another address knocks; such a page is refused without asking
    net_util.get_external_ip = _nobody_asked
    net_util.get_internal_ip = lambda: own_address() or None
    AppSession.request_script_stop = _run_on  # type: ignore[assignment, method-assign]
    cli.main(prog_name="streamlit")


if __name__ == "__main__":
    main()
