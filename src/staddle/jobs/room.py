"""The Room port on the register of bookings: one booking for each member and pool, named after the plan's tag."""

from collections.abc import Iterator
from datetime import datetime

from staddle.estate.bookings import Booking, Bookings, same_room
from staddle.kernel import Clock, NotAllowed, OutsideFailed, StaddleError
from staddle.plan.looks import Look, NotYet, Seen
from staddle.plan.orders import RoomOrder

__all__ = ["RegisterRoom"]


class RegisterRoom:
    """Books for one rollout. Args: until: end of the promise; by: who books."""

    def __init__(
        self, register: Bookings, clock: Clock, *, job: str, rollout: str, by: str, until: datetime
    ) -> None:
        self._register = register
        self._clock = clock
        self._job = job
        self._rollout = rollout
        self._by = by
        self._until = until

    def _wanted(self, rooms: tuple[RoomOrder, ...], tag: str) -> Iterator[Booking]:
        now = self._clock.now()
        for room in rooms:
            for number, (pool, promised, written) in enumerate(room.pools or (("", 0, 0),)):
                yield Booking(
                    booking_id=f"{tag}/{room.member}/{pool or 'memory'}",
                    job=self._job,
                    rollout=self._rollout,
                    host=room.host,
                    pool=pool,
                    memory_bytes=room.memory_bytes if number == 0 else 0,
                    vcpus=room.vcpus if number == 0 else 0,
                    disk_bytes=promised,
                    written_bytes=written,
                    made_by=self._by,
                    made_at=now,
                    until=self._until,
                )

    def look(self, rooms: tuple[RoomOrder, ...], tag: str) -> Look:
        standing = {b.booking_id: b for b in self._register.all_bookings() if b.until > self._clock.now()}
        wanted = list(self._wanted(rooms, tag))
        missing = [
            b for b in wanted if b.booking_id not in standing or not same_room(b, standing[b.booking_id])
        ]
        if missing:
            return NotYet(why=f"{len(missing)} of {len(wanted)} bookings are not in the register")
        until = min((standing[b.booking_id].until for b in wanted), default=self._until)
        return Seen(evidence={"bookings": [b.booking_id for b in wanted], "until": until.isoformat()})

    def book(self, rooms: tuple[RoomOrder, ...], tag: str) -> None:
        try:
            self._register.book(list(self._wanted(rooms, tag)), now=self._clock.now())
        except NotAllowed as exc:  # the register is busy: the effect did not happen
            raise OutsideFailed(*exc.faults) from exc

    def release(self, tag: str) -> None:
        try:
            self._register.release(
                [b.booking_id for b in self._register.all_bookings() if b.booking_id.startswith(f"{tag}/")]
            )
        except NotAllowed as exc:
            raise OutsideFailed(*exc.faults) from exc

    def look_released(self, tag: str) -> Look:
        try:
            left = [b for b in self._register.all_bookings() if b.booking_id.startswith(f"{tag}/")]
        except StaddleError as exc:
            return NotYet(why=exc.faults[0].what)
        return NotYet(why=f"{len(left)} bookings are left") if left else Seen(evidence={"left": "no booking"})
