import json

import pytest

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.http.messages import Response
from orchestrator.adapters.restconf.root import USUAL, root_in

HOST = "192.0.2.20"
XRD = """<?xml version='1.0' encoding='UTF-8'?>
<XRD xmlns='http://docs.oasis-open.org/ns/xri/xrd-1.0'>
    <Link rel='lrdd' href='/who'/>
    <Link rel='restconf' href='{href}'/>
</XRD>"""
"""As in the example of RFC 8040, section 3.1, with one link more."""


def xml(text: str) -> Response:
    """An answer in XML."""
    headers = {"content-type": "application/xrd+xml"}
    return Response(status=200, headers=headers, body=text.encode())


def as_json(value: object) -> Response:
    """An answer in JSON."""
    headers = {"content-type": "application/json"}
    return Response(status=200, headers=headers, body=json.dumps(value).encode())


@pytest.mark.parametrize(
    ("href", "root"),
    [
        ("/restconf", "/restconf"),
        ("/top/restconf", "/top/restconf"),
        ("/top/restconf/", "/top/restconf"),
        (f"https://{HOST}/api", "/api"),
        ("api", "/api"),
    ],
)
def test_the_link_says_where_the_api_is(href: str, root: str) -> None:
    """In XRD, and in its JSON form (RFC 6415, appendix A)."""
    assert root_in(xml(XRD.format(href=href)), HOST) == root
    links = {"links": [{"rel": "lrdd"}, {"rel": "restconf", "href": href}]}
    assert root_in(as_json(links), HOST) == root


@pytest.mark.parametrize("empty", [xml("<XRD/>"), as_json({}), as_json({"links": [1]})])
def test_without_a_link_it_is_at_the_usual_place(empty: Response) -> None:
    """Other services have host metadata too."""
    assert root_in(empty, HOST) == USUAL


@pytest.mark.parametrize("href", ["https://192.0.2.99/restconf", "//192.0.2.99/x", "http://[bad"])
def test_it_leads_to_no_other_host(href: str) -> None:
    """Whoever signs in there would give its secret away."""
    with pytest.raises(Unusable, match="another host"):
        root_in(xml(XRD.format(href=href)), HOST)


def test_what_is_no_xml_is_told() -> None:
    """A page for people, perhaps."""
    with pytest.raises(Unusable, match="no XML"):
        root_in(xml("<p>hello<br>"), HOST)


@pytest.mark.parametrize(
    "bomb",
    [
        '<!DOCTYPE x [<!ENTITY a "b"><!ENTITY c "&a;&a;&a;">]><XRD>&c;</XRD>',
        '<!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/passwd">]><XRD>&f;</XRD>',
        "<!DOCTYPE XRD SYSTEM 'http://192.0.2.99/x.dtd'><XRD/>",
    ],
)
def test_a_document_type_is_refused_before_anything_of_it_is_done(bomb: str) -> None:
    """No entity grows, no file is read, nobody is called."""
    with pytest.raises(Unusable, match="document type"):
        root_in(xml(bomb), HOST)
