"""The rules that check the catalogue, and their current findings."""

from typing import Annotated

from fastapi import Path, Query, Request
from pydantic import Field
from starlette.responses import Response

from app.questions.tables import findings as questions
from app.questions.tables.findings import FindingsAsked
from app.rules.finding import Severity
from app.rules.registry import RuleShape
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.tables import respond_page
from app.web.routes.units import FormAsked

router = strict_router(tags=["rules"])


class RulesAsked(FormAsked):
    """The parameters of the list of rules."""

    family: str | None = Field(default=None, max_length=80, description="Only this family.")
    severity: Severity | None = Field(default=None, description="Only this severity.")
    shape: RuleShape | None = Field(default=None, description="Only rules that see this.")


@router.get(
    "/v1/rules",
    operation_id="listRules",
    summary="All rules",
    response_model=None,
    responses={200: {"model": questions.RuleList, "description": "Every rule, by family."}},
)
async def list_rules(request: Request, asked: Annotated[RulesAsked, Query()]) -> Response:
    """Each rule with what it finds, why that is wrong, how to fix it, and an example that passes and one that fails."""
    answer = questions.rule_list(asked.family, asked.severity, asked.shape)
    return await respond(request, answer, questions.RULE_LIST, question="rules", rows="rules")


@router.get(
    "/v1/rules/{id}",
    operation_id="getRule",
    summary="One rule",
    response_model=None,
    responses={200: {"model": questions.RuleRow, "description": "What it finds, why, and how to fix it."}},
)
async def get_rule(
    request: Request,
    id: Annotated[str, Path(description="Name of the rule.")],
    asked: Annotated[FormAsked, Query()],
) -> Response:
    """The rule that a finding names. 404 for an unknown name, with similar `candidates`."""
    return await respond(request, questions.one_rule(id), questions.RULE, question="rule")


@router.get(
    "/v1/findings",
    operation_id="listFindings",
    summary="Current findings",
    response_model=None,
    responses={200: {"model": questions.FindingList, "description": "Warnings, ordered by table, row and rule."}},
)
async def list_findings(request: Request, asked: Annotated[FindingsAsked, Query()]) -> Response:
    """Warnings about the current catalogue. Rejected changes are never stored, so they are not listed."""
    cursor = asked.read_cursor("findings", (str,))
    catalogue = request.app.state.catalogue
    answer = await catalogue.ask(lambda snapshot: questions.finding_list(snapshot, asked, cursor), asked.pin_of(cursor))
    return await respond_page(request, answer, questions.FINDING_LIST, question="findings", rows="findings")
