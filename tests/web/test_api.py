"""The JSON API under requests drawn from its own description (schemathesis): no answer is a fault of the server."""

from __future__ import annotations

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import not_a_server_error

from web.test_security import token_of

DRAWN_EACH = 20


def test_no_request_to_the_api_breaks_the_server(person, server):
    schema = schemathesis.openapi.from_dict(person.get("/api/openapi.json").json())
    schema.config.update(base_url=server.address)
    token = token_of(person)
    cookies = {"dryside-session": person.cookies["dryside-session"]}
    operations = [one.ok() for one in schema.get_all_operations()]
    assert len(operations) > 15
    for operation in operations:

        @settings(
            max_examples=DRAWN_EACH,
            database=None,
            derandomize=True,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        def one_operation(case):
            answer = case.call(base_url=server.address, headers={"x-dryside-token": token}, cookies=cookies)
            case.validate_response(answer, checks=[not_a_server_error])

        drawn = operation.as_strategy()
        from hypothesis import given

        given(case=drawn)(one_operation)()


@pytest.mark.parametrize(
    ("method", "path", "json"),
    [
        ("post", "/api/rolls/26-004-H/frames", {"line": "\x00"}),
        ("post", "/api/rolls/26-004-H/frames", {"line": "1-99 same"}),
        ("post", "/api/field", {"entries": [{"client_id": "aaaaaaaa", "roll": "x", "taken_at": "never"}]}),
        ("post", "/api/undo/1", None),
        ("get", "/api/find?words=%00", None),
        ("get", "/api/find?since=2026-02-30", None),
        ("get", "/api/rolls?after=99999999999999999999", None),
    ],
)
def test_awkward_requests_are_refused_in_words(person, method, path, json):
    headers = {"x-dryside-token": token_of(person)}
    answer = person.request(method, path, json=json, headers=headers)
    assert answer.status_code < 500, answer.text


def test_a_refusal_has_its_three_parts(person):
    refused = person.get("/api/rolls/26-999-X").json()["refused"]
    assert set(refused) == {"thing", "found", "remedy"}
