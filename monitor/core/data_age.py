"""How old the data are, and how far they can be trusted."""

from monitor.core.assessment import Quality
from monitor.core.engine_state import EngineState, Model


def silence_s(state: EngineState) -> float:
    """Age of the newest sample; since the session's start before the first [s]."""
    return state.time_s - (state.sample_s or 0.0)


def untold_s(state: EngineState) -> float:
    """Age of the newest wall temperature: a sample that holds none tells nothing of the strands [s]."""
    return max(silence_s(state), min((state.time_s - sensor.seen_s for sensor in state.sensors), default=0.0))


def are_walls_fresh(model: Model, state: EngineState) -> bool:
    """Whether no wall that strands depend on has fallen silent: what is gained by a guess is not sure."""
    latest_s = state.time_s - model.longest_silence_s
    walls = [state.sensors[index] for index in model.wall_sensors]
    return all(sensor.seen_s >= latest_s or sensor.temp_c is None for sensor in walls)


def data_quality(model: Model, state: EngineState) -> Quality:
    """Trust in what is said of the strands, by their walls: no better than the worst sensor they depend on.

    STALE once it, or any sample, is too old; BAD while it never reported, or when the machine counts as lost.
    """
    walls = [state.sensors[index] for index in model.wall_sensors]
    if state.field is None or any(sensor.temp_c is None for sensor in walls):
        return Quality.BAD
    oldest_s = max([silence_s(state), *(state.time_s - sensor.seen_s for sensor in walls)])
    if oldest_s > model.parameters.limits.unavailable_after_s:
        return Quality.BAD
    return Quality.STALE if oldest_s > model.longest_silence_s else Quality.GOOD
