"""The program once more with one of its modules changed, in the same process."""

import importlib
import sys
from contextlib import contextmanager
from importlib.machinery import PathFinder
from types import SimpleNamespace


def is_of_the_program(name):
    return name.partition(".")[0] == "studcurve"


class _Changed:
    """Finds one module and reads its text with a change."""

    def __init__(self, module, old, new):
        self.module, self.old, self.new = module, old, new

    def find_spec(self, name, path=None, target=None):
        if name != self.module:
            return None
        spec = PathFinder.find_spec(name, path)
        plain = spec.loader

        def execute(module):
            text = plain.get_source(name)
            assert text.count(self.old) == 1, f"{self.old!r} stands once in {name}"
            exec(compile(text.replace(self.old, self.new), spec.origin, "exec"), vars(module))

        spec.loader = SimpleNamespace(create_module=lambda spec: None, exec_module=execute)
        return spec


@contextmanager
def changed(module, old, new):
    """Give another copy of every module, one of them with other text, and then the first ones back.

    Yields a function that imports a module of that copy.
    """
    first = {name: kept for name, kept in sys.modules.items() if is_of_the_program(name)}
    finder = _Changed(module, old, new)
    try:
        for name in first:
            del sys.modules[name]
        sys.meta_path.insert(0, finder)
        yield importlib.import_module
    finally:
        sys.meta_path.remove(finder)
        for name in [name for name in sys.modules if is_of_the_program(name)]:
            del sys.modules[name]
        sys.modules.update(first)
