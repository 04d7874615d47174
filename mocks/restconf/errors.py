"""What a simulated RESTCONF server refuses, by RFC 8040, section 7: a status and a document.

Each error tag has one status here; where the standard leaves a choice, the first that it names.
"""

import json

from mocks.messages import Response

YANG_DATA = "application/yang-data+json"

STATUS = {
    "in-use": 409,
    "lock-denied": 409,
    "resource-denied": 409,
    "data-exists": 409,
    "data-missing": 409,
    "invalid-value": 400,
    "too-big": 413,
    "missing-attribute": 400,
    "bad-attribute": 400,
    "unknown-attribute": 400,
    "missing-element": 400,
    "bad-element": 400,
    "unknown-element": 400,
    "unknown-namespace": 400,
    "access-denied": 401,
    "rollback-failed": 500,
    "operation-not-supported": 405,
    "operation-failed": 412,
    "partial-operation": 500,
    "malformed-message": 400,
}


class Refused(Exception):
    """A request that the server won't do. Never leaves the device."""

    def __init__(
        self, tag: str, message: str, path: str = "", *, status: int = 0, kind: str = "application"
    ) -> None:
        super().__init__(message)
        self.tag = tag
        self.status = status or STATUS[tag]
        self.error = {"error-type": kind, "error-tag": tag, "error-message": message}
        if path:
            self.error["error-path"] = path

    @property
    def response(self) -> Response:
        """The answer: an error document (RFC 8040, section 7.1)."""
        return answered(self.status, {"ietf-restconf:errors": {"error": [self.error]}})


def answered(status: int, body: object, headers: tuple[tuple[str, str], ...] = ()) -> Response:
    """A response of YANG data as JSON; ``body`` None: none."""
    if body is None:
        return Response(status, headers)
    return Response(status, (("content-type", YANG_DATA), *headers), json.dumps(body).encode())
