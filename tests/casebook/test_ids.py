"""Ids of visits are UUIDs of version 7."""

from __future__ import annotations

import time
from uuid import RFC_4122, UUID

from hypothesis import given
from hypothesis import strategies as st

from stillflow.casebook.ids import new_id, uuid7


def test_the_example_of_rfc_9562() -> None:
    # RFC 9562 (2024), appendix A.6: Tuesday, February 22, 2022 2:22:22.00 PM GMT-05:00.
    example = uuid7(0x017F22E279B0, 0xCC3, 0x18C4DC0C0C07398F)
    assert str(example) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


@given(st.integers(0, 2**48 - 1), st.integers(0, 2**12 - 1), st.integers(0, 2**62 - 1))
def test_version_variant_and_time_stand_where_the_rfc_puts_them(
    milliseconds: int, rand_a: int, rand_b: int
) -> None:
    made = uuid7(milliseconds, rand_a, rand_b)
    assert made.version == 7
    assert made.variant == RFC_4122
    assert made.int >> 80 == milliseconds
    assert made.int & (2**62 - 1) == rand_b


def test_later_ids_sort_after_earlier_ones() -> None:
    before = time.time_ns() // 1_000_000
    ids = []
    for _ in range(50):
        ids.append(new_id())
        time.sleep(0.0001)
    assert ids == sorted(ids)
    assert len(set(ids)) == 50
    times = [UUID(one).int >> 80 for one in ids]
    assert before <= times[0] <= times[-1] <= time.time_ns() // 1_000_000
