from pathlib import Path

import pytest

from orchestrator.documents.plans.plan_reader import read_plan
from orchestrator.errors import DocumentError
from orchestrator.facility.trust import Tls

PLAN = """\
facility: Tern Point Radio
networks: {media: {subnet: 10.44.3.0/24}}
rooms: {rack: {site: point, network: media}}
tls: {authority: authorities/plant.pem}
types:
  node: {tls: {pinned: true}}
devices:
  one: {room: rack, address: 10.44.3.31, type: node, tls: {name: one.tern-point.example}}
  two: {room: rack, address: 10.44.3.32, type: node, tls: {pinned: false}}
  three: {room: rack, address: 10.44.3.33}
"""


def test_what_a_plan_says_of_certificates() -> None:
    """A device's own word before its type's, thing by thing; the plan's stands by itself."""
    plan = read_plan(PLAN.encode(), "plan.yaml")
    assert plan.tls == Tls(authority="authorities/plant.pem")
    assert plan.devices["one"].tls == Tls(pinned=True, name="one.tern-point.example")
    assert plan.devices["two"].tls == Tls(pinned=False)
    assert plan.devices["three"].tls == Tls()


@pytest.mark.parametrize(
    ("tls", "what"),
    [
        ("{authority: /etc/plant.pem}", "no path from the facility's folder"),
        ("{name: 'a name with spaces'}", "no name that a certificate could hold"),
        ("{name: 'https://unit'}", "no name that a certificate could hold"),
        ("{pinned: yes}", "neither true nor false"),
        ("{authority: a.pem, pinned: true}", "not by both"),
        ("{fingerprint: 12}", "'fingerprint' is not a key here"),
    ],
)
@pytest.mark.parametrize("where", ["plan", "type", "device"])
def test_what_it_can_not_say(tls: str, what: str, where: str) -> None:
    """Told at its place, wherever it stands."""
    old = {"plan": "{authority: authorities/plant.pem}", "type": "{pinned: true}",
           "device": "{pinned: false}"}[where]  # fmt: skip
    with pytest.raises(DocumentError) as caught:
        read_plan(PLAN.replace(old, tls).encode(), str(Path("plan.yaml")))
    problem = caught.value.problems[0]
    assert what in problem.what
    assert tls.strip("{}").split(":", maxsplit=1)[0] in problem.excerpt
