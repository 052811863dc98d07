"""Where a figure goes: the format follows from the suffix, and what cannot be written is refused beforehand."""

from __future__ import annotations

import io
import os
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import InputError
from ..files.whole import check_place, put
from ..scenario.wording import table_lines
from .style import PAGE

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMATS = ("png", "pdf", "svg")
_DOTS_PER_INCH = 300


def check_path(path: str | Path) -> Path:
    """The path of a figure, if it can be written; call it before the work is done.

    InputError for a suffix that is none of FORMATS, a folder that does not exist or cannot be written to, and a path
    that is a folder or a file that cannot be replaced.
    """
    path = Path(path)
    if path.suffix.lower().lstrip(".") not in FORMATS:
        given = f"the ending {path.suffix}" if path.suffix else "no ending"
        allowed = ", ".join(f".{name}" for name in FORMATS)
        raise InputError(str(path), f"{given} is given, a figure may end in {allowed}; choose one of them")
    folder = path.parent
    if not folder.is_dir():
        raise InputError(str(path), f"{folder} is not a folder; create it or write the figure to one that exists")
    if path.is_dir():
        raise InputError(str(path), "this is a folder, a figure is a file; give another name")
    if not os.access(path if path.exists() else folder, os.W_OK):
        what = "this file" if path.exists() else f"the folder {folder}"
        raise InputError(str(path), f"{what} cannot be written to; choose a place that can")
    check_place(path)
    return path


def write_figure(figure: Figure, path: str | Path) -> Path:
    """Write a figure; the same figure gives the same bytes, so no date goes into the file.  Errors as in check_path."""
    path = check_path(path)
    suffix = path.suffix.lower().lstrip(".")
    undated: dict[str, Any] = {"png": {}, "pdf": {"CreationDate": None}, "svg": {"Date": None}}[suffix]
    image = io.BytesIO()
    _escape(figure)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing from")  # of a name in a script that the font lacks: a box
        figure.savefig(image, format=suffix, dpi=_DOTS_PER_INCH, facecolor="white", metadata=undated)
    put(path, image.getvalue())
    return path


def _escape(figure: Figure) -> None:
    """Write control characters, of names that a file holds, as escapes: XML has none, and a terminal obeys them."""
    from matplotlib.text import Text

    for text in figure.findobj(Text):
        if (shown := table_lines(text.get_text())) != text.get_text():
            text.set_text(shown)


def save_page(path: str | Path, draw: Callable[[Any], Figure], subject: Any) -> Path:
    """Draw a page of something and write it; a path that cannot be written is refused before.  Errors: InputError."""
    from matplotlib import rc_context

    check_path(path)
    figure = draw(subject)
    with rc_context(PAGE):
        return write_figure(figure, path)
