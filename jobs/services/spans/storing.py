"""Storing a computed difference, within the caller's one transaction."""

from collections.abc import Callable, Iterable

from inventory.models import ExternalReference, Place
from inventory.services.bulk_rows import chunked, insert_rows, take_keys
from jobs.models import AccessPoint, CrewDayStep, Job, Run, Span
from jobs.services.spans.difference import Difference
from jobs.services.spans.known import SPAN_NOUN, KnownJob, KnownRun
from jobs.services.spans.listed import ListedSpan

CHANGED_SPAN_FIELDS = (
    "run_id",
    "sequence",
    "cable_size_id",
    "length_um",
    "entered_length",
    "entered_unit",
    "near_id",
    "far_id",
    "bends",
    "slack_um",
    "split_from_id",
    "was_extracted_before_start",
)
PLACE_FIELDS = ("id", "code", "name", "kind", "parent_id")


class SpanStore:
    """The rows of one job while a difference is written to them. Keys are known before rows are written."""

    def __init__(
        self,
        job: Job,
        runs: dict[str, list[ListedSpan]],
        known: KnownJob,
        report: Callable[[str, int, int], None],
    ) -> None:
        self.job = job
        self.listed_runs = runs
        self.known = known
        self.points = {name: key for name, (key, _kind) in known.points.items()}
        self.runs = {name: (run.pk, run.place_id) for name, run in known.runs.items()}
        self.spans = {name: span.pk for name, span in known.spans.items()}
        self._report = report

    def store(self, difference: Difference) -> None:
        touched = [*difference.added, *(change.listed for change in difference.changed)]
        steps: list[tuple[str, Callable[[], None]]] = [
            ("access points", lambda: self._store_points(touched)),
            ("runs", lambda: self._store_runs(touched)),
            ("spans", lambda: self._add_spans(difference)),
            ("changes", lambda: self._change_spans(difference)),
            ("withdrawals", lambda: self._withdraw(difference)),
            ("references", lambda: self._store_references(touched)),
        ]
        for number, (what, write) in enumerate(steps):
            self._report(f"Storing {what}", number, len(steps))
            write()

    def _store_points(self, touched: Iterable[ListedSpan]) -> None:
        kinds: dict[str, str] = {}
        for listed in touched:
            for name, kind in ((listed.near, listed.near_kind), (listed.far, listed.far_kind)):
                kinds[name] = kind or kinds.get(name, "")
        new = [name for name in kinds if name not in self.points]
        keys = take_keys(AccessPoint, len(new))
        insert_rows(
            AccessPoint,
            ("id", "job_id", "name", "kind"),
            ((key, self.job.pk, name, kinds[name]) for key, name in zip(keys, new, strict=True)),
        )
        self.points.update(zip(new, keys, strict=True))
        for name, (key, kind) in self.known.points.items():
            if kinds.get(name) and kinds[name] != kind:
                AccessPoint.objects.filter(pk=key).update(kind=kinds[name])

    def _store_runs(self, touched: Iterable[ListedSpan]) -> None:
        names = list(dict.fromkeys(listed.run for listed in touched))
        new = [name for name in names if name not in self.known.runs]
        place_keys = self._add_places(Place.Kind.RUN, [(name, self.job.place_id) for name in new])
        keys = list(take_keys(Run, len(new)))
        insert_rows(
            Run,
            (
                "id",
                "job_id",
                "name",
                "cable_size_id",
                "place_id",
                "is_derived",
                "was_cleaned_before_start",
                "was_blown_before_start",
            ),
            (
                (key, self.job.pk, name, size, place, is_derived, cleaned, blown)
                for key, place, name in zip(keys, place_keys, new, strict=True)
                for size, is_derived, cleaned, blown in [self._run_values(name)]
            ),
        )
        self.runs.update((name, (key, place)) for name, key, place in zip(new, keys, place_keys, strict=True))
        for name in names:
            if name in self.known.runs:
                self._change_run(self.known.runs[name])

    def _run_values(self, name: str) -> tuple[int, bool, bool, bool]:
        first = self.listed_runs[name][0]
        size = self.known.sizes[first.cable_size]
        return size, first.is_run_derived, "cleaned" in first.done, "blown" in first.done

    def _change_run(self, run: KnownRun) -> None:
        """Bring a run up to its list: most have nothing new, and a statement each would take long."""
        first = self.listed_runs[run.name][0]
        changes: dict[str, object] = {}
        if run.cable_size != first.cable_size:
            changes["cable_size"] = self.known.sizes[first.cable_size]
        if run.is_withdrawn:
            changes["is_withdrawn"] = False
            Place.objects.filter(pk=run.place_id).update(is_withdrawn=False)
        if "cleaned" in first.done and not run.is_cleaned:
            changes["was_cleaned_before_start"] = True
        if "blown" in first.done and not run.is_blown:
            changes["was_blown_before_start"] = True
        if changes:
            Run.objects.filter(pk=run.pk).update(**changes)

    def _add_spans(self, difference: Difference) -> None:
        new = [listed for listed in difference.added if listed.name not in self.known.spans]
        places = self._add_places(
            Place.Kind.SPAN, [(listed.name, self.runs[listed.run][1]) for listed in new]
        )
        keys = take_keys(Span, len(new))
        insert_rows(
            Span,
            ("id", "job_id", "name", "place_id", *CHANGED_SPAN_FIELDS),
            (
                (key, self.job.pk, listed.name, place, *self._span_values(listed, difference))
                for key, place, listed in zip(keys, places, new, strict=True)
            ),
        )
        self.spans.update((listed.name, key) for listed, key in zip(new, keys, strict=True))

    def _span_values(self, listed: ListedSpan, difference: Difference) -> tuple[object, ...]:
        """The values of `CHANGED_SPAN_FIELDS`."""
        cut_from = difference.split.get(listed.name)
        return (
            self.runs[listed.run][0],
            listed.sequence,
            self.known.sizes[listed.cable_size],
            listed.length_um,
            listed.entered_length,
            listed.entered_unit,
            self.points[listed.near],
            self.points[listed.far],
            listed.bends,
            listed.slack_um,
            cut_from.pk if cut_from else None,
            "extracted" in listed.done,
        )

    def _change_spans(self, difference: Difference) -> None:
        changed = [change.listed for change in difference.changed]
        # A span that was withdrawn and stands in the list again goes on with its place and its history.
        changed += [listed for listed in difference.added if listed.name in self.known.spans]
        for listed in changed:
            known = self.known.spans[listed.name]
            values = dict(zip(CHANGED_SPAN_FIELDS, self._span_values(listed, difference), strict=True))
            if listed.bends is None:
                del values["bends"]
            if listed.name not in difference.split:
                del values["split_from_id"]
            if known.is_extracted:
                del values["was_extracted_before_start"]
            Span.objects.filter(pk=known.pk).update(**values, is_withdrawn=False)
            if known.is_withdrawn or known.run.name != listed.run:
                place = Place.objects.filter(pk=known.place_id)
                place.update(parent=self.runs[listed.run][1], is_withdrawn=False)

    def _withdraw(self, difference: Difference) -> None:
        """Take withdrawn spans, and runs that lost all of theirs, off the plans; their history stays."""
        for chunk in chunked(span.pk for span in difference.withdrawn):
            CrewDayStep.objects.filter(span__in=chunk, done_at__isnull=True).delete()
            Place.objects.filter(span__in=chunk).update(is_withdrawn=True)
            Span.objects.filter(pk__in=chunk).update(is_withdrawn=True)
        empty = [
            run.pk
            for name, run in self.known.runs.items()
            if name not in self.listed_runs and not run.is_withdrawn
        ]
        for chunk in chunked(empty):
            CrewDayStep.objects.filter(run__in=chunk, done_at__isnull=True).delete()
            Place.objects.filter(run__in=chunk).update(is_withdrawn=True)
            Run.objects.filter(pk__in=chunk).update(is_withdrawn=True)

    def _store_references(self, touched: Iterable[ListedSpan]) -> None:
        new = []
        for listed in touched:
            key = self.spans[listed.name]
            current = self.known.references.get((key, listed.reference_system))
            if not listed.reference or current == listed.reference:
                continue
            if current:
                ExternalReference.objects.filter(
                    noun=SPAN_NOUN, record_id=str(key), system=listed.reference_system
                ).delete()
            new.append((listed.reference_system, listed.reference, SPAN_NOUN, str(key)))
        insert_rows(ExternalReference, ("system", "identifier", "noun", "record_id"), new)

    def _add_places(self, kind: Place.Kind, names: list[tuple[str, int]]) -> list[int]:
        """Places for runs or spans, given by name and the place they are part of; returns their keys."""
        reference = self.job.reference
        keys = list(take_keys(Place, len(names)))
        insert_rows(
            Place,
            PLACE_FIELDS,
            (
                (
                    key,
                    f"{kind.value}:{reference}:{name}",
                    f"{kind.label.capitalize()} {name} of {reference}",
                    kind.value,
                    parent,
                )
                for key, (name, parent) in zip(keys, names, strict=True)
            ),
        )
        return keys
