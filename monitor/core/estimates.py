"""Readings that the engine makes up its own mind about: the cold end where no sensor tells it.

The estimate is carried like a reading, marked, so that all that follows treats it as one.
"""

from monitor.core.engine_state import EngineState, Model
from monitor.core.readings import Sensor, Sensors, wall_vector


def estimated_sensors(model: Model, state: EngineState, step_s: float) -> Sensors:
    """Sensors with the cold end's estimate `step_s` further on; those of the state where a sensor tells it.

    A value reported within the last seconds counts, and the estimate goes on from it when no more come. At the start,
    once the manifold is known, the cold end is taken to be in balance with it, the hotter of what it can be.
    """
    law = model.cold_end
    if law is None:
        return state.sensors
    known = state.sensors[law.sensor]
    is_reported = known.temp_c is not None and not known.is_estimate
    if is_reported and state.time_s - known.seen_s <= model.longest_silence_s:
        return state.sensors
    temp_c = _estimate_c(model, state, known.temp_c, step_s)
    estimate = known._replace(temp_c=temp_c, is_estimate=temp_c is not None)
    return (*state.sensors[: law.sensor], estimate, *state.sensors[law.sensor + 1 :])


def _estimate_c(model: Model, state: EngineState, before_c: float | None, step_s: float) -> float | None:
    law = model.cold_end
    if law is None:
        return None
    if before_c is None and any(_is_unknown(state.sensors[index]) for index in model.merge_sensors):
        return None
    if state.field is None or before_c is None:
        walls_c = wall_vector(state.sensors, model.parameters, state.time_s)
        return law.balance_c(model.field.points.facts(walls_c).merge_c)
    strands_w = law.strands_w(model.field.path_rows(state.field)[0], before_c)
    return law.after_c(before_c, state.field.walls.merge_c, strands_w, step_s)


def _is_unknown(sensor: Sensor) -> bool:
    return sensor.temp_c is None and sensor.set_c is None
