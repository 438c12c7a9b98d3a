"""What we do with it: the tables of jobs."""

from jobs.models.cable import CableSize
from jobs.models.crew import Crew, CrewDay, CrewDayStep
from jobs.models.job import AccessPoint, Job, Run, Span
from jobs.models.policy import EstimatingPolicy

__all__ = [
    "AccessPoint",
    "CableSize",
    "Crew",
    "CrewDay",
    "CrewDayStep",
    "EstimatingPolicy",
    "Job",
    "Run",
    "Span",
]
