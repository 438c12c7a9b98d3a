"""Names of the rows that an entry touches."""

from typing import NamedTuple


class HeadKey(NamedTuple):
    """Place, material and owner: what is locked as one."""

    place_id: int
    material_id: int
    owner_id: int

    def text(self, part_id: int = 0) -> str:
        """Primary key of the holding of a container, or of the cost pool of a lot, under this head."""
        return f"{self.place_id}:{self.material_id}:{self.owner_id}:{part_id}"


class HoldingKey(NamedTuple):
    """A head and the container in it, 0 for loose goods."""

    head: HeadKey
    container_id: int

    def text(self) -> str:
        return self.head.text(self.container_id)


class PoolKey(NamedTuple):
    """A head and the lot in it, 0 for none."""

    head: HeadKey
    lot_id: int

    def text(self) -> str:
        return self.head.text(self.lot_id)
