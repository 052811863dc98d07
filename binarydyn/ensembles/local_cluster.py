"""Scheduler and workers of a cluster on this machine, without the pages and figures that they offer to a browser.

The library serves those over HTTP even where its dashboard is switched off: to everybody who has a login here.
"""

from __future__ import annotations

from typing import Any

import distributed


class Scheduler(distributed.Scheduler):
    """One that listens to its workers and its client alone."""

    def start_http_server(self, *_: Any, **__: Any) -> None:
        """Nothing."""


class Worker(distributed.Worker):
    """One that listens to its scheduler and other workers alone."""

    def start_http_server(self, *_: Any, **__: Any) -> None:
        """Nothing."""
