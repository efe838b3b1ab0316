"""Whether the server can do its work."""

from typing import Any

from django.conf import settings
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.utils import DatabaseError
from django.http import HttpRequest, JsonResponse
from redis import Redis, RedisError

from ledger import outbox


def readyz(request: HttpRequest) -> JsonResponse:
    """Database, migrations, broker and worker, each with what is wrong; 503 unless all are well."""
    checks = {
        "database": _database(),
        "broker": _broker(),
        "worker": "ok" if outbox.worker_alive() else "no sign of life in the last minute",
    }
    ready = all(said == "ok" for said in checks.values())
    body: dict[str, Any] = {"ready": ready, "checks": checks}
    return JsonResponse(body, status=200 if ready else 503)


def _database() -> str:
    try:
        executor = MigrationExecutor(connection)
        missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
    except DatabaseError:
        return "does not answer"
    return f"{len(missing)} migrations are missing" if missing else "ok"


def _broker() -> str:
    try:
        Redis.from_url(settings.REDIS_URL, socket_timeout=1, socket_connect_timeout=1).ping()
    except RedisError:
        return "does not answer"
    return "ok"
