"""How restocking is aimed, what was used week by week, and the runs that work the policies out."""

from django.db import models
from django.db.models import Q

from inventory.models.actor import Actor
from inventory.models.material import Material
from inventory.models.party import Party
from inventory.models.place import Place


class StockPolicy(models.Model):
    """What is aimed at for a material in a place; without either it holds for all of them.

    The nearest one holds: that of material and place, of the material, of the place, of all; what it leaves
    open is taken from the next nearest. `key` spells what it is about ("place:material", 0 for none), since
    a unique key over columns that may be null would be two.
    """

    class Target(models.TextChoices):
        CYCLE_SERVICE = "cycle_service", "chance of not running short before an order comes"
        FILL_RATE = "fill_rate", "share of what is wanted that is there"
        COST = "cost", "least cost"

    class Forecast(models.TextChoices):
        AUTO = "auto", "what does best in looking back"
        CROSTON = "croston", "Croston"
        SBA = "sba", "Syntetos and Boylan"
        TSB = "tsb", "Teunter, Syntetos and Babai"
        NONE = "none", "planned work only"

    key = models.CharField(max_length=44, unique=True)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, related_name="stock_policies")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="stock_policies")
    target = models.CharField(max_length=16, choices=Target.choices, blank=True)
    target_share = models.FloatField(null=True)
    # Millionths of the currency for one stock unit lacking for one day.
    shortage_cost_per_day = models.BigIntegerField(null=True)
    # Share of what goods cost that a year of holding them costs.
    holding_cost_rate = models.FloatField(null=True)
    review_days = models.PositiveSmallIntegerField(null=True)
    forecast_method = models.CharField(max_length=8, choices=Forecast.choices, blank=True)
    # How long what comes back takes until it can serve again: straining and testing, sorting and mending.
    return_lag_days = models.FloatField(null=True)
    return_lag_sd_days = models.FloatField(null=True)
    # Millionths of the stock unit: the most there is room for, and levels set by hand.
    storage_limit = models.BigIntegerField(null=True)
    minimum_level = models.BigIntegerField(null=True)
    maximum_level = models.BigIntegerField(null=True)
    set_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "stock policies"
        constraints = [
            models.CheckConstraint(
                condition=Q(target__in=["", "cost"], target_share__isnull=True)
                | Q(target__in=["cycle_service", "fill_rate"], target_share__gt=0, target_share__lt=1),
                name="a_service_target_is_a_share_between_0_and_1",
            ),
            models.CheckConstraint(
                condition=~Q(target="cost") | Q(shortage_cost_per_day__gt=0),
                name="least_cost_needs_the_cost_of_lacking",
            ),
            models.CheckConstraint(
                condition=(Q(shortage_cost_per_day__isnull=True) | Q(shortage_cost_per_day__gt=0))
                & (Q(holding_cost_rate__isnull=True) | Q(holding_cost_rate__gt=0)),
                name="costs_of_a_policy_are_above_nothing",
            ),
            models.CheckConstraint(
                condition=(Q(return_lag_days__isnull=True) | Q(return_lag_days__gte=0))
                & (Q(return_lag_sd_days__isnull=True) | Q(return_lag_sd_days__gte=0)),
                name="return_lag_is_not_negative",
            ),
            models.CheckConstraint(
                condition=(Q(minimum_level__isnull=True) & Q(maximum_level__isnull=True))
                | Q(minimum_level__gte=0, maximum_level__gt=models.F("minimum_level")),
                name="levels_by_hand_are_two_and_in_order",
            ),
            models.CheckConstraint(
                condition=Q(storage_limit__isnull=True) | Q(storage_limit__gt=0),
                name="storage_limit_is_above_nothing",
            ),
        ]

    def __str__(self) -> str:
        return self.key


class DemandWeek(models.Model):
    """What the work took of a material out of one stock place in a week, less what came back in it.

    A sum over movements, kept so that a forecast need not add up years of them: rolled up from sealed entries
    in the order of their seals, up to `DemandCursor`. Below nothing where more came back than was taken.
    Weeks begin on Monday, days are the company's.
    """

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+", db_index=False)
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+", db_index=False)
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+", db_index=False)
    week_date = models.DateField()
    used = models.BigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["place", "material", "owner", "week_date"], name="a_week_has_one_sum_of_demand"
            )
        ]

    def __str__(self) -> str:
        return f"{self.place_id} {self.material_id} {self.week_date}"


class DemandCursor(models.Model):
    """Up to which seal demand has been rolled up: one row, and the lock under which that happens."""

    sequence = models.BigIntegerField(default=0)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="there_is_one_demand_cursor")]

    def __str__(self) -> str:
        return str(self.sequence)


