"""The `[[link.messages]]` rules: which message means what, and where in it the status stands. Settings only."""

from typing import Annotated, Final, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    StrictBool,
    StrictFloat,
    StrictInt,
    StrictStr,
    model_validator,
)

from connectors.json_pointer import parse_pointer
from connectors.merge_patch import Arrays, Null


def _check_pointer(text: str) -> str:
    parse_pointer(text)
    return text


PointerText = Annotated[str, Field(max_length=500), AfterValidator(_check_pointer)]
Scalar = StrictStr | StrictBool | StrictInt | StrictFloat

_ONLY_PARTIAL: Final = {"into", "change", "null", "arrays"}
_ONLY_STATUS: Final = {"sender_time", "sequence"}


class MessageRule(BaseModel):
    """One kind of message. The first rule that fits a message decides."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    means: Literal["full", "partial", "ignore", "refused"] = Field(
        description="full: a whole status; partial: what changed; ignore: a sign of life, nothing more; "
        "refused: the machine turned down what was sent on connect"
    )
    when: PointerText | None = Field(
        default=None, description="pointer into the message; the rule fits when it is there; without it, always"
    )
    equals: Scalar | None = Field(default=None, description="the rule fits only when exactly this stands at `when`")
    text: Annotated[str, Field(min_length=1, max_length=200)] | None = Field(
        default=None, description="ignore: the rule fits a message that is exactly this text, whether JSON or not"
    )
    at: PointerText = Field(
        default="", description="where in the message the status, the change or the machine's reason stands"
    )
    into: PointerText = Field(default="", description="partial: the part of the status that the change applies to")
    change: Literal["merge_patch", "json_patch", "pairs", "replace"] = Field(
        default="merge_patch",
        description="partial: how it is applied; merge_patch (RFC 7396), json_patch (RFC 6902), "
        "pairs of a name and a value, or replace",
    )
    null: Null = Field(default="delete", description="merge_patch: a null deletes the member, or is a value")
    arrays: Arrays = Field(default="replace", description="merge_patch: arrays are replaced whole, or by_index")
    sender_time: PointerText | None = Field(
        default=None, description="pointer into the message: the machine's own clock (link.sender_time_unit)"
    )
    sequence: PointerText | None = Field(
        default=None, description="pointer into the message: a whole number that grows by 1 with each message"
    )

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        given = self.model_fields_set
        self._only_with(given & _ONLY_PARTIAL, is_fit=self.means == "partial", needed='means = "partial"')
        self._only_with(given & _ONLY_STATUS, is_fit=self.means in ("full", "partial"), needed="a status or a change")
        self._only_with(given & {"text"}, is_fit=self.means == "ignore" and self.when is None, needed='"ignore"')
        is_merge = self.change == "merge_patch"
        self._only_with(given & {"null", "arrays"}, is_fit=is_merge, needed='change = "merge_patch"')
        self._only_with(given & {"equals"}, is_fit=self.when is not None, needed="when")
        return self

    @staticmethod
    def _only_with(given: set[str], *, is_fit: bool, needed: str) -> None:
        if given and not is_fit:
            raise ValueError(f"{', '.join(sorted(given))} has a meaning only with {needed}")
