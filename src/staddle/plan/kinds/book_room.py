"""Book the room: memory, processors and storage of every member, so that no other job is promised the same."""

from staddle.plan.kind import BackOut, Facts, Kind
from staddle.plan.looks import Look
from staddle.plan.orders import Step
from staddle.plan.ports import Tools


class BookRoom(Kind):
    facts = Facts(
        name="book-room",
        title="book the room",
        goal="the register of bookings promises every member's room to this job",
        probe="the register is read back",
        back_out=BackOut.UNDO,
        back_out_note="the bookings are released",
    )

    async def look(self, step: Step, tools: Tools) -> Look:
        return tools.room.look(tools.plan.rooms, tools.plan.tag)

    async def act(self, step: Step, tools: Tools) -> None:
        tools.room.book(tools.plan.rooms, tools.plan.tag)

    async def look_undone(self, step: Step, tools: Tools) -> Look:
        return tools.room.look_released(tools.plan.tag)

    async def undo(self, step: Step, tools: Tools) -> None:
        tools.room.release(tools.plan.tag)


KIND = BookRoom()
