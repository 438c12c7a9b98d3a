"""Who owns goods, sells them or has work done: the company itself, its customers and suppliers."""

from django.db import models


class Party(models.Model):
    """A business that can own goods.

    Exactly one party is the company. Goods of every other party are counted but carry no value here,
    because they never enter the company's stock value.
    """

    code = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=200)
    is_company = models.BooleanField(default=False)
    is_supplier = models.BooleanField(default=False)
    is_customer = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["is_company"], condition=models.Q(is_company=True), name="there_is_one_company"
            )
        ]

    def __str__(self) -> str:
        return self.name


class Company(models.Model):
    """What holds for the whole installation: one installation is one company.

    A single row. One currency, because invoices in others convert at receipt; one time zone, because
    crew days and periods are days of the company; one temperature at which fluid volumes are compared.
    """

    party = models.OneToOneField(Party, on_delete=models.PROTECT, related_name="company")
    currency = models.CharField(max_length=3, default="USD")
    time_zone = models.CharField(max_length=64, default="UTC")
    reference_temperature_c = models.FloatField(default=15.0)
    uses_metric = models.BooleanField(default=False)
    # What happened up to this day and is recorded only now is booked on the day after it.
    books_closed_until = models.DateField(null=True)
    # Millionths of the currency: goods worth more are written off or down by two persons. None: by one.
    write_off_limit = models.BigIntegerField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(currency__regex=r"^[A-Z]{3}$"), name="currency_is_three_capital_letters"
            )
        ]

    def __str__(self) -> str:
        return self.party.name
