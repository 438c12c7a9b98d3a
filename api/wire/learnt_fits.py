"""What reports have taught, in JSON's own types."""

from typing import Any

from api.wire.moments import moment_json
from api.wire.schemas import MOMENT, NUMBER, TEXT, WHOLE, listing, nullable, shape, words
from jobs.models import LearntFit, LearntSize


def learnt_fit_body(fit: LearntFit) -> dict[str, Any]:
    """One subject: from when to when its readings are, how many, and what they say by cable size."""
    return {
        "subject": fit.subject,
        "title": fit.get_subject_display(),
        "made_at": moment_json(fit.made_at),
        "first_at": moment_json(fit.first_at),
        "last_at": moment_json(fit.last_at),
        "reading_count": fit.reading_count,
        "covered_count": fit.covered_count,
        "prior": fit.prior,
        "between_sd": fit.between_sd,
        "within_sd": fit.within_sd,
        "between_variances": fit.between_variances,
        "sizes": [_size(row) for row in fit.sizes.all()],
    }


def _size(row: LearntSize) -> dict[str, Any]:
    return {
        "cable_size": row.cable_size.designation if row.cable_size is not None else None,
        "covered_count": row.covered_count,
        "mean": row.mean,
        "sd": row.sd,
        "mean_sd": row.mean_sd,
        "low": row.low,
        "high": row.high,
    }


_OBJECT: dict[str, Any] = {"type": "object"}
COMPONENTS = {
    "LearntFit": shape(
        subject=words(LearntFit.Subject),
        title=TEXT,
        made_at=MOMENT,
        first_at=MOMENT,
        last_at=MOMENT,
        reading_count=WHOLE,
        covered_count={**WHOLE, "description": "spans, runs for projectiles, uses for fittings"},
        prior={**_OBJECT, "description": "the company's estimate that the readings were added to"},
        between_sd=nullable(NUMBER),
        within_sd=nullable(NUMBER),
        between_variances={
            **_OBJECT,
            "additionalProperties": NUMBER,
            "description": "between sizes, by each of the classical estimators",
        },
        sizes=listing(
            shape(
                cable_size={**nullable(TEXT), "description": "null is a size never seen"},
                covered_count=WHOLE,
                mean={**NUMBER, "description": "of the next span, run or use"},
                sd=NUMBER,
                mean_sd=NUMBER,
                low={**NUMBER, "description": "nine of ten lie from here"},
                high={**NUMBER, "description": "to here"},
            )
        ),
    )
}
