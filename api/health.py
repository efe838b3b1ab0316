"""Whether the server can do its work."""

from typing import Any

from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.utils import DatabaseError
from django.http import HttpRequest, JsonResponse

from ledger import outbox


def readyz(request: HttpRequest) -> JsonResponse:
    """Database, migrations, broker and worker, each with what is wrong; 503 unless all are well.

    Work that was parked is counted and makes nobody unready: `release_parked` tries it again.
    """
    checks = {
        "database": _database(),
        "broker": "ok" if outbox.broker_answers() else "does not answer",
        "worker": "ok" if outbox.worker_alive() else "no sign of life in the last minute",
    }
    ready = all(said == "ok" for said in checks.values())
    body: dict[str, Any] = {"ready": ready, "checks": checks}
    if checks["database"] == "ok":
        body["parked"] = outbox.state().parked
    return JsonResponse(body, status=200 if ready else 503)


def _database() -> str:
    try:
        executor = MigrationExecutor(connection)
        missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
    except DatabaseError:
        return "does not answer"
    return f"{len(missing)} migrations are missing" if missing else "ok"
