"""The one assertion for refusals."""

from typing import Any

import httpx

from app.web.contract.problem_types import PROBLEM_TYPES

ALWAYS = {"type", "title", "status", "detail", "instance"}


def assert_problem(
    response: httpx.Response,
    status: int,
    *,
    code: str | None = None,
    parameter: str | None = None,
    pointer: str | None = None,
    suggestion: str | None = None,
) -> dict[str, Any]:
    """Asserts a problem detail (RFC 9457) of that status, with one error that has all the given members; returns it."""
    assert response.status_code == status, f"{response.status_code}: {response.text[:500]}"
    assert response.headers["content-type"] == "application/problem+json"
    problem: dict[str, Any] = response.json()
    assert problem.keys() >= ALWAYS
    kind = PROBLEM_TYPES[problem["type"].removeprefix("/problems/")]
    assert (problem["status"], problem["title"]) == (status, kind.title)
    assert problem["instance"].startswith("/")
    if "x-request-id" in response.headers:
        assert problem["request_id"] == response.headers["x-request-id"]
    wanted = {"code": code, "parameter": parameter, "pointer": pointer, "suggestion": suggestion}
    wanted = {name: value for name, value in wanted.items() if value is not None}
    if wanted:
        assert any(wanted.items() <= error.items() for error in problem["errors"]), problem["errors"]
    for word in ("Traceback", "site-packages", ".py", "SELECT ", "sqlite"):
        assert word not in str({**problem, "instance": ""})
    return problem
