"""The check of a load as plain data, as `--json` prints it; described by `plan.schema.json` beside this file."""

from typing import Any

from connectors.clean_text import clean_text
from monitor.core.parameters import Parameters
from monitor.core.span import Span
from monitor.planning.load_out import LoadOut, Sharing


def load_out_data(found: LoadOut, parameters: Parameters) -> dict[str, Any]:
    """All of a check."""
    return {
        "kind": "load_out",
        "machine": clean_text(parameters.machine),
        "strands": [
            {
                "input": strand.input,
                "material": clean_text(strand.material.name),
                "label": clean_text(strand.label),
                "min_feed_c": strand.material.min_feed_c,
                "min_feed_is_rule": strand.material.min_feed_is_rule,
                "ceiling_c": strand.material.ceiling_c,
            }
            for strand in found.strands
        ],
        "all": _sharing(found.all),
        "largest": None if found.largest is None else _sharing(found.largest),
        "pairs": [_sharing(pair) for pair in found.pairs],
        "purge_mm": found.purge_mm,
    }


def _sharing(sharing: Sharing) -> dict[str, Any]:
    bound = sharing.bound
    return {
        "inputs": list(sharing.inputs),
        "works": sharing.works,
        "set_c": sharing.set_c,
        "needed_by": sharing.needed_by,
        "most_c": bound.most_c,
        "most_by_liner": None if bound.liner is None else clean_text(bound.liner),
        "most_by_input": bound.input,
        "idle": [{"input": it.input, "warn_s": _span(it.warn_s), "limit_s": _span(it.limit_s)} for it in sharing.idle],
    }


def _span(span: Span) -> dict[str, float]:
    return {"low": span.low, "high": span.high}
