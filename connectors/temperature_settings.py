"""Keys of a `[link]` table that say which temperatures can be true; every kind of link that has sensors has them.

Owns their limits, defaults, descriptions and origin. What is done with them is in `plausibility`.
"""

from typing import Annotated, Final

from pydantic import Field

DEFAULT_LOWEST_C: Final = 0.0
DEFAULT_HIGHEST_C: Final = 900.0
DEFAULT_FASTEST_K_S: Final = 30.0

Lowest = Annotated[
    float,
    Field(
        ge=-273.15,
        description="a temperature below this cannot be true [°C]; lower it where there is frost",
        json_schema_extra={
            "origin": "common practice, no source: no machine in a room is colder, while an open sensor may read"
            " -14 °C; lower it where there is frost"
        },
    ),
]
Highest = Annotated[float, Field(le=2000.0, description="a temperature above this cannot be true [°C]")]
Fastest = Annotated[
    float,
    Field(gt=0, le=1000.0, description="no sensor changes faster [K/s]; what does is believed once a second agrees"),
]
