from typing import Any

import pytest

from orchestrator.adapters.nmos.constraints import LONGEST_PATTERN, breach


@pytest.mark.parametrize(
    ("rule", "value", "well"),
    [
        ({}, "239.1.2.3", True),
        ({"enum": ["239.1.2.3", None]}, "239.1.2.3", True),
        ({"enum": ["239.1.2.3", None]}, None, True),
        ({"enum": ["239.1.2.3"]}, "239.1.2.4", False),
        ({"enum": [1]}, True, False),
        ({"minimum": 5000, "maximum": 49150}, 5004, True),
        ({"minimum": 5000, "maximum": 49150}, 5000, True),
        ({"minimum": 5000, "maximum": 49150}, 49150, True),
        ({"minimum": 5000}, 4999, False),
        ({"maximum": 49150}, 49151, False),
        ({"minimum": 5}, True, True),
        ({"pattern": r"^239\.194\."}, "239.194.1.2", True),
        ({"pattern": r"^239\.194\."}, "239.195.1.2", False),
        ({"pattern": "("}, "239.195.1.2", True),
        ({"pattern": "x" * (LONGEST_PATTERN + 1)}, "239.195.1.2", True),
        ({"pattern": 5, "minimum": "x", "enum": 7}, "239.195.1.2", True),
        ({"minimum": "x"}, 7, True),
        ("nonsense", 7, True),
    ],
)
def test_rules(rule: Any, value: Any, well: bool) -> None:  # noqa: FBT001
    """As AMWA IS-05 has them: bounds are inclusive; what is not understood forbids nothing."""
    found = breach([{"destination_ip": rule}], [{"destination_ip": value}])
    assert (found is None) is well


def test_what_is_wrong_is_told_with_its_leg() -> None:
    """Which parameter, which value, and what would be taken."""
    ports = {"destination_port": {"minimum": 5000}}
    found = breach([{}, ports], [{"destination_port": 1}, {"destination_port": 4000}])
    assert found == "its leg 2 does not take destination_port 4000: it takes 5000 and above"
    found = breach([{"source_ip": {"enum": ["192.0.2.1", None]}}], [{"source_ip": "x"}])
    assert found == 'its leg 1 does not take source_ip "x": it takes "192.0.2.1", null'
    assert "takes nothing" in str(breach([{"a": {"enum": []}}], [{"a": 1}]))
    assert "matches" in str(breach([{"a": {"pattern": "^y"}}], [{"a": "x"}]))


@pytest.mark.parametrize("constraints", [None, {}, [], ["x"]])
def test_no_constraints_forbid_nothing(constraints: Any) -> None:
    """A node need not have any."""
    assert breach(constraints, [{"destination_port": 1}]) is None
