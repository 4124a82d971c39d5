"""How refits share the cores: matches are computed in threads of our own, products of matrices in one thread each."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import wraps
from typing import Final, ParamSpec, TypeVar

from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

#: Matches computed at a time: the compiled steps let other threads run, what is around them does not.
AT_A_TIME: Final = 2

P = ParamSpec("P")
R = TypeVar("R")
T = TypeVar("T")


def with_one_thread_a_product(work: Callable[P, R]) -> Callable[P, R]:
    """The same work with the libraries for matrices held to one thread.

    Products are small and many: on two cores a second thread of the library waits for work in a loop, and takes 40 % of
    the processor from the threads that compute matches.
    """

    @wraps(work)
    def held(*args: P.args, **kwargs: P.kwargs) -> R:
        with threadpool_limits(limits=1, user_api="blas"):
            return work(*args, **kwargs)

    return held


def at_each(work: Callable[[T], R], places: Iterable[T]) -> list[R]:
    """What the work gives at each of several places, in their order, two at a time of each caller."""
    with ThreadPoolExecutor(AT_A_TIME) as pool:
        return list(pool.map(work, places))
