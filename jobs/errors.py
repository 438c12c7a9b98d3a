"""The bases of what jobs refuses; each refusal is named for its fact beside what raises it."""

from inventory.errors import SpanstockError


class WorkRefused(SpanstockError):
    """The state of the work does not allow what was asked for."""

    code = "work_refused"
