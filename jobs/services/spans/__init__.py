"""Taking a job's spans from a list: read, compared with what is there, stored at one stroke."""

from jobs.services.spans.difference import Difference, SpanChange
from jobs.services.spans.importing import SpanImport, import_spans

__all__ = ["Difference", "SpanChange", "SpanImport", "import_spans"]
