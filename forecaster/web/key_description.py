"""What the API's description says of keys: how one is sent, and the answers to whoever has none or the wrong one."""

from __future__ import annotations

from typing import Any

from forecaster.errors import NotAllowed
from forecaster.web.access import OPEN, is_api
from forecaster.web.problems import openapi_problem

SCHEME = "key"
METHODS = frozenset({"get", "put", "post", "delete", "options", "head", "patch", "trace"})
_SCHEME = {
    "type": "http",
    "scheme": "bearer",
    "description": (
        "A key that whoever runs the program made with the command keys add. It may read or also write, and may open some grounds only. "
        "Where the program can be reached from its own machine alone, none is needed."
    ),
}
_NO_KEY_OR_KEY: list[dict[str, list[str]]] = [{}, {SCHEME: []}]
"""Either of the two, because the same description is served where no key is needed (OpenAPI 3.1, security requirement object)."""


def describe_keys(schema: dict[str, Any]) -> None:
    """Put the Bearer scheme (RFC 6750) and the answers 401 and 403 into a description, for every address that a key opens."""
    schema.setdefault("components", {}).setdefault("securitySchemes", {})[SCHEME] = _SCHEME
    refusals = openapi_problem("key-needed", NotAllowed.slug)
    for path, item in schema["paths"].items():
        for method, operation in item.items():
            if method not in METHODS or not is_api(path):
                continue
            # Another name, another site or a proxy is refused everywhere.
            operation["responses"].setdefault("403", refusals[403])
            if path.startswith(OPEN):
                operation["security"] = []
                continue
            operation["security"] = _NO_KEY_OR_KEY
            operation["responses"].setdefault("401", refusals[401])
