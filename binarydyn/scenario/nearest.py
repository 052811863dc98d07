"""Which key somebody probably meant: the wrong unit suffix, the right key in the wrong table, a slip of the pen."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from ..renamed import KEYS, now

LISTED, LISTED_TYPED = "Scenario.known_keys()", "`binarydyn check --keys`"
"""Where all keys are to be seen, from Python and at the command line."""
_UNITS = sorted(
    "m km cm mm au s sec ms min minutes h hr hours d day days y kg g t tons kg_m3 g_cm3 g_cc kg_m_3 t_m3 "
    "km_s m_s cm_s mm_s um_s km_h kms deg rad degrees pa kpa mpa".split(),
    key=len,
    reverse=True,
)


def nearest(word: str, words: Iterable[str], cutoff: float = 0.55) -> str:
    """The closest of `words`, or an empty string where none is close; `cutoff` is difflib's, 1 for equal words."""
    lower = {known.lower(): known for known in words}
    found = difflib.get_close_matches(word.lower(), lower, n=1, cutoff=cutoff)
    return lower[found[0]] if found else ""


def stem(leaf: str) -> str:
    """The name of a quantity without its unit: spin_period_s and spin_period_h have the same one."""
    leaf = leaf.lower()
    for unit in _UNITS:
        if leaf.endswith("_" + unit):
            return leaf[: -len(unit) - 1]
    return leaf


def split(name: str) -> tuple[str, str]:
    """`primary.density_kg_m3` -> (`primary`, `density_kg_m3`)."""
    table, _, leaf = name.rpartition(".")
    return table, leaf


def advice(name: str, known: Iterable[str]) -> str:
    """What to write in place of the unknown key `name` (dotted), given all `known` keys (dotted, tables among them)."""
    if changed := now(name, KEYS):
        return changed
    known = [other for other in known if other != name]
    table, leaf = split(name)
    if table and not any(split(other)[0] == table for other in known) and (close := nearest(name, known)):
        return f"did you mean {close}?"
    here = [_leaf(other) for other in known if split(other)[0] == table]
    for other in here:
        if other.lower() == leaf.lower():
            return f"keys are in small letters: write {other}"
        if stem(other) == stem(leaf):
            return f"the unit is part of the key: write {other}"
    hints = []
    if tables := [_where(other, known) for other in known if _leaf(other) == leaf][:2]:
        hints.append(f"{leaf} belongs in {' or '.join(tables)}")
    if close := nearest(leaf, here):
        hints.append(f"did you mean {close}?")
    rest = f"allowed here are {', '.join(here)}" if here else f"{LISTED} lists all"
    return ", or ".join(hints) or _far(leaf, known) or f"{rest}; write one of them"


def _far(leaf: str, known: list[str]) -> str:
    """The same quantity in another unit, or a slip of the pen, in another table."""
    close = nearest(leaf, map(_leaf, known), 0.8)
    for other in known:
        if stem(_leaf(other)) == stem(leaf) or _leaf(other) == close:
            return f"did you mean {_leaf(other)} in {_where(other, known)}?"
    return ""


def _leaf(name: str) -> str:
    return split(name)[1]


def _where(name: str, known: list[str]) -> str:
    if table := split(name)[0]:
        return f"[[{table.removesuffix('.<row>')}]]" if table.endswith(".<row>") else f"[{table}]"
    is_table = any(other.startswith(name + ".") for other in known)
    return f"a table of its own, [{name}]" if is_table else "the part above the first table"
