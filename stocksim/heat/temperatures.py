"""Water temperatures of a site's loops: typed and logged ones at hand, computed ones when they are first asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import overload

import numpy as np
from numpy.typing import NDArray

from stocksim.errors import InputError
from stocksim.heat.hourly import site_warmth
from stocksim.site.climate_faults import range_note, short_notes
from stocksim.site.model import SiteFile
from stocksim.site.notes import cycling_notes
from stocksim.site.sentences import placed

FloatArray = NDArray[np.float64]


class LoopTemperatures(Mapping[str, FloatArray]):
    """Water temperature of each loop, shape (days,). [degC]

    Parameters
    ----------
    file : SiteFile
        Tables without faults.
    folder : Path
        Where a weather file is looked up.
    name : str
        File name, for messages.
    held_c : mapping of str to ndarray, shape (days,)
        Typed and logged temperatures; the other loops are computed.
    likeliest_cause : str
        What of the file is most odd, to be told where the heat balance finds a fault; empty where nothing is.

    Raises
    ------
    InputError
        When a computed loop is asked for and the heat balance finds a fault of the site.
    """

    def __init__(self, file: SiteFile, folder: Path, name: str, held_c: Mapping[str, FloatArray],
                 likeliest_cause: str = ""):  # fmt: skip
        self._file, self._folder, self._name, self._cause = file, folder, name, likeliest_cause
        self.held_c = dict(held_c)

    def __getitem__(self, loop: str) -> FloatArray:
        if loop not in self._file.loops:
            raise KeyError(loop)
        return self.held_c[loop] if loop in self.held_c else self._computed[0][loop]

    def __iter__(self) -> Iterator[str]:
        return iter(self._file.loops)

    def __len__(self) -> int:
        return len(self._file.loops)

    @cached_property
    def _computed(self) -> tuple[dict[str, FloatArray], list[str]]:
        """Computed temperatures and what is to be said of them; the hours behind them are let go."""
        try:
            warmth = site_warmth(self._file, self._folder, self.held_c)
        except InputError as error:
            cause = f"; the likeliest is {self._cause}." if self._cause else "."
            faults = [replace(fault, message=fault.message.removesuffix(".") + cause) for fault in error.faults]
            raise InputError(placed(faults, self._name)) from error
        series = {loop: warmth.loop_mean_c(loop) for loop in self if loop not in self.held_c}
        units = self._file.site.units
        return series, [*short_notes(warmth), *(range_note(loop, c, units) for loop, c in series.items())]

    def notes(self) -> list[str]:
        """What the temperatures tell: fishless cycling that is too cold, heaters too small, computed ranges."""
        is_computed = len(self.held_c) < len(self)
        return cycling_notes(self._file, self) + (self._computed[1] if is_computed else [])


class Notes(Sequence[str]):
    """Sentences on a site; those that need its temperatures are made when first read.

    Parameters
    ----------
    *parts : sequence of str, or callable
        Sentences, or what gives them when they are first read.
    """

    def __init__(self, *parts: Sequence[str] | Callable[[], Sequence[str]]):
        self._parts = parts

    @cached_property
    def _all(self) -> tuple[str, ...]:
        return tuple(sentence for part in self._parts for sentence in (part() if callable(part) else part))

    @overload
    def __getitem__(self, place: int) -> str: ...
    @overload
    def __getitem__(self, place: slice) -> tuple[str, ...]: ...
    def __getitem__(self, place: int | slice) -> str | tuple[str, ...]:
        return self._all[place]

    def __len__(self) -> int:
        return len(self._all)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    def __hash__(self) -> int:
        return hash(tuple(self))
