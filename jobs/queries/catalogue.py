"""Which material serves which need: by size and role, by bore, by the policy and by the job."""

from dataclasses import dataclass, field

from inventory.models import Container, Holding, Material, Party
from inventory.sheets.numbers import CellRefused
from inventory.sheets.sizes import read_cable_size
from jobs.models import CableSize, EstimatingPolicy, Job, KitPolicy, ProtectiveEquipment
from jobs.queries.learnt import Learnt, load_learnt

Kind = Material.Kind
Role = Material.FittingRole


@dataclass(frozen=True)
class Catalogue:
    """The materials in use, asked by what the work needs. Ties go to the first code, so that kits repeat."""

    materials: list[Material]
    policy: EstimatingPolicy
    company: Party
    # For each owner the fibre materials of which it has, or ever had, a reel here.
    fibres_by_owner: dict[int, set[int]]
    learnt: Learnt
    kit: KitPolicy = field(default_factory=KitPolicy)
    # What protects a crew; what of it has a material is counted into kits.
    equipment: list[ProtectiveEquipment] = field(default_factory=list)

    def fluid(self) -> Material | None:
        """The fluid to inject: the policy's, else the only one there is."""
        if self.policy.fluid is not None:
            return self.policy.fluid
        fresh = [item for item in self._of(Kind.FLUID) if item.recovered_from_id is None]
        return fresh[0] if len(fresh) == 1 else None

    def recovered_forms(self, fluid: Material) -> list[Material]:
        return [item for item in self._of(Kind.FLUID) if item.recovered_from_id == fluid.pk]

    def fitting(self, role: str, size: CableSize) -> Material | None:
        found = [item for item in self._of(Kind.FITTING) if item.fitting_role == role and _fits(item, size)]
        return found[0] if found else None

    def seal(self, size: CableSize) -> Material | None:
        """One made for the size, else one that fits any."""
        found = [item for item in self._of(Kind.FITTING) if item.fitting_role == Role.SEAL]
        fitting = [item for item in found if _fits(item, size)]
        return next(iter([*fitting, *(item for item in found if not item.cable_size)]), None)

    def duct(self, size: CableSize) -> Material | None:
        """One named for the size, else the only one that is named for none."""
        named = [item for item in self._of(Kind.DUCT) if _fits(item, size)]
        if named:
            return named[0]
        any_size = [item for item in self._of(Kind.DUCT) if not item.cable_size]
        return any_size[0] if len(any_size) == 1 else None

    def projectile(self, size: CableSize) -> Material | None:
        """One made for the size, else the one nearest to the bore with the company's oversize."""
        named = [item for item in self._of(Kind.PROJECTILE) if _fits(item, size)]
        if named:
            return named[0]
        wanted = 1 + self.policy.projectile_oversize
        gaps = [
            (abs((item.nominal_diameter_mm or 0.0) / size.bore_mm - wanted), item.code, item)
            for item in self._of(Kind.PROJECTILE)
            if not item.cable_size
        ]
        # The tolerance is compared with a hair's breadth, so that 1.25 of a bore is not 1.2500000000000002.
        near = [gap for gap in gaps if gap[0] <= self.policy.projectile_oversize_tolerance + 1e-9]
        return min(near)[2] if near else None

    def fibre_owner(self, job: Job) -> Party:
        """Whose fibre is blown: as the job says, else its customer's where that has furnished any."""
        if job.fibre_owner is not None:
            return job.fibre_owner
        if job.customer is not None and self.fibres_by_owner.get(job.customer.pk):
            return job.customer
        return self.company

    def fibre(self, job: Job) -> Material | None:
        """What is blown: as the job says, else the only fibre its owner has here."""
        if job.fibre is not None:
            return job.fibre
        held = self.fibres_by_owner.get(self.fibre_owner(job).pk, set())
        found = [item for item in self._of(Kind.FIBRE) if item.pk in held]
        return found[0] if len(found) == 1 else None

    def _of(self, kind: str) -> list[Material]:
        return [item for item in self.materials if item.kind == kind]


def load_catalogue(policy: EstimatingPolicy, company: Party) -> Catalogue:
    """Read the materials in use; a few hundred rows at most."""
    materials = list(Material.objects.filter(is_withdrawn=False).order_by("code"))
    by_owner: dict[int, set[int]] = {}
    reels = Container.objects.filter(kind=Container.Kind.REEL, material__kind=Kind.FIBRE)
    for owner, material in reels.order_by().values_list("owner", "material").distinct():
        by_owner.setdefault(owner, set()).add(material)
    loose = Holding.objects.filter(material__kind=Kind.FIBRE, is_kept=True, quantity__gt=0)
    for owner, material in loose.order_by().values_list("owner", "material").distinct():
        by_owner.setdefault(owner, set()).add(material)
    equipment = list(ProtectiveEquipment.objects.filter(is_withdrawn=False).select_related("material"))
    kit = KitPolicy.objects.first() or KitPolicy()
    return Catalogue(materials, policy, company, by_owner, load_learnt(policy), kit, equipment)


def _fits(material: Material, size: CableSize) -> bool:
    if material.cable_size == size.designation:
        return True
    try:
        return bool(material.cable_size) and read_cable_size(material.cable_size) == size.designation
    except CellRefused:
        return False
