"""What we do with it: the tables of jobs."""

from jobs.models.attached import AttachedDocument, StoredFile
from jobs.models.balance import BalanceStream, DayBalance, FluidBalance, SpanFigure
from jobs.models.cable import CableSize
from jobs.models.check_list import CheckListItem, Occasion, ProtectiveEquipment
from jobs.models.closing import PeriodClosing, PeriodJobCost
from jobs.models.cost_sheet import EstimateLine, IssuedSheet, JobEstimate
from jobs.models.crew import Crew, CrewDay, CrewDayStep
from jobs.models.job import AccessPoint, Job, Run, Span
from jobs.models.kit import KitLoad, KitLoadLine, PickListPrint
from jobs.models.kit_policy import KitPolicy
from jobs.models.learning import LearntFit, LearntSize
from jobs.models.limits import CompanyRules
from jobs.models.policy import EstimatingPolicy
from jobs.models.recovery import RecoveryDrift, RecoveryRate
from jobs.models.report import FieldReport, RefitRequest
from jobs.models.report_goods import ContainerReading, FluidCaught, PieceReport, ReportedLoss, WasteHandover
from jobs.models.report_work import RunBlowing, RunCleaning, SpanAttempt, SpanSplit
from jobs.models.safety import Incident, PressureLimit, RuleFinding
from jobs.models.scrap import CoreMass, ScrapLot, ScrapPart, ScrapShare, ScrapTerms
from jobs.models.truck import CounterPurchase, HandOver, UnreportedDay

__all__ = [
    "AccessPoint",
    "AttachedDocument",
    "BalanceStream",
    "CableSize",
    "CheckListItem",
    "CompanyRules",
    "ContainerReading",
    "CoreMass",
    "CounterPurchase",
    "Crew",
    "CrewDay",
    "CrewDayStep",
    "DayBalance",
    "EstimateLine",
    "EstimatingPolicy",
    "FieldReport",
    "FluidBalance",
    "FluidCaught",
    "HandOver",
    "Incident",
    "IssuedSheet",
    "Job",
    "JobEstimate",
    "KitLoad",
    "KitLoadLine",
    "KitPolicy",
    "LearntFit",
    "LearntSize",
    "Occasion",
    "PeriodClosing",
    "PeriodJobCost",
    "PickListPrint",
    "PieceReport",
    "PressureLimit",
    "ProtectiveEquipment",
    "RecoveryDrift",
    "RecoveryRate",
    "RefitRequest",
    "ReportedLoss",
    "RuleFinding",
    "Run",
    "RunBlowing",
    "RunCleaning",
    "ScrapLot",
    "ScrapPart",
    "ScrapShare",
    "ScrapTerms",
    "Span",
    "SpanAttempt",
    "SpanFigure",
    "SpanSplit",
    "StoredFile",
    "UnreportedDay",
    "WasteHandover",
]
