"""Accounts that sign in. What they did is ascribed to their actor, which outlives them."""

from django.contrib.auth.models import AbstractUser
from django.db import models


class User(AbstractUser):
    """A person or a system that may sign in, with one role.

    `crew` limits the role of that name to its own days, vehicle and jobs. `warehouses` limits stores to
    their own; with none named they keep all of them, as in a company that has one.
    """

    class Role(models.TextChoices):
        STORES = "stores", "stores"
        CREW = "crew", "crew"
        PLANNER = "planner", "planner"
        ACCOUNTS = "accounts", "accounts"
        SAFETY = "safety", "safety"
        ADMIN = "admin", "admin"

    class Units(models.TextChoices):
        AS_COUNTED = "", "as each thing is counted"
        US = "us", "US: gallons, feet, pounds, psi"
        METRIC = "metric", "metric: litres, metres, kilograms, bar"

    actor = models.OneToOneField("inventory.Actor", on_delete=models.PROTECT, null=True, related_name="user")
    role = models.CharField(max_length=8, choices=Role.choices, default=Role.STORES)
    crew = models.ForeignKey("jobs.Crew", on_delete=models.PROTECT, null=True, related_name="users")
    warehouses = models.ManyToManyField("inventory.Place", related_name="keepers", blank=True)
    # In which units this person reads amounts on pages.
    units = models.CharField(max_length=6, choices=Units.choices, blank=True, default=Units.AS_COUNTED)
    # In which language this person reads the pages that are translated; empty for the browser's.
    language = models.CharField(max_length=8, blank=True, default="")


class SignInAttempt(models.Model):
    """A sign-in that was tried and not granted, kept as long as it counts towards a lock.

    The name need not be anybody's: a lock that only known names meet would tell which names are known.
    """

    name = models.CharField(max_length=150)
    address = models.CharField(max_length=45)
    tried_at = models.DateTimeField()

    class Meta:
        indexes = [
            models.Index(fields=["name", "tried_at"], name="sign_in_attempts_of_a_name"),
            models.Index(fields=["address", "tried_at"], name="sign_in_attempts_by_address"),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.tried_at}"
