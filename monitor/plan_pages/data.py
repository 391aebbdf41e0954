"""A plan as plain data, as `--json` prints it; described by `plan.schema.json` beside this file.

Keys end in their unit. Owns the shape; wording is elsewhere.
"""

import json
from typing import Any, Final

from connectors.clean_text import clean_text
from monitor.build_file.schedule import BuildSchedule, InputPlan
from monitor.build_file.tally import Counted
from monitor.core.parameters import Strand
from monitor.plan_pages.places import place_of, set_point_line
from monitor.plan_pages.strip import strip_of
from monitor.planning.options import Build, Option
from monitor.planning.plan import Plan
from monitor.planning.verdicts import Verdict

COLUMNS: Final = 240
"""How finely the timeline of the build as planned is cut."""


def json_text(data: dict[str, Any]) -> str:
    """One line of strict JSON."""
    return json.dumps(data, ensure_ascii=False, allow_nan=False)


def plan_data(plan: Plan, file_name: str) -> dict[str, Any]:
    """All of a plan."""
    build, best = plan.build, plan.best
    return {
        "kind": "plan",
        "machine": clean_text(build.model.parameters.machine),
        "survives": plan.survives,
        "file": _file(build.schedule, file_name),
        "manifold": {"sensor": build.manifold, "set_by": plan.manifold_by.name, "held_c": plan.manifold_c},
        "strands": [_strand(build, strand) for strand in build.model.parameters.strands],
        "unloaded": [{"input": number, "feeds_mm": mm} for number, mm in plan.unloaded],
        "unassigned_mm": build.schedule.unassigned_mm,
        "options": [_option(build, option) for option in plan.tried],
        "best": None if best is None else plan.tried.index(best),
        "lost_in_all": list(plan.lost_in_all),
        "slow": _slow(plan),
        "timeline": _timeline(plan),
    }


def _slow(plan: Plan) -> dict[str, Any] | None:
    slow = plan.slow
    if slow is None:
        return None
    return {
        "length_s": slow.length_s,
        "option": plan.tried.index(slow.option),
        "safe": slow.then.is_safe,
        "risk": slow.then.risk,
        "verdicts": [_verdict(verdict) for verdict in slow.then.verdicts],
        "safer": None if slow.safer is None else plan.tried.index(slow.safer),
    }


def _file(schedule: BuildSchedule, name: str) -> dict[str, Any]:
    return {
        "name": name,
        "lines": schedule.lines,
        "bytes": schedule.bytes,
        "moves": schedule.moves,
        "layers": len(schedule.layers),
        "tool_changes": schedule.times.tool_changes,
        "low_s": schedule.duration.low_s,
        "planned_s": schedule.duration.planned_s,
        "high_s": schedule.duration.high_s,
        "limits_known": schedule.limits_known,
        "pauses": [
            {"line": it.line, "code": clean_text(it.code), "what": clean_text(it.kind), "time_s": it.time_s}
            for it in schedule.pauses
        ],
        "unknown": [_counted(row) for row in schedule.unknown],
        "notes": [_counted(row) for row in schedule.notes],
    }


def _counted(row: Counted) -> dict[str, Any]:
    return {"what": clean_text(row.what), "count": row.count, "first_line": row.first_line}


def _strand(build: Build, strand: Strand) -> dict[str, Any]:
    return {
        "input": strand.input,
        "material": clean_text(strand.material.name),
        "label": clean_text(strand.label),
        "warn_min": strand.material.warn_min,
        "limit_min": strand.material.limit_min,
        "min_feed_c": strand.material.min_feed_c,
        "feeds": _feeds(build.schedule.of_input(strand.input)),
    }


def _feeds(plan: InputPlan | None) -> dict[str, Any] | None:
    if plan is None or plan.new_mm <= 0.0:
        return None
    return {
        "new_mm": plan.new_mm,
        "first_s": plan.first_s,
        "last_s": plan.last_s,
        "gap_s": plan.gap_s,
        "gap_start_s": plan.gap_start_s,
    }


def _option(build: Build, option: Option) -> dict[str, Any]:
    changes = option.changes
    return {
        "name": option.name,
        "safe": option.is_safe,
        "risk": option.risk,
        "warned": option.warned,
        "waste_g": option.waste_g,
        "waste_s": option.waste_s,
        "faults": list(option.faults),
        "set_points": [
            {"sensor": it.sensor, "set_c": it.set_c, "insert": set_point_line(build, it.set_c)}
            | _place(build, it.time_s)
            for it in changes.set_points
        ],
        "withdrawn": [{"input": number} | _place(build, after_s) for number, after_s in changes.withdrawn_s.items()],
        "advances": [
            {"input": it.input, "length_mm": it.length_mm} | _place(build, it.time_s) for it in changes.advances
        ],
        "verdicts": [_verdict(verdict) for verdict in option.verdicts],
    }


def _place(build: Build, time_s: float) -> dict[str, Any]:
    place = place_of(build.schedule, time_s)
    return {"time_s": time_s, "line": place.line, "z_mm": place.z_mm}


def _verdict(verdict: Verdict) -> dict[str, Any]:
    by = verdict.withdraw_by_s
    return {
        "input": verdict.input,
        "outcome": verdict.outcome.name,
        "why": clean_text(verdict.why, 400),
        "when_s": verdict.when_s,
        "share_of_limit": verdict.share,
        "warned": verdict.is_warned,
        "purges": [{"time_s": it.time_s, "length_mm": it.length_mm} for it in verdict.purges],
        "withdraw_after_s": None if by is None else by[0],
        "withdraw_before_s": None if by is None else by[1],
    }


def _timeline(plan: Plan) -> dict[str, Any]:
    strip = strip_of(plan.build, plan.as_planned, COLUMNS)
    return {
        "column_s": strip.length_s / COLUMNS,
        "manifold_c": list(strip.manifold_c),
        "strands": [{"input": row.input, "cells": [cell.name for cell in row.cells]} for row in strip.rows],
    }
