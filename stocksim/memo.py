"""Answers kept by the content of what they were made from, so that equal work within a process is done once."""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any, Generic, TypeVar

import numpy as np

R = TypeVar("R")
_PLAIN = (type(None), bool, int, float, complex, str, bytes, dt.date, dt.time)
_EXACTLY_PLAIN = frozenset((*_PLAIN, dt.datetime))


def content_key(*things: Any) -> bytes:
    """Digest of all that some values hold: equal for equal content, whatever objects it stands in.

    Parameters
    ----------
    *things : object
        Numbers, texts, dates, arrays, and lists, mappings, named tuples, dataclasses and tables of a site file of them.
        The order counts, also of a mapping. What has a cached property ``content`` stands by that.

    Returns
    -------
    bytes
        16 of them.

    Raises
    ------
    TypeError
        For anything else, whose content cannot be known.

    Examples
    --------
    >>> content_key({"a": 1.0}) == content_key({"a": 1.0}), content_key({"a": 1.0}) == content_key({"a": 2.0})
    (True, False)
    """
    parts: list[Any] = []
    _add(parts, things)
    return hashlib.blake2b(b"".join(parts), digest_size=16).digest()


def written_key(table: Mapping[str, Any]) -> bytes:
    """Digest of tables as a TOML file holds them, quicker than `content_key`; errors as there.

    Examples
    --------
    >>> written_key({"a": [1]}) == written_key({"a": [1]}), written_key({"a": [1]}) == written_key({"a": [1.0]})
    (True, False)
    """
    text = json.dumps(table, default=_of_toml, ensure_ascii=False)
    return hashlib.blake2b(text.encode("utf-8", "surrogatepass"), digest_size=16).digest()


def _of_toml(thing: Any) -> Any:
    """What JSON has no word for; no text of a file can hold the key's first letter."""
    if isinstance(thing, (dt.date, dt.time)):
        return {f"\0{type(thing).__name__}": thing.isoformat()}
    if isinstance(thing, Mapping):
        return dict(thing)
    raise TypeError(f"{type(thing).__name__} is nothing that a site file holds")


def _add(parts: list[Any], thing: Any) -> None:
    """Add a value with its kind and size, so that no two contents run into the same bytes."""
    kind = type(thing)
    if kind in _EXACTLY_PLAIN:
        text = repr(thing).encode()
        parts += (f"{kind.__name__} {len(text)};".encode(), text)
    elif isinstance(thing, (np.ndarray, np.generic)):
        array = np.ascontiguousarray(thing)
        if array.dtype.hasobject:
            raise TypeError("an array of objects has no content that could be a key")
        parts += (f"array {array.dtype.str} {np.shape(thing)};".encode(), array.tobytes())
    elif kind is dict or isinstance(thing, Mapping):
        parts.append(f"mapping {len(thing)};".encode())
        for key, value in thing.items():
            _add(parts, key)
            _add(parts, value)
    elif isinstance(thing, (tuple, list)):
        parts.append(f"{kind.__qualname__} {len(thing)};".encode())
        for part in thing:
            _add(parts, part)
    elif isinstance(getattr(kind, "content", None), cached_property):
        parts += (f"{kind.__qualname__} content;".encode(), thing.content)
    elif isinstance(getattr(kind, "model_fields", None), Mapping):  # a table of a site file
        parts.append(f"{kind.__qualname__};".encode())
        _add(parts, thing.__dict__)
    elif dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        parts.append(f"{kind.__qualname__};".encode())
        for field in dataclasses.fields(thing):
            _add(parts, getattr(thing, field.name))
    elif isinstance(thing, _PLAIN):  # kinds derived from plain ones
        text = repr(thing).encode()
        parts += (f"{kind.__name__} {len(text)};".encode(), text)
    else:
        raise TypeError(f"{kind.__name__} has no content that could be a key")


class Memo(Generic[R]):
    """The latest answers by key; threads may share it.

    Parameters
    ----------
    most : int
        How many are kept; the one longest unused goes first.
    """

    def __init__(self, most: int):
        self.most = most
        self._kept: OrderedDict[bytes, R] = OrderedDict()
        self._lock = threading.Lock()

    def of(self, key: bytes, make: Callable[[], R]) -> R:
        """The kept answer, or a new one, which is kept. Two threads may make the same one; both get the first's."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        made = make()
        with self._lock:
            found = self._kept.setdefault(key, made)
            while len(self._kept) > self.most:
                self._kept.popitem(last=False)
        return found