class SpreadLesson(models.Model):
    """What a week taught of a class of demand: how much would have been missed under which spread.

    Lessons are kept by the week after which they could be told, one for each class and kind of target, so
    that a week is taught once. `missed` goes by the factors of `calc/spread_lessons.py`. `factor` is what all
    lessons up to this one say; empty where it never stood, because the lesson was told later.
    """

    week_date = models.DateField()
    demand_class = models.CharField(max_length=12)
    is_fill_rate = models.BooleanField()
    seen = models.PositiveIntegerField()
    wanted = models.FloatField()
    allowed = models.FloatField()
    missed = models.JSONField()
    stood_wanted = models.FloatField(default=0.0)
    stood_over = models.FloatField(default=0.0)
    factor = models.FloatField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["week_date", "demand_class", "is_fill_rate"], name="a_week_teaches_a_class_once"
            ),
            models.CheckConstraint(
                condition=Q(factor__isnull=True) | Q(factor__gt=0), name="spread_factor_is_above_nothing"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.week_date} {self.demand_class}"


class RestockRun(models.Model):
    """One working-out of all policies and the restock list, as of a day.

    Cut into chunks when it is asked for; finished when none of them is left. A night has one.
    """

    class Kind(models.TextChoices):
        NIGHTLY = "nightly", "nightly"
        ON_DEMAND = "on_demand", "on demand"

    uuid = models.UUIDField(unique=True)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    as_of = models.DateField()
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, related_name="+")
    horizon_days = models.PositiveSmallIntegerField()
    asked_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["as_of"], condition=Q(kind="nightly"), name="a_night_has_one_restock_run"
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.as_of}"


class RestockChunk(models.Model):
    """A part of a run: the materials of one warehouse's area whose keys lie in a range.

    Whoever works on it writes until when it is theirs. If they are lost, it falls free again at that moment;
    if they were only slow, two write the same results. Done is set together with the results.
    """

    run = models.ForeignKey(RestockRun, on_delete=models.CASCADE, related_name="chunks")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    first_material = models.BigIntegerField()
    last_material = models.BigIntegerField()
    taken_until = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    failure = models.CharField(max_length=500, blank=True)
    results = models.PositiveIntegerField(null=True)
    done_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["run", "place", "first_material"], name="chunks_of_a_run_do_not_overlap"
            ),
            models.CheckConstraint(
                condition=Q(last_material__gte=models.F("first_material")), name="chunk_is_a_range"
            ),
        ]
        indexes = [
            models.Index(
                fields=["run", "id"], condition=Q(done_at__isnull=True), name="chunks_waiting_to_be_done"
            )
        ]

    def __str__(self) -> str:
        return f"{self.run_id} {self.place_id} {self.first_material}"


class PolicyResult(models.Model):
    """What a run found for one material of one owner in one warehouse's area.

    The policy (when to order and how much) and what follows from it today; `run_out_date` is set where
    something is to be ordered. Amounts in millionths of the stock unit, cost in millionths of the currency,
    rates in stock units.
    """

    run = models.ForeignKey(RestockRun, on_delete=models.CASCADE, related_name="results", db_index=False)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+", db_index=False)
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+", db_index=False)
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+", db_index=False)
    demand_class = models.CharField(max_length=12, blank=True)
    method = models.CharField(max_length=8, blank=True)
    rate_per_week = models.FloatField()
    sd_per_week = models.FloatField()
    lead_time_days = models.FloatField(null=True)
    reorder_point = models.BigIntegerField(null=True)
    order_quantity = models.BigIntegerField(null=True)
    cycle_service = models.FloatField(null=True)
    fill_rate = models.FloatField(null=True)
    on_hand = models.BigIntegerField()
    expected = models.BigIntegerField(default=0)
    run_out_date = models.DateField(null=True)
    is_likely = models.BooleanField(default=False)
    order_by_date = models.DateField(null=True)
    quantity = models.BigIntegerField(default=0)
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, null=True, related_name="+", db_index=False)
    cost = models.BigIntegerField(null=True)
    chance_short = models.FloatField(default=0.0)
    needs_at_risk = models.PositiveIntegerField(default=0)
    why = models.CharField(max_length=600, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["run", "place", "material", "owner"], name="a_run_has_one_result_for_a_material"
            )
        ]
        indexes = [
            models.Index(
                fields=["run", "run_out_date", "id"],
                condition=Q(run_out_date__isnull=False),
                name="results_that_are_to_be_ordered",
            )
        ]

    def __str__(self) -> str:
        return f"{self.run_id} {self.place_id} {self.material_id}"
