"""binarydyn: what a kinetic impact does to the secondary of a binary asteroid.

Results are research estimates and no hazard decision; those belong to the responsible authorities and licensed
practice.  The names that `__init__.pyi` lists, for editors and type checkers too, and the subpackages are imported
when they are first used, so that a command pays only for what it needs.
"""

_OLD = {"apply_impact": "hit", "open_result": "open", "builtin": "example"}


def _listed() -> dict[str, tuple[str, str]]:
    """Each name of `__init__.pyi` with its module and its name there: one to a line, `from .room import A as B`."""
    with open(f"{__path__[0]}/__init__.pyi", encoding="utf-8") as stub:
        rows = [line.split() for line in stub if line.startswith("from")]
    return {alias: (f"{__name__}{module}", name) for _, module, _, name, _, alias in rows}


def _subpackages() -> list[str]:
    from pkgutil import iter_modules

    return [module.name for module in iter_modules(__path__) if module.ispkg]


_NAMES = _listed()
__all__ = sorted(_NAMES)


def __getattr__(name: str):
    from importlib import import_module

    if name in _NAMES:
        module, there = _NAMES[name]
        return getattr(import_module(module), there)
    if name in _OLD:
        raise ImportError(f"binarydyn.{name} is called binarydyn.{_OLD[name]} now", name=name)
    if name in _subpackages():
        return import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, *_subpackages()])
