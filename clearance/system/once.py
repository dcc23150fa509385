"""What is worked out when it is first asked for, and kept: attributes, and values by key.

In: a method. Out: its value, as an attribute. It stands in for `functools.cached_property`,
which up to Python 3.11 holds one lock for all instances of a class: the passages of a part,
looked at in threads, would wait for one another's nominal search. Here each instance has its
own lock, so that what passages share is still made only once.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from threading import RLock
from typing import Any, Generic, TypeVar, overload

Found = TypeVar("Found")


class once(Generic[Found]):
    """Decorator: the method runs once for each instance, which must have a `__dict__`."""

    def __init__(self, make: Callable[[Any], Found]):
        self.make = make
        self.__doc__ = make.__doc__

    def __set_name__(self, owner: type, name: str) -> None:
        self.name = name

    @overload
    def __get__(self, instance: None, owner: type | None = None) -> once[Found]: ...
    @overload
    def __get__(self, instance: object, owner: type | None = None) -> Found: ...
    def __get__(self, instance: object | None, owner: type | None = None) -> once[Found] | Found:
        if instance is None:
            return self
        kept = instance.__dict__
        # The next time Python finds the value in the instance and does not come here.
        with kept.setdefault(f"_making_{self.name}", RLock()):
            if self.name not in kept:
                kept[self.name] = self.make(instance)
        found: Found = kept[self.name]
        return found


class Kept:
    """Values by key, each worked out once, whichever thread asks first."""

    def __init__(self) -> None:
        self._locks: dict[Hashable, RLock] = {}
        self._values: dict[Hashable, Any] = {}
        self._holders, self._counting = 0, RLock()

    def get(self, key: Hashable, make: Callable[[], Found]) -> Found:
        """The value of a key, worked out if there is none."""
        with self._locks.setdefault(key, RLock()):
            kept = self._values  # the last hold may end while this one is worked out
            if key not in kept:
                kept[key] = make()
            found: Found = kept[key]
            return found

    def get_if_held(self, key: Hashable, make: Callable[[], Found]) -> Found:
        """The same, kept only if somebody holds what is kept."""
        return self.get(key, make) if self._holders else make()

    @property
    def held(self) -> bool:
        """Whether somebody holds what is kept."""
        return self._holders > 0

    def hold(self) -> None:
        """Keep what is asked for from now on, until it is let go as often as it was held."""
        with self._counting:
            self._holders += 1

    def let_go(self) -> None:
        """End one hold; with the last one everything is forgotten."""
        with self._counting:
            self._holders -= 1
            if self._holders == 0:
                self._values = {}
