"""Every error and warning the toolkit raises on purpose.

A wrong *argument* is a ``ValueError``: a programmer erred. A wrong *record* or a question that
cannot be answered is a ``ToolkitError``: a person can mend it, so its message says what was wanted,
what came and what to do. The terminal catches ``ToolkitError`` alone.
"""


class ToolkitError(Exception):
    """A person is needed; the message is the sentence to show them."""


class RecordsError(ToolkitError):
    """A sheet or a records file cannot be read, or does not hold what it must."""


class StoreLockedError(ToolkitError):
    """Another process holds the records file."""


class ConvergenceError(ToolkitError):
    """A sampled model did not settle; no number of it is released."""


class StaleFitError(ToolkitError):
    """A kept fit belongs to another version of the model or of the priors."""
