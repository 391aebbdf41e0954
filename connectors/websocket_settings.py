"""The `[link]` table of a profile for a websocket: what may be set, what is allowed, what it means.

Owns names, limits, defaults and descriptions. Knows nothing of how the connection is opened or read. The secret itself
never stands here, only where it is kept.
"""

from typing import Annotated, Final, Literal, Self
from urllib.parse import unquote_plus, urlsplit

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, field_validator, model_validator

from connectors.clean_text import clean_text
from connectors.feed_ledger import DEFAULT_FASTEST_MM_S, DEFAULT_RETRACT_LIMIT_MM, FeedBounds
from connectors.plausibility import TemperatureBounds
from connectors.temperature_settings import (
    DEFAULT_FASTEST_K_S,
    DEFAULT_HIGHEST_C,
    DEFAULT_LOWEST_C,
    Fastest,
    Highest,
    Lowest,
)
from connectors.websocket_channels import ChannelSource, check_channel, kind_of, owner_of
from connectors.websocket_messages import MessageRule
from connectors.websocket_texts import check_sendable

TOKEN_MARK: Final = "{token}"  # noqa: S105 -- the place holder, not a secret
_TOKEN: Final = r"^[!#-\[\]-~]+$"  # noqa: S105 -- what an HTTP subprotocol or header name may hold
_HEADER: Final = r"^[A-Za-z0-9-]+$"

SendText = Annotated[str, Field(min_length=1, max_length=4096), AfterValidator(check_sendable)]


