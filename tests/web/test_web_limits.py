"""How often is too often: by hand, with a clock of the test's own."""

from __future__ import annotations

import pytest

from monitor.web.limits import Allowance, neighbourhood


class Seconds:
    """A clock that stands until it is moved."""

    def __init__(self):
        self.at = 1000.0

    def __call__(self):
        return self.at


def test_so_many_at_once_and_so_many_a_second_after_that():
    clock = Seconds()
    allowance = Allowance(at_once=3, per_second=0.5, seconds=clock)
    assert [allowance.wait_s("a") for _ in range(3)] == [0, 0, 0]
    # one every 2 s: nothing is left, so the next is 2 s away
    assert allowance.wait_s("a") == pytest.approx(2.0)
    clock.at += 1.5  # 0.75 of one
    assert allowance.wait_s("a") == pytest.approx(0.5)
    clock.at += 0.5
    assert allowance.wait_s("a") == 0
    assert allowance.wait_s("a") > 0


def test_each_key_has_its_own_and_a_long_pause_gives_no_more_than_at_once():
    clock = Seconds()
    allowance = Allowance(at_once=2, per_second=10, seconds=clock)
    assert [allowance.wait_s("a") for _ in range(3)][:2] == [0, 0]
    assert allowance.wait_s("b") == 0
    clock.at += 3600
    assert [bool(allowance.wait_s("a")) for _ in range(3)] == [False, False, True]


def test_no_crowd_fills_it_and_the_longest_unheard_is_forgotten():
    allowance = Allowance(at_once=1, per_second=1, keys=3, seconds=Seconds())
    for key in "abc":
        allowance.wait_s(key)
    assert allowance.wait_s("a")  # heard again: b is now the one longest unheard
    allowance.wait_s("d")
    assert len(allowance) == 3
    assert allowance.wait_s("a")
    assert allowance.wait_s("b") == 0


@pytest.mark.parametrize(
    ("address", "counted_as"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        # the first 64 bits are the network
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2::99", "2001:db8:1:2::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        (None, "unknown"),
        ("somebody", "unknown"),
    ],
)
def test_what_an_address_is_counted_under(address, counted_as):
    assert neighbourhood(address) == counted_as
