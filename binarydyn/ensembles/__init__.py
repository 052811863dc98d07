"""On which workers: threads, processes, a cluster or a GPU compute the members of a design."""

from .backends import BACKENDS, POOL, Backend, rows_of
from .pool import Pool

__all__ = ["BACKENDS", "POOL", "Backend", "Pool", "rows_of"]
