"""What a benchmark reports."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Measurement:
    """One number, and the bound it should keep, if any.

    A figure is compared with a bound and not with an earlier run: machines differ, promises do not.
    """

    what: str
    value: float
    unit: str
    at_most: float | None = None
    at_least: float | None = None

    @property
    def is_kept(self) -> bool:
        is_low_enough = self.at_most is None or self.value <= self.at_most
        return is_low_enough and (self.at_least is None or self.value >= self.at_least)

    @property
    def bound(self) -> str:
        bounds = []
        if self.at_most is not None:
            bounds.append(f"at most {self.at_most:g}")
        if self.at_least is not None:
            bounds.append(f"at least {self.at_least:g}")
        return ", ".join(bounds)
