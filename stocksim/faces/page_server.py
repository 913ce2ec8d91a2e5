"""The pages' server: Streamlit's own command, which asks nobody outside for this machine's address."""

from __future__ import annotations

from streamlit import net_util
from streamlit.web import cli

from stocksim.faces.serving import own_address


def _nobody_asked() -> None:
    """In place of a web request that tells which address the house has outside."""


def main() -> None:
    """Run Streamlit's command line."""
    # Streamlit would ask a web service when a page of another address knocks; such a page is refused without asking
    net_util.get_external_ip = _nobody_asked
    net_util.get_internal_ip = lambda: own_address() or None
    cli.main(prog_name="streamlit")


if __name__ == "__main__":
    main()
