"""What a calculation is called, made from its own source: what was kept of it counts no more once it changes.

So nobody has to remember to raise a number. The source is read through the import system, and is there in an installed
package as well; nothing is imported for it.
"""

import hashlib
import re
from collections.abc import Iterator
from functools import cache
from importlib.abc import InspectLoader
from importlib.machinery import ModuleSpec, PathFinder

_CALC = "app.calc."

_IMPORT = re.compile(r"^[ \t]*(?:from +([\w.]+) +import *(\([^)]*\)|[^\n#]*)|import +([^\n#]*))", re.MULTILINE)
"""An import, inside a function too. Python's own parser takes twenty times as long, at each start."""

_NAME = re.compile(r"([\w.]+)(?: +as +\w+)?")


@cache
def name(*modules: str) -> str:
    """The present name of a calculation: it changes with the text of the modules and of each module of `app.calc` they
    come to use.

    Parameters
    ----------
    modules : str
        Full names of the modules that do the calculation, those of services one by one.
    """
    found: dict[str, str] = {}
    waiting = list(modules)
    while waiting:
        one = waiting.pop()
        if one not in found and (source := _source(one)) is not None:
            found[one] = source
            waiting += [used for used in _imported(source) if used.startswith(_CALC)]
    assert set(modules) <= set(found), "a module without a source"
    told = "\0".join(f"{one}\0{found[one]}" for one in sorted(found))
    return hashlib.sha256(told.encode()).hexdigest()[:16]


def _source(module: str) -> str | None:
    """A module's source; nothing where there is no such module, as for a function that is imported by its name."""
    spec = _spec(module)
    loader = spec.loader if spec is not None else None
    return loader.get_source(module) if isinstance(loader, InspectLoader) else None


@cache
def _spec(module: str) -> ModuleSpec | None:
    room, _, _ = module.rpartition(".")
    above = _spec(room) if room else None
    if room and (above is None or above.submodule_search_locations is None):
        return None
    return PathFinder.find_spec(module, above.submodule_search_locations if above else None)


def _imported(source: str) -> Iterator[str]:
    """The modules a source imports, and what it takes out of them, as far as those may be modules."""
    for found in _IMPORT.finditer(source):
        module, taken, plain = found.groups()
        if module:
            yield module
            yield from (f"{module}.{name}" for name in _NAME.findall(taken))
        else:
            yield from _NAME.findall(plain)
