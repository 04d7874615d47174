"""Whether the plan, the playbooks and the device descriptions agree with one another.

Nothing here looks at a device: it is what can be known at a desk. Everything is checked twice,
as the plan says it is and as it will be once the playbooks are done; a fault that shows both
times is told once.
"""

from collections.abc import Collection, Mapping, Sequence

from orchestrator.facility.description import Description
from orchestrator.facility.plan import Plan
from orchestrator.facility.wanted import Playbook
from orchestrator.planning.checks.addresses import check_addresses
from orchestrator.planning.checks.common import PLAN, Finding, Origins, Report
from orchestrator.planning.checks.names import check_asked_names, check_names
from orchestrator.planning.checks.networks import check_networks
from orchestrator.planning.checks.numbers import check_numbers
from orchestrator.planning.checks.playbooks import check_playbooks
from orchestrator.planning.checks.speaking import check_speaking
from orchestrator.planning.checks.wanted import as_wanted

# Ways to speak to a device that need no device description.
BUILT_IN: frozenset[str] = frozenset({"nmos", "restconf"})

__all__ = ["BUILT_IN", "PLAN", "Finding", "as_wanted", "findings"]


def findings(
    plan: Plan,
    playbooks: Sequence[Playbook],
    descriptions: Mapping[str, Description],
    others: Collection[str] = BUILT_IN,
) -> tuple[Finding, ...]:
    """What does not agree, sorted by document and path; empty if all is well.

    ``others`` are the names that ``speaks`` may have beside those of ``descriptions``.
    """
    report = Report()
    wanted = as_wanted(plan, playbooks)
    check_networks(plan, report)
    check_names(plan, wanted, {*descriptions, *others}, report)
    check_speaking(plan, descriptions, report)
    for playbook in playbooks:
        check_asked_names(plan, wanted, playbook, descriptions, report)
    check_playbooks(plan, wanted, playbooks, report)
    check_addresses(plan, Origins(), report)
    check_numbers(plan, Origins(), report)
    if playbooks:
        origins = Origins(playbooks)
        check_addresses(wanted, origins, report)
        check_numbers(wanted, origins, report)
    return tuple(sorted(report.findings, key=lambda found: (found.document, str(found.path))))
