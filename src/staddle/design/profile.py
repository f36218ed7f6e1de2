"""An appliance's profile as data: how it is asked, what is expected, what is kept. No speaking in here (appliances/).

Values are written ``${name}`` as OVF writes them; expressions are JMESPath. An act is a list of blocks
``ask / expect / keep / deadline``. What an appliance calls its things stands here and nowhere in the program.
"""

from datetime import timedelta
from typing import Annotated, Final, Literal

from pydantic import Field

from staddle.design.model import Span, _Row
from staddle.kernel import parse_duration

__all__ = ["NO_PROFILE", "Ask", "Block", "ClusterLine", "Expect", "Profile"]

NO_PROFILE: Final = "none"
"""What a design names while nobody has written the profile: all but speaking to the appliance works."""


class Ask(_Row):
    """One request."""

    method: Literal["GET", "POST", "PUT", "DELETE"] = Field(description="HTTP method")
    path: str = Field(pattern=r"^/", description="path on the member, may hold ${name}")
    send: dict[str, str | int | bool] = Field(default={}, description="JSON body; texts may hold ${name}")
    signed_in: bool = Field(default=True, description="whether the administrator's credentials are sent")


class Expect(_Row):
    """Which replies mean what. Any other status is a refusal by the appliance."""

    status: tuple[int, ...] = Field(default=(200,), description="the goal is reached, if `where` holds too")
    where: str = Field(default="", description="JMESPath on the reply that must be true")
    not_yet: tuple[int, ...] = Field(default=(), description="nothing is wrong, it is only too early")
    unknown: tuple[int, ...] = Field(
        default=(), description="the appliance itself does not know whether it happened"
    )


class Block(_Row):
    """One block of an act."""

    ask: Ask
    expect: Expect = Expect()
    keep: dict[str, str] = Field(default={}, description="name -> JMESPath on the reply")
    deadline: Span = Field(default="5 s", description="how long one request may take")

    @property
    def deadline_span(self) -> timedelta:
        """How long one request may take."""
        return parse_duration(self.deadline)


class ClusterLine(_Row):
    """A step of the cluster that only this appliance has."""

    step: Annotated[str, Field(pattern=r"^[a-z][a-z-]*$")] = Field(description="name of the step")
    title: str = Field(description="what it does, as a person would say it")
    act: str = Field(description="the act that brings it about")
    look: str = Field(description="the act that shows whether it is so")
    needs_deputy: bool = Field(default=False, description="left out when the design names no deputy")


class Profile(_Row):
    """The whole of a profile file."""

    profile: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]*$")] = Field(description="short name")
    title: str = Field(description="the appliance, as people call it")
    product: str = Field(description="the package's product name that this profile speaks to")
    versions: tuple[str, ...] = Field(
        min_length=1, description="beginnings of the versions it was written for"
    )
    proven: str = Field(default="unproven", description="the recorded run that proves it")
    port: int = Field(ge=1, le=65535, description="where the appliance answers")
    user: str = Field(description="the administrator's name")
    password_property: str = Field(description="the package's property that sets the first password")
    message: str = Field(default="message", description="JMESPath to the sentence in an error reply")
    answers: dict[str, str] = Field(default={}, description="property -> its value, may hold ${name}")
    least_members: int = Field(default=1, ge=1, description="fewest data members the maker supports")
    most_members: int | None = Field(default=None, ge=1, description="most members the maker supports")
    acts: dict[str, tuple[Block, ...]] = Field(description="act -> its blocks")
    cluster: tuple[ClusterLine, ...] = Field(default=(), description="cluster steps, in their order")
