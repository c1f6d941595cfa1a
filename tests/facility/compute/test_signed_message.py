"""Signed HTTP messages against the examples of RFC 9421 and RFC 9530."""

from __future__ import annotations

import base64

import pytest

from facility.compute.signed_message import (
    content_digest,
    of_address,
    parameters,
    signature,
    signature_base,
    signed,
)

#: RFC 9421, appendix B.1.5: test-shared-secret
KEY = base64.b64decode("uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ==")


def test_the_example_of_rfc_9421_is_signed_as_there() -> None:
    """RFC 9421, appendix B.2.5: signing a request using hmac-sha256."""
    components = {
        "date": "Tue, 20 Apr 2021 02:07:55 GMT", "@authority": "example.com", "content-type": "application/json",
    }  # fmt: skip
    told = parameters(components, 1618884473, "test-shared-secret")
    base = signature_base(components, told)
    assert base.decode() == (
        '"date": Tue, 20 Apr 2021 02:07:55 GMT\n'
        '"@authority": example.com\n'
        '"content-type": application/json\n'
        '"@signature-params": ("date" "@authority" "content-type");created=1618884473;keyid="test-shared-secret"'
    )
    assert signature(base, KEY) == "pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8="


@pytest.mark.parametrize(
    ("body", "digest"),
    [
        (b'{"hello": "world"}', "sha-256=:X48E9qOokqqrvdts8nOJRJN3OWDUoyWxBf7kbu9DBPE=:"),  # RFC 9530, appendix D
        (b'{"hello": "world"}\n', "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"),  # RFC 9530, appendix B.1
    ],
)
def test_the_digest_of_a_body_is_that_of_rfc_9530(body: bytes, digest: str) -> None:
    assert content_digest(body) == digest


@pytest.mark.parametrize(
    ("url", "authority", "path", "query"),
    [
        # RFC 9421, sections 2.2.3, 2.2.6 and 2.2.7: lower case, no port that the scheme has anyway, no empty path
        ("https://www.Example.com:443/path?param=value", "www.example.com", "/path", "?param=value"),
        ("http://push.lan:8080", "push.lan:8080", "/", "?"),
        ("http://[fd12::9]:80/a%20b", "[fd12::9]", "/a%20b", "?"),
    ],
)
def test_what_is_signed_of_an_address_is_as_rfc_9421_derives_it(
    url: str, authority: str, path: str, query: str
) -> None:
    assert of_address(url) == {"@method": "POST", "@authority": authority, "@path": path, "@query": query}


def test_a_message_is_signed_over_its_digest_and_its_name() -> None:
    headers = {
        "content-type": "application/json",
        "content-digest": content_digest(b"{}"),
        "idempotency-key": '"7.box"',
    }
    found = signed("https://example.com/hook", headers, key=KEY, key_id="way-7", created=1618884473)
    covered = '"@method" "@authority" "@path" "@query" "content-type" "content-digest" "idempotency-key"'
    assert found["signature-input"] == f'deepstead=({covered});created=1618884473;keyid="way-7"'
    other = signed(
        "https://example.com/hook",
        headers | {"idempotency-key": '"8.box"'},
        key=KEY,
        key_id="way-7",
        created=1618884473,
    )
    assert other["signature"] != found["signature"]
    with pytest.raises(KeyError, match="content-digest"):
        signed("https://example.com/hook", {"content-type": "text/plain"}, key=KEY, key_id="way-7", created=1)
