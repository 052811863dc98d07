"""The command line: one file a command, each with one function of the same name; `shell` puts them together."""

from .shell import main

__all__ = ["main"]
