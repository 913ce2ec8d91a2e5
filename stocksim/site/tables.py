"""What every table of a site file is: known keys only, nothing converted silently, nothing changed afterwards."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """A table whose keys are all known; unknown ones are faults."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, populate_by_name=False)
