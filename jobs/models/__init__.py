"""What we do with it: the tables of jobs."""

from jobs.models.cable import CableSize
from jobs.models.check_list import CheckListItem, Occasion, ProtectiveEquipment
from jobs.models.crew import Crew, CrewDay, CrewDayStep
from jobs.models.job import AccessPoint, Job, Run, Span
from jobs.models.kit import KitLoad, KitLoadLine, PickListPrint
from jobs.models.kit_policy import KitPolicy
from jobs.models.limits import CompanyRules
from jobs.models.policy import EstimatingPolicy
from jobs.models.recovery import RecoveryDrift, RecoveryRate
from jobs.models.safety import Incident, PressureLimit, RuleFinding
from jobs.models.scrap import CoreMass, ScrapLot, ScrapPart, ScrapShare, ScrapTerms

__all__ = [
    "AccessPoint",
    "CableSize",
    "CheckListItem",
    "CompanyRules",
    "CoreMass",
    "Crew",
    "CrewDay",
    "CrewDayStep",
    "EstimatingPolicy",
    "Incident",
    "Job",
    "KitLoad",
    "KitLoadLine",
    "KitPolicy",
    "Occasion",
    "PickListPrint",
    "PressureLimit",
    "ProtectiveEquipment",
    "RecoveryDrift",
    "RecoveryRate",
    "RuleFinding",
    "Run",
    "ScrapLot",
    "ScrapPart",
    "ScrapShare",
    "ScrapTerms",
    "Span",
]
