"""On which workers: threads, processes, a cluster or a GPU compute the members of a design."""

from .backends import BACKENDS, Backend, rows_of

__all__ = ["BACKENDS", "Backend", "rows_of"]