class Keepalive(BaseModel):
    """A text that some servers want to hear now and then."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    every_s: float = Field(ge=1.0, le=3600.0, description="time between two such texts [s]")
    text: SendText = Field(description="what is sent")


class WebsocketSettings(BaseModel):
    """A machine, or the host beside it, that tells its status as JSON over a websocket (RFC 6455)."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    kind: Literal["websocket"] = Field(default="websocket", description="this link is a websocket")
    url: str = Field(min_length=1, max_length=500, description="ws:// or wss:// (with TLS), host, port, path")
    subprotocol: str | None = Field(
        default=None, max_length=100, pattern=_TOKEN, description="name of the subprotocol, where the server wants one"
    )
    ca_file: str | None = Field(
        default=None, min_length=1, max_length=300, description="wss: certificate (PEM) of your own authority"
    )
    token_file: str | None = Field(
        default=None,
        min_length=1,
        max_length=300,
        description="file that holds the access token; readable by its owner only (chmod 600)",
    )
    token_env: str | None = Field(
        default=None, min_length=1, max_length=100, description="environment variable that holds the access token"
    )
    auth_header: str = Field(
        default="Authorization", max_length=100, pattern=_HEADER, description="HTTP header in which the token is sent"
    )
    auth_prefix: str = Field(
        default="Bearer ", max_length=50, pattern=r"^[ -~]*$", description="text before the token in that header"
    )

    on_connect: tuple[SendText, ...] = Field(
        default=(),
        max_length=16,
        description="texts sent after connecting, in this order; {token} in one stands for the access token, which is "
        "then not sent as a header",
    )
    keepalive: Keepalive | None = Field(default=None, description="a text that the server wants to hear now and then")

    messages: tuple[MessageRule, ...] = Field(
        min_length=1, max_length=64, description="what the messages mean; the first rule that fits decides"
    )
    channels: dict[str, ChannelSource] = Field(
        min_length=1, max_length=400, description="our channel -> where it stands in the status"
    )

    sender_time_unit: Literal["s", "ms"] = Field(default="s", description="unit of the machine's own clock")
    full_within_s: float = Field(
        default=10.0, ge=1.0, le=600.0, description="a full status must have come this long after connecting [s]"
    )
    stale_after_s: float = Field(
        default=10.0, ge=1.0, le=600.0, description="after this time without a message the link is called silent [s]"
    )
    silent_means: Literal["stale", "unchanged"] = Field(
        default="stale",
        description="stale: silence is a gap; unchanged: the server tells changes only, so while it answers pings the "
        "last values hold",
    )
    resync_every_s: float | None = Field(
        default=None,
        ge=10.0,
        le=86_400.0,
        description="connect anew this often for a full status [s]; for servers that number no messages",
    )
    max_message_bytes: int = Field(
        default=1_048_576, ge=1024, le=67_108_864, description="a longer message closes the connection [bytes]"
    )
    ping_interval_s: float = Field(default=10.0, ge=1.0, le=600.0, description="time between pings [s]")
    ping_timeout_s: float = Field(
        default=10.0, ge=1.0, le=600.0, description="a ping unanswered for this long ends the connection [s]"
    )
    reconnect_max_s: float = Field(
        default=30.0, ge=0.5, le=300.0, description="longest pause between attempts to connect [s]"
    )
    lowest_c: Lowest = DEFAULT_LOWEST_C
    highest_c: Highest = DEFAULT_HIGHEST_C
    fastest_k_s: Fastest = DEFAULT_FASTEST_K_S
    retract_limit_mm: float = Field(
        default=DEFAULT_RETRACT_LIMIT_MM, gt=0, le=500.0, description="longer than any retraction [mm]: more is a reset"
    )
    fastest_feed_mm_s: float = Field(
        default=DEFAULT_FASTEST_MM_S, gt=0, le=1000.0, description="no drive feeds faster [mm/s]: more is a jump"
    )

    @field_validator("url")
    @classmethod
    def _address(cls, url: str) -> str:
        if clean_text(url, 500) != url or " " in url:
            raise ValueError("holds characters that no address has")
        parts = urlsplit(url)
        if parts.scheme not in ("ws", "wss") or not parts.hostname:
            raise ValueError("is no websocket address; it looks like ws://192.0.2.7:7700/live or wss://…")
        if parts.username is not None or parts.password is not None:
            raise ValueError("holds a user or password; keep secrets in token_file or token_env")
        if parts.fragment or "#" in url:
            raise ValueError("holds '#', which no websocket address may")
        _ = parts.port  # raises ValueError itself when it is none
        check_sendable(unquote_plus(parts.query))
        return url

    @field_validator("channels")
    @classmethod
    def _channels(cls, channels: dict[str, ChannelSource]) -> dict[str, ChannelSource]:
        for name, source in channels.items():
            if clean_text(name, 60) != name:
                raise ValueError("a channel's name may hold only characters that can be shown, at most 60")
            check_channel(name, source)
        return channels

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if self.ca_file is not None and not self.is_encrypted:
            raise ValueError("ca_file has a meaning only with a wss:// address")
        if self.token_file is not None and self.token_env is not None:
            raise ValueError("give token_file or token_env, not both")
        if not self.has_token and any(TOKEN_MARK in text for text in self.texts):
            raise ValueError(f"{TOKEN_MARK} stands in a text, but neither token_file nor token_env is given")
        if not any(rule.means in ("full", "partial") for rule in self.messages):
            raise ValueError('no message carries a status: at least one rule needs means = "full" or "partial"')
        _ = self.temperature_bounds  # raises ValueError itself when they leave no temperature
        if self.resync_every_s is not None and self.resync_every_s <= self.full_within_s:
            raise ValueError("resync_every_s must be longer than full_within_s")
        return self

    @property
    def is_encrypted(self) -> bool:
        """Whether the connection uses TLS."""
        return urlsplit(self.url).scheme == "wss"

    @property
    def has_token(self) -> bool:
        """Whether an access token is to be read."""
        return self.token_file is not None or self.token_env is not None

    @property
    def texts(self) -> tuple[str, ...]:
        """Every text that can be sent, with the token's place holder."""
        return self.on_connect + ((self.keepalive.text,) if self.keepalive is not None else ())

    @property
    def shown_url(self) -> str:
        """Address for messages: without the query, where secrets may stand."""
        parts = urlsplit(self.url)
        return clean_text(f"{parts.scheme}://{parts.netloc}{parts.path}")

    @property
    def sensors(self) -> frozenset[str]:
        """Sensors whose temperature is mapped."""
        return frozenset(owner_of(name) for name in self.channels if kind_of(name) == "temp_c")

    @property
    def inputs(self) -> frozenset[int]:
        """Inputs whose commanded feed is mapped."""
        return frozenset(int(owner_of(name)) for name in self.channels if kind_of(name) == "fed_mm")

    @property
    def feed_bounds(self) -> FeedBounds:
        """What a counter of feed can do; where it wraps is each channel's own."""
        return FeedBounds(self.retract_limit_mm, self.fastest_feed_mm_s)

    @property
    def temperature_bounds(self) -> TemperatureBounds:
        """Temperatures that can be true, where a channel's own `min` and `max` do not say otherwise."""
        return TemperatureBounds(self.lowest_c, self.highest_c, self.fastest_k_s)
