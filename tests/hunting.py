"""How many random examples a test tries: all where new ones are hunted, half where the same are tried each time."""

from __future__ import annotations

import os


def examples(number: int) -> int:
    """Of the examples that a developer's run tries, those of CI: at it again they find what they found, or nothing."""
    return max(number // 2, 1) if os.environ.get("CI") else number
