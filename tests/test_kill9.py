"""Writers killed at random moments: the harness tells a torn set from a whole one, and what promises so stays whole."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from served import FAR_OUT_S

SCRIPT = Path(__file__).resolve().parent / "reliability" / "kill9.py"
# names of `reliability.writers.WRITERS` that promise the old or the new whole set; 200 kills by hand, few here
PROMISED = ["replaced", "season_out", "saved"]

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and SIGKILL")


def killed(writer: str, kills: int) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(SCRIPT), writer, "--kills", str(kills)]
    return subprocess.run(command, capture_output=True, text=True, timeout=FAR_OUT_S, check=False)


def test_a_torn_set_is_seen():
    """Each kill falls in the middle of a write four times of five: ten that all miss are one in ten million."""
    ran = killed("plain", 10)
    assert ran.returncode == 1, ran.stdout + ran.stderr
    assert "torn" in ran.stdout


@pytest.mark.parametrize("writer", PROMISED)
def test_a_killed_writer_leaves_the_old_or_the_new_whole_set(writer):
    ran = killed(writer, 10)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "torn" not in ran.stdout
