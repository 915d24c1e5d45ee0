"""Say as JSON Schema what board sheets, profiles and bench files may hold, for editors that help while one writes."""

from collections.abc import Callable, Mapping
from typing import Any

from station.bench_forms import BenchForm
from station.board import BoardForm
from station.profile import ProfileForm
from station.steps import KINDS

__all__ = ["SCHEMAS", "schema"]

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def schema(of: str) -> dict[str, Any]:
    """Return the JSON Schema of 'board', 'profile' or 'bench'; KeyError for anything else."""
    return {"$schema": DRAFT, **SCHEMAS[of]()}


def _profile() -> dict[str, Any]:
    """Return the schema of a profile, whose steps are each one key with the form of that kind."""
    made = ProfileForm.model_json_schema()
    definitions: dict[str, Any] = made.setdefault("$defs", {})
    kinds = {}
    for name, form in KINDS.items():
        own = form.model_json_schema(ref_template="#/$defs/{model}")
        definitions |= own.pop("$defs", {})
        definitions[form.__name__] = own
        kinds[name] = {"$ref": f"#/$defs/{form.__name__}"}
    step = {
        "type": "object",
        "properties": kinds,
        "additionalProperties": False,
        "minProperties": 1,
        "maxProperties": 1,
    }
    made["properties"]["steps"]["items"] = step
    return made


SCHEMAS: Mapping[str, Callable[[], dict[str, Any]]] = {
    "board": BoardForm.model_json_schema,
    "profile": _profile,
    "bench": BenchForm.model_json_schema,
}
