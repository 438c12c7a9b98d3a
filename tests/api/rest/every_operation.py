"""What each role is answered by each operation of REST, on own and on foreign things.

A crew is the one called north; stores keep all warehouses here, and what differs for those who keep one has
tests of its own.
"""

from tests.api.rest.operations import doors, money, safety, stock, supply, work
from tests.api.rest.operations.rows import Operation

ROLES = ("", "stores", "crew", "planner", "accounts", "safety", "admin")
OPERATIONS: list[Operation] = [
    *doors.OPERATIONS,
    *stock.OPERATIONS,
    *supply.OPERATIONS,
    *work.OPERATIONS,
    *money.OPERATIONS,
    *safety.OPERATIONS,
]
