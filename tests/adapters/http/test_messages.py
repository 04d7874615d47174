import dataclasses

import pytest

from orchestrator.adapters.http.messages import Request, Response


def test_only_safe_methods_read() -> None:
    """GET, HEAD and OPTIONS read; PUT, DELETE, POST and PATCH do not (RFC 9110, 9.2.1)."""
    reads = {
        method: Request(method=method, path="/", doing="trying").reads
        for method in ("GET", "HEAD", "OPTIONS", "PUT", "DELETE", "POST", "PATCH")
    }
    assert [method for method, safe in reads.items() if safe] == ["GET", "HEAD", "OPTIONS"]


@pytest.mark.parametrize(
    "value", [Request(method="GET", path="/", doing="trying"), Response(status=200)]
)
def test_messages_are_frozen(value: Request | Response) -> None:
    """Nobody changes a message under way."""
    name = dataclasses.fields(value)[0].name
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(value, name, "other")
