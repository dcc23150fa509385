"""An attribute made once: each instance by itself, and only once by however many threads."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier, Event

from clearance.system.once import Kept, once


class Counted:
    def __init__(self, begun=None, go_on=None):
        self.begun, self.go_on, self.calls = begun, go_on, 0

    @once
    def value(self):
        """What is counted."""
        self.calls += 1
        if self.begun is not None:
            self.begun.set()
            assert self.go_on.wait(20.0)
        return object()


def test_the_value_is_kept():
    one = Counted()
    assert one.value is one.value
    assert one.calls == 1
    assert Counted.value.__doc__ == "What is counted."


def test_instances_do_not_wait_for_one_another():
    slow, quick = Counted(Event(), Event()), Counted()
    with ThreadPoolExecutor(2) as pool:
        waiting = pool.submit(lambda: slow.value)
        assert slow.begun.wait(20.0)
        assert pool.submit(lambda: quick.value).result(20.0) is quick.value
        slow.go_on.set()
        assert waiting.result(20.0) is slow.value


def test_two_threads_make_it_once():
    one, together = Counted(Event(), Event()), Barrier(2)

    def ask():
        together.wait(20.0)
        return one.value

    with ThreadPoolExecutor(2) as pool:
        asked = [pool.submit(ask) for _ in range(2)]
        assert one.begun.wait(20.0)
        one.go_on.set()
        first, second = (a.result(20.0) for a in asked)
    assert first is second
    assert one.calls == 1


def test_what_is_still_worked_out_when_the_last_hold_ends_is_given_and_not_kept():
    kept = Kept()
    kept.hold()

    def make():
        kept.let_go()
        return "cells"

    assert kept.get_if_held("key", make) == "cells"
    assert kept.get("key", lambda: "made anew") == "made anew"


def test_a_hold_that_ends_while_a_kept_value_is_asked_for_does_not_take_it_away():
    kept = Kept()

    class Key:
        """Equal to itself; the hold ends between the look whether it is kept and the asking."""

        asked = 0

        def __hash__(self):
            self.asked += 1
            if self.asked == 3:  # lock, whether it is kept, value
                kept.let_go()
            return 1

    key = Key()
    kept.hold()
    assert kept.get_if_held(key, lambda: "cells") == "cells"
