"""The feeding plan in flash. The plan is long and seldom new, so it has a file of its own; how far it is carried out is in the spool."""

from plan import FeedingPlan
from spool import read_sealed, write_sealed

PLAN_FILE = "plan"


def store_plan(flash, plan):
    """Raises OSError, and the one before is still there."""
    write_sealed(flash, PLAN_FILE, [plan.memory["plan"], progress_of(plan)])


def progress_of(plan):
    """What is written with each portion."""
    progress = {name: value for name, value in plan.memory.items() if name != "plan"}
    progress["version"] = plan.version
    return progress


def stored_plan(flash, progress):
    """`progress`: from the newest segment. A power cut between the plan's file and it leaves one of another version: then the one beside
    the plan is right, by which nothing is given twice."""
    stored, beside = read_sealed(flash, PLAN_FILE) or (None, None)
    plan = FeedingPlan()
    if beside is not None and (progress is None or progress["version"] != beside["version"]):
        progress = beside
    if progress is not None:
        plan.memory.update({name: value for name, value in progress.items() if name != "version"})
    plan.memory["plan"] = stored
    plan.restarted()
    return plan
