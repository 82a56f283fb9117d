"""Keep the linear algebra on one thread."""

from __future__ import annotations

from contextlib import AbstractContextManager

from threadpoolctl import threadpool_limits


def one_blas_thread() -> AbstractContextManager[object]:
    """Return a context in which BLAS uses one thread.

    The blocks here are a few hundred rows: a second thread gains nothing, and on a machine that is otherwise
    busy two threads that wait for each other were measured at 13 times the time of one.
    """
    limits: AbstractContextManager[object] = threadpool_limits(limits=1, user_api="blas")
    return limits
