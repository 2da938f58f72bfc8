"""What a calculation is called, made from its own source: what was kept of it counts no more once it changes.

So nobody has to remember to raise a number. The source is read through the import system, and is there in an installed
package as well; nothing is imported for it.
"""

import ast
import hashlib
from collections.abc import Iterator
from functools import cache
from importlib.abc import InspectLoader
from importlib.machinery import ModuleSpec, PathFinder

_CALC = "app.calc."


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
    spec: ModuleSpec | None = None
    whole, where = "", None
    for part in module.split("."):
        whole = f"{whole}.{part}" if whole else part
        spec = PathFinder.find_spec(whole, where)
        where = spec.submodule_search_locations if spec is not None else None
        if spec is None or (where is None and whole != module):
            return None
    loader = spec.loader if spec is not None else None
    return loader.get_source(module) if isinstance(loader, InspectLoader) else None


def _imported(source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)
