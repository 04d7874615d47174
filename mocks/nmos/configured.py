"""What a simulated NMOS node answers at its Configuration API (AMWA IS-14 v1.0).

A refusal has one of two shapes, as real nodes do: ``{status, errorMessage}`` of MS-05-02 where the
model refuses, and ``{code, error, debug}`` where the request never got there. The status inside may
differ from the one outside.
"""

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qs

from mocks.messages import Request, Response, answer
from mocks.nmos import model as model_of
from mocks.nmos.model import BASE, Model
from mocks.nmos.shown import READING, Refused

Changes = Mapping[str, Any]
_MODIFY = 0
_ENDS = ["bulkProperties/", "descriptor/", "methods/", "properties/"]


def answered(request: Request, path: tuple[str, ...], model: Model) -> tuple[Response, Changes]:
    """The answer to a request below the API's base, and what it writes into the model.

    Raises:
        Refused: the request is not as the API wants it.
    """
    rest = path[len(BASE) :]
    if not rest:
        return _read(request, ["rolePaths/"])
    if rest == ("rolePaths",):
        return _read(request, [f"{own}/" for own in model])
    if rest[0] == "rolePaths" and rest[1] in model:
        return _of_an_object(request, rest[1], rest[2:], model)
    return _refused(404, 404, "no such role path")


def _of_an_object(
    request: Request, own: str, ends: tuple[str, ...], model: Model
) -> tuple[Response, Changes]:
    match ends:
        case ():
            return _read(request, _ENDS)
        case ("bulkProperties",):
            return _bulk(request, own, model)
        case ("properties",):
            return _read(request, [f"{own_id}/" for own_id in model[own]])
        case ("properties", own_id, "value"):
            return _value(request, own, own_id, model)
    return _refused(404, 404, "it is not offered here")


def _read(request: Request, body: Any) -> tuple[Response, Changes]:
    if request.method not in READING:
        raise Refused(405, f"{request.method} is not done here")
    return answer(200, body), {}


def _bulk(request: Request, own: str, model: Model) -> tuple[Response, Changes]:
    if request.method in READING:
        query = parse_qs(request.path.partition("?")[2])
        held = model_of.holder(
            model,
            own,
            recurse=query.get("recurse", ["true"])[-1] != "false",
            descriptors=query.get("includeDescriptors", ["true"])[-1] != "false",
        )
        return answer(200, {"status": 200, "value": held}), {}
    if request.method not in ("PATCH", "PUT"):
        raise Refused(405, f"{request.method} is not done here")
    given = _arguments(request)
    if given.get("restoreMode") != _MODIFY:
        return _refused(400, 400, "it can only modify")
    try:
        answers, changes = model_of.judged(
            model, given["dataSet"], own, recurse=given.get("recurse", True) is True
        )
    except (KeyError, TypeError, AttributeError):
        return _refused(400, 400, "the data set is none")
    return answer(
        200, {"status": 200, "value": answers}
    ), changes if request.method == "PUT" else {}


def _value(request: Request, own: str, own_id: str, model: Model) -> tuple[Response, Changes]:
    found = model[own].get(own_id)
    if found is None:
        return _refused(404, 502, "no such property")
    if request.method in READING:
        return answer(200, {"status": 200, "value": found.value}), {}
    if request.method != "PUT":
        raise Refused(405, f"{request.method} is not done here")
    body = _document(request)
    if found.read_only:
        return _refused(500, 405, "it is read-only")
    if "value" not in body or not found.takes(body["value"]):
        return _refused(500, 417, f"it takes {found.type_name}")
    return answer(200, {"status": 200}), {f"{own}/{own_id}": body["value"]}


def _arguments(request: Request) -> Mapping[str, Any]:
    given = _document(request).get("arguments")
    if not isinstance(given, dict):
        raise Refused(400, "the body has no arguments")
    return given


def _document(request: Request) -> dict[str, Any]:
    try:
        body = json.loads(request.body)
    except ValueError:
        raise Refused(400, "the body is no JSON") from None
    if not isinstance(body, dict):
        raise Refused(400, "the body is no object")
    return body


def _refused(outside: int, inside: int, said: str) -> tuple[Response, Changes]:
    return answer(outside, {"status": inside, "errorMessage": said}), {}
