"""Which key somebody probably meant: the wrong unit suffix, the right key in the wrong table, a slip of the pen."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

_UNITS = sorted(
    "m km cm mm au s sec ms min minutes h hr hours d day days y kg g t tons kg_m3 g_cm3 g_cc kg_m_3 t_m3 "
    "km_s m_s cm_s mm_s um_s km_h kms deg rad degrees".split(),
    key=len,
    reverse=True,
)


def nearest(word: str, words: Iterable[str]) -> str:
    """The closest of `words`, or an empty string where none is close."""
    lower = {known.lower(): known for known in words}
    found = difflib.get_close_matches(word.lower(), lower, n=1, cutoff=0.6)
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
    """What to write in place of the unknown key `name` (dotted), given all `known` keys."""
    known = list(known)
    table, leaf = split(name)
    if table and not any(other.startswith(table + ".") for other in known) and (far := nearest(name, known)):
        return f"did you mean {far}?"
    here = [split(other)[1] for other in known if split(other)[0] == table]
    same_stem = [other for other in known if stem(split(other)[1]) == stem(leaf)]
    for other in same_stem:
        if split(other)[0] == table:
            return f"the unit is part of the key: write {split(other)[1]}"
    elsewhere = [_where(other) for other in known if split(other)[1] == leaf and other != name][:2]
    hints = [f"{leaf} belongs in {' or '.join(elsewhere)}"] if elsewhere else []
    if not hints:
        hints = [f"did you mean {split(other)[1]} in {_where(other)}?" for other in same_stem][:1]
    close = nearest(leaf, here)
    if close:
        hints.append(f"did you mean {close}?")
    if not hints and (far := nearest(name, known)):
        hints.append(f"did you mean {far}?")
    if hints:
        return ", or ".join(hints)
    return f"keys allowed here are {', '.join(here)}" if here else "remove it"


def _where(name: str) -> str:
    table = split(name)[0]
    return f"[{table}]" if table else "the part above the first table"
