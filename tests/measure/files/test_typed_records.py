"""Contents as typed records, and types that several threads need at once."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier, Lock
from time import sleep
from typing import Any

import msgspec
import pytest

from measure.files import typed_records
from measure.files.typed_records import convert_content, decode_json

N_THREADS = 16


class Inner(msgspec.Struct):
    """A part of the others."""

    width_m: float


class Outer(msgspec.Struct):
    """What one thread converts to."""

    name: str
    inner: Inner | None = None


class New(msgspec.Struct):
    """What no other test converts to."""

    inner: Inner


class Newer(msgspec.Struct):
    """What no other test converts to, with `New` in it."""

    new: New


def test_a_content_and_a_json_text_give_the_same_record() -> None:
    # Known input.
    expected = Outer("shelf", Inner(0.5))
    assert convert_content({"name": "shelf", "inner": {"width_m": 0.5}}, Outer) == expected
    assert decode_json(b'{"name": "shelf", "inner": {"width_m": 0.5}}', Outer) == expected


def test_a_wrong_content_is_refused() -> None:
    # Known input: the place of the fault is named, which the messages for people need.
    with pytest.raises(msgspec.ValidationError, match=r"inner\.width_m"):
        convert_content({"name": "shelf", "inner": {"width_m": "wide"}}, Outer)
    with pytest.raises(msgspec.ValidationError, match=r"inner\.width_m"):
        decode_json(b'{"name": "shelf", "inner": {"width_m": "wide"}}', Outer)
    with pytest.raises(msgspec.DecodeError):
        decode_json(b"{", Outer)


def test_types_that_many_threads_need_at_once_are_learned_once_and_singly(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Invariant: no two threads learn types at the same time, and none learns one again.
    learned: list[type] = []
    alone = Lock()
    start = Barrier(N_THREADS)
    true_decoder = msgspec.json.Decoder

    def slow_decoder(table: type) -> Any:
        assert alone.acquire(blocking=False), "two threads learn types at once"
        learned.append(table)
        sleep(0.05)  # time for the others to come here too
        decoder = true_decoder(table)
        alone.release()
        return decoder

    def convert(number: int) -> float:
        start.wait(10)
        if number % 2:
            return convert_content({"inner": {"width_m": number}}, New).inner.width_m
        return decode_json(b'{"new": {"inner": {"width_m": %d}}}' % number, Newer).new.inner.width_m

    monkeypatch.setattr(typed_records.msgspec.json, "Decoder", slow_decoder)
    with ThreadPoolExecutor(N_THREADS) as threads:
        assert list(threads.map(convert, range(N_THREADS))) == list(range(N_THREADS))
    assert sorted(table.__name__ for table in learned) == ["New", "Newer"]
