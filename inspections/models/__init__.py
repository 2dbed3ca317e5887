"""What is wrong in a home, who mends it, and what shows that it is mended."""

from inspections.models.defects import Defect
from inspections.models.evidence import Evidence
from inspections.models.jobs import Job, JobItem, JobLink
from inspections.models.people import Competence, Contractor, Registration
from inspections.models.visits import Look, Visit

__all__ = [
    "Competence",
    "Contractor",
    "Defect",
    "Evidence",
    "Job",
    "JobItem",
    "JobLink",
    "Look",
    "Registration",
    "Visit",
]
