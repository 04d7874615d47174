"""What holds for all tests: in CI the same random data each time, elsewhere new ones."""

import os

import pytest
from hypothesis import HealthCheck, settings

# So that the kit says what differs, as tests do.
pytest.register_assert_rewrite("orchestrator.adapters.conformance")

settings.register_profile(
    "ci",
    derandomize=True,
    deadline=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("here", deadline=None, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") == "true" else "here")
