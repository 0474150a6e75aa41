"""Odd requests at every route, made by schemathesis from the studio's own OpenAPI document."""

from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.schemas import BaseSchema

from limewash.studio.app import create_app
from limewash.studio.desk import Desk
from limewash.studio.jobs import Jobs, JobState
from limewash.studio.recent import Recent

OURS = {"host": "127.0.0.1:8750"}
HERE = "http://127.0.0.1:8750"
# A server error, an answer that its own document does not name, or one of another shape or kind.
schemathesis.checks.load_all_checks()
CHECKS = schemathesis.checks.CHECKS.get_by_names(
    ["not_a_server_error", "status_code_conformance", "response_schema_conformance", "content_type_conformance"]
)
# These leave the test's own folder (any folder may be opened), or open a port: they have tests of their own.
ELSEWHERE = "/api/(projects|phone)"


FEW = settings(
    max_examples=6,
    deadline=None,
    derandomize=True,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


@pytest.fixture
def schema(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> BaseSchema:
    def not_really(self: Jobs, kind: str, title: str, arguments: dict[str, object], **_: object) -> JobState:
        return self.nothing_to_do(kind, title, arguments)

    monkeypatch.setattr(Jobs, "start", not_really)  # hundreds of worker processes would say nothing about the routes
    loaded = schemathesis.openapi.from_asgi("/openapi.json", create_app(desk), headers=OURS)
    return loaded.exclude(path_regex=ELSEWHERE)


@pytest.mark.slow
def test_no_request_breaks_the_studio(schema: BaseSchema) -> None:
    faults = []
    for found in schema.get_all_operations():
        operation = found.ok()

        @FEW
        @given(case=operation.as_strategy())
        def ask(case: schemathesis.Case) -> None:
            case.call_and_validate(base_url=HERE, headers=OURS, checks=CHECKS)

        try:
            ask()
        except (Exception, BaseExceptionGroup) as error:
            causes = getattr(error, "exceptions", [error])
            faults.extend(f"{operation.label}: {cause}" for cause in causes)
    assert not faults, "\n\n".join(faults)


def test_the_document_covers_the_routes(tmp_path: Path) -> None:
    desk = Desk(Recent(tmp_path / "recent.json"))
    try:
        paths = create_app(desk).openapi()["paths"]
    finally:
        desk.close()
    assert len(paths) > 50
    assert all(path.startswith("/api/") for path in paths)
