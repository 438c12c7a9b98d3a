"""What the ledger adds up to: how much lies where, and what it cost.

Both tables are sums over movements, kept so that a posting and a page need not add up history;
`verify_ledger` adds it up again and compares. Their primary keys are spelled from what they are about
("place:material:owner:container", 0 for none), so that one upsert serves rows with and without a
container on both databases; a unique key over a column that may be null would need two.
"""

from django.db import models
from django.db.models import Q

from inventory.models.container import Container
from inventory.models.material import Material
from inventory.models.party import Party
from inventory.models.place import Place


class Holding(models.Model):
    """How much of a material of one owner lies in one place, in one container or loose.

    Never negative in a stock or use place (`is_kept`). Among rows of one place, material and owner, the
    cost pool without lot is the lock: whoever holds it may write all of them.
    """

    key = models.CharField(max_length=88, primary_key=True)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="holdings", db_index=False)
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="holdings", db_index=False)
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+", db_index=False)
    container = models.ForeignKey(
        Container, on_delete=models.PROTECT, null=True, related_name="holdings", db_index=False
    )
    quantity = models.BigIntegerField()
    is_kept = models.BooleanField()
    # Set by "book short" and "found here", cleared by a count: somebody should look.
    is_unsettled = models.BooleanField(default=False)
    counted_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(is_kept=False) | Q(quantity__gte=0), name="kept_holding_is_not_negative"
            )
        ]
        indexes = [
            models.Index(fields=["place", "material", "owner"], name="holding_by_place"),
            models.Index(fields=["material", "place"], name="holding_by_material"),
            models.Index(
                fields=["container"], condition=Q(container__isnull=False), name="holding_by_container"
            ),
        ]

    def __str__(self) -> str:
        return self.key


class CostPool(models.Model):
    """Quantity and value of a material of one owner in one place, whole or by lot.

    The row without lot is the pool of a weighted average; where cost goes by lot it stays at zero and
    only serves as the lock of its place, material and owner.
    """

    key = models.CharField(max_length=88, primary_key=True)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="cost_pools", db_index=False)
    material = models.ForeignKey(
        Material, on_delete=models.PROTECT, related_name="cost_pools", db_index=False
    )
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+", db_index=False)
    lot = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="+", db_index=False)
    quantity = models.BigIntegerField()
    value = models.BigIntegerField()
    is_kept = models.BooleanField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(is_kept=False) | Q(quantity__gte=0, value__gte=0),
                name="kept_cost_pool_is_not_negative",
            )
        ]
        indexes = [
            models.Index(fields=["place", "material", "owner"], name="cost_pool_by_place"),
            models.Index(fields=["material", "place"], name="cost_pool_by_material"),
        ]

    def __str__(self) -> str:
        return self.key
