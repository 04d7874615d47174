"""A plan by itself, from its text."""

from orchestrator.documents.plans.plan_build import build_plan
from orchestrator.documents.plans.plan_model import PlanModel
from orchestrator.documents.reading import yaml_reader
from orchestrator.documents.reading.shape import fit
from orchestrator.errors import DocumentError
from orchestrator.facility.plan import Plan


def read_plan(data: bytes, file: str) -> Plan:
    """The plan in ``data``; ``file`` is what people are told of it.

    Raises:
        DocumentError: it can't be read, or is not of its shape.
    """
    tree, problems = yaml_reader.read(data, file)
    model, faults = fit(tree, PlanModel)
    if model is not None:
        plan, more = build_plan(model)
        if not (problems or faults or more):
            return plan
        faults = (*faults, *more)
    raise DocumentError([*problems, *(tree.problem(fault) for fault in faults)])
