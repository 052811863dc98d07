"""The frame around the commands: which there are, how an error becomes one line, and the exit codes.

Exit codes: 0 completed, 1 some outcomes failed, 2 bad input, 130 interrupted, 141 nobody reads on, 143 a sweep that was
terminated.  A command is a function `name` in `commands/name.py` (with _ for -), annotated for typer, that returns an
exit code or None, and a line in COMMANDS; only the file of the wanted command is imported.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import wraps
from importlib import import_module
from importlib.metadata import version

import typer

from ..errors import BinarydynError, InputError
from ..renamed import OPTIONS, now
from ..scenario.nearest import LISTED, LISTED_TYPED
from ..scenario.wording import CAUTION, one_line
from ..terminal.stdout import READER_GONE, ReaderGone, shown

COMMANDS = {
    "check": "Check a scenario file and list non-default values.",
    "describe": "List properties of the system and its surroundings.",
    "predict": "Predict how an impact changes the orbit period and spin.",
    "sweep": "Run predict over a parameter grid or a random sample.",
    "merge": "Combine the partial result files of one sweep.",
    "show": "Summarise a result file and its provenance.",
    "events": "List mutual events before and after the impact.",
    "light-curve": "Simulate the light curve before and after the impact.",
    "plan": "Forecast the precision of an observing campaign.",
    "timing": "Fit the period change to measured event times.",
    "reconstruct": "Reconstruct an impact from event times by the full motion.",
    "coverage": "Test the intervals of timing on simulated truths.",
    "infer": "Infer the velocity change and beta from a measurement.",
    "sensitivity": "Rank uncertain inputs by their Sobol indices.",
    "validate": "Compare with published results and closed forms.",
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit code; an error is exactly one line on stderr."""
    words = list(sys.argv[1:] if argv is None else argv)
    sys.stderr = sys.stderr or open(os.devnull, "w")  # it was closed before we came
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        with shown():
            return _shell(words)(args=words or ["--help"], prog_name="binarydyn", standalone_mode=False) or 0
    except InputError as error:
        return _complain(error.at_the_command_line.replace(LISTED, LISTED_TYPED), 2)
    except BinarydynError as error:
        return _complain(str(error), 1)
    except (KeyboardInterrupt, typer.Abort):
        return _complain("interrupted", 130)
    except ReaderGone:
        return READER_GONE
    except OSError as error:
        return _complain(f"the output could not be written ({error.strerror or error}); choose another place", 1)
    except Exception as error:
        # Usage errors of typer have had several base classes over its versions; what they share is this method.
        if not hasattr(error, "format_message"):
            raise
        option = getattr(error, "option_name", "")
        if changed := now(option, OPTIONS):
            return _complain(f"No such option: {option}; {changed}", 2)
        asked = [word for word in (_wanted(words),) if word in COMMANDS]
        return _complain(f"{error.format_message()} (see {' '.join(['binarydyn', *asked, '--help'])})", 2)


def _complain(sentence: str, code: int) -> int:
    with suppress(OSError):  # nobody reads that either
        print(f"binarydyn: {one_line(sentence)}", file=sys.stderr)
    return code


def _shell(words: Sequence[str]) -> typer.Typer:
    """The command line for these words."""
    shell = typer.Typer(add_completion=False, epilog=CAUTION, rich_markup_mode=None)
    shell.callback(help="Dynamics of binary asteroids and kinetic-impact deflection.", epilog=CAUTION)(_front)
    wanted = _wanted(words)
    for name, sentence in COMMANDS.items():
        shell.command(name, help=sentence, epilog=CAUTION)(_function(name) if name == wanted else _not_wanted)
    return shell


def _wanted(words: Sequence[str]) -> str:
    """The command among the words; empty where there is none."""
    return next((word for word in words if not word.startswith("-")), "")


def _function(name: str) -> Callable[..., int | None]:
    name = name.replace("-", "_")
    function = getattr(import_module(f"{__package__}.{name}"), name)

    @wraps(function)
    def watched(*given, **named) -> int | None:
        # typer would turn it into a silent exit of its own.
        try:
            return function(*given, **named)
        except KeyboardInterrupt:
            return _complain("interrupted", 130)

    return watched


def _not_wanted() -> None:
    """Stands for a command that these words do not run, so that help can list it without importing it."""


def _print_version(asked: bool) -> None:
    if asked:
        print(f"binarydyn {version('binarydyn')}\n{CAUTION}")
        raise typer.Exit


def _front(
    show_version: bool = typer.Option(
        False, "--version", help="Print the version.", callback=_print_version, is_eager=True
    ),
) -> None:
    """What comes before the command."""
