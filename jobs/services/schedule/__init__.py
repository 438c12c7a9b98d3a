"""Who does what on which day: taken from a list, or moved step by step; all or nothing."""

from jobs.services.schedule.importing import ScheduleImport, import_schedule
from jobs.services.schedule.moving import MovedStep, move_step

__all__ = ["MovedStep", "ScheduleImport", "import_schedule", "move_step"]
