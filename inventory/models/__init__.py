"""What is held: the tables of inventory."""

from inventory.models.accounting import (
    AccountingPeriod,
    AccountRule,
    JournalBatch,
    JournalLine,
    RejectedBatch,
    SecondWord,
)
from inventory.models.actor import Actor
from inventory.models.container import Container
from inventory.models.count_plan import CountPlan, CountRule, CountSheet, CountSheetLine, LineCount
from inventory.models.demand import Requirement, Reservation
from inventory.models.entry import ContainerChange, CountReading, Entry, Movement
from inventory.models.fluid_quality import (
    FluidCatch,
    FluidLimit,
    FluidPolicy,
    FluidRelease,
    FluidTest,
    FluidTestResult,
)
from inventory.models.holding import CostPool, Holding
from inventory.models.instrument import Instrument, InstrumentCheck
from inventory.models.invoice import InvoiceCharge, InvoiceLine, InvoiceShare, SupplierInvoice
from inventory.models.material import Material
from inventory.models.orders import HeldOutcome, Order, OrderLine, Receipt, ReceivedLine, SupplierCredit
from inventory.models.party import Company, Party
from inventory.models.place import Place
from inventory.models.quarantine import Quarantine, QuarantineHold
from inventory.models.reference import ExternalReference
from inventory.models.restocking import (
    DemandCursor,
    DemandWeek,
    PolicyResult,
    RestockChunk,
    RestockRun,
    SpreadLesson,
    StockPolicy,
)
from inventory.models.seal import ChainHead, DomainEvent, Seal, Unsealed
from inventory.models.shipment import ArrivedLine, Shipment, ShipmentArrival, ShipmentDifference, ShipmentLine
from inventory.models.supply import PriceBreak, Recipe, RecipeLine, SupplierTerms, SupplyTerms
from inventory.models.tagged_fitting import (
    FittingInspection,
    FittingRigging,
    TaggedFitting,
    TaggedFittingPolicy,
)
from inventory.models.waste import Deposit, DepositTerms, WasteDrum, WasteManifest

__all__ = [
    "AccountRule",
    "AccountingPeriod",
    "Actor",
    "ArrivedLine",
    "ChainHead",
    "Company",
    "Container",
    "ContainerChange",
    "CostPool",
    "CountPlan",
    "CountReading",
    "CountRule",
    "CountSheet",
    "CountSheetLine",
    "DemandCursor",
    "DemandWeek",
    "Deposit",
    "DepositTerms",
    "DomainEvent",
    "Entry",
    "ExternalReference",
    "FittingInspection",
    "FittingRigging",
    "FluidCatch",
    "FluidLimit",
    "FluidPolicy",
    "FluidRelease",
    "FluidTest",
    "FluidTestResult",
    "HeldOutcome",
    "Holding",
    "Instrument",
    "InstrumentCheck",
    "InvoiceCharge",
    "InvoiceLine",
    "InvoiceShare",
    "JournalBatch",
    "JournalLine",
    "LineCount",
    "Material",
    "Movement",
    "Order",
    "OrderLine",
    "Party",
    "Place",
    "PolicyResult",
    "PriceBreak",
    "Quarantine",
    "QuarantineHold",
    "Receipt",
    "ReceivedLine",
    "Recipe",
    "RecipeLine",
    "RejectedBatch",
    "Requirement",
    "Reservation",
    "RestockChunk",
    "RestockRun",
    "Seal",
    "SecondWord",
    "Shipment",
    "ShipmentArrival",
    "ShipmentDifference",
    "ShipmentLine",
    "SpreadLesson",
    "StockPolicy",
    "SupplierCredit",
    "SupplierInvoice",
    "SupplierTerms",
    "SupplyTerms",
    "TaggedFitting",
    "TaggedFittingPolicy",
    "Unsealed",
    "WasteDrum",
    "WasteManifest",
]
