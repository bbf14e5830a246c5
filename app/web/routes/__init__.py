"""All routers, in order of matching: the first route that matches answers. Frequent routes come first, generic ones
last.
"""

from fastapi import APIRouter

from app.web.contract.deprecations import announce
from app.web.routes import (
    audit,
    batch,
    bench_forms,
    chassis_questions,
    docs,
    draft_forms,
    drafts,
    edits,
    entry,
    exports,
    flags,
    fork_services,
    forks,
    frame_questions,
    health,
    identify,
    job_cards,
    metrics,
    part_questions,
    problems,
    revisions,
    rules,
    search,
    setup,
    sign_in,
    standards,
    start,
    statement_edits,
    tables,
    units,
    work_order_forms,
    work_orders,
)

ROUTERS: tuple[APIRouter, ...] = (
    chassis_questions.router,
    health.router,
    metrics.router,
    docs.router,
    sign_in.router,
    audit.router,
    start.router,
    problems.router,
    units.router,
    standards.router,
    identify.router,
    job_cards.router,
    batch.router,
    setup.router,
    part_questions.router,
    frame_questions.router,
    edits.router,
    statement_edits.router,
    exports.router,
    bench_forms.router,
    entry.router,
    forks.router,
    fork_services.router,
    work_order_forms.router,
    work_orders.router,
    flags.router,
    draft_forms.router,
    drafts.router,
    revisions.router,
    rules.router,
    search.router,
    tables.router,
)

for router in ROUTERS:
    announce(router.routes)
