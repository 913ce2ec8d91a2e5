"""Keys of content: equal for equal content, different where any value differs; the memo keeps the latest."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stocksim.memo import Memo, content_key


class Pair(NamedTuple):
    one: object
    other: object


@dataclasses.dataclass(frozen=True)
class Held:
    one: object
    other: object


PLAIN = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), st.binary(max_size=5), st.dates()
)
THINGS = st.recursive(
    PLAIN,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.text(max_size=3), inner, max_size=3),
        st.builds(Pair, inner, inner),
        st.builds(Held, inner, inner),
        st.lists(st.floats(), max_size=4).map(np.array),
    ),
    max_leaves=8,
)


def told(thing: object) -> str:
    """All that a value holds, in words that differ where the values do."""
    if isinstance(thing, np.ndarray):
        return f"array {thing.dtype} {thing.shape} {thing.tobytes().hex()}"
    if isinstance(thing, Held):
        return f"Held({told(thing.one)}, {told(thing.other)})"
    if isinstance(thing, Pair):
        return f"Pair({told(thing.one)}, {told(thing.other)})"
    if isinstance(thing, dict):
        return "{" + ", ".join(f"{key!r}: {told(value)}" for key, value in thing.items()) + "}"
    if isinstance(thing, list):
        return "[" + ", ".join(map(told, thing)) + "]"
    return repr(thing)


@given(THINGS, THINGS)
def test_keys_are_equal_exactly_where_the_content_is(one, other):
    assert (content_key(one) == content_key(other)) == (told(one) == told(other))
    assert content_key(one, other) != content_key([one, other])


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (1, 1.0), (0.0, -0.0), ("1", 1), (["a", "b"], ["ab"]), ((1, 2), [1, 2]), (Pair(1, 2), (1, 2)),
        (np.zeros(2), np.zeros((2, 1))), (np.zeros(2), np.zeros(2, np.float32)), (np.zeros(0), np.zeros((0, 3))),
        ({"a": 1, "b": 2}, {"b": 2, "a": 1}), (dt.date(2026, 10, 1), "2026-10-01"), (True, 1),
    ],
)  # fmt: skip
def test_alike_is_not_equal(one, other):
    assert content_key(one) != content_key(other)


def test_layout_in_memory_is_no_content():
    table = np.arange(12.0).reshape(3, 4)
    assert content_key(table) == content_key(np.asfortranarray(table)) == content_key(table[::-1][::-1])


@pytest.mark.parametrize("thing", [object(), {1, 2}, np.array([object()]), len, Pair])
def test_what_has_no_known_content_is_refused(thing):
    with pytest.raises(TypeError):
        content_key(thing)


def test_the_memo_makes_once_and_forgets_the_longest_unused():
    made, memo = [], Memo(2)

    def ask(name: str) -> str:
        return memo.of(name.encode(), lambda: made.append(name) or name)

    assert [ask(name) for name in "aabacab"] == list("aabacab")
    assert made == ["a", "b", "c", "b"]


def test_a_failure_is_not_kept():
    memo = Memo(2)
    with pytest.raises(ZeroDivisionError):
        memo.of(b"a", lambda: 1 / 0)
    assert memo.of(b"a", lambda: 3) == 3
