"""Disks of which the package's file holds only what differs from another disk: who can make them, and who cannot.

The form of the file is the maker's (DSP0243: the format is a URI and nothing more), so that the program cannot put both together.
"""

from staddle.jobs.gather import Gathered
from staddle.kernel import Fault, NotAllowed

__all__ = ["refuse_differing_disks"]

_BY_PEOPLE = "by-hand"


def refuse_differing_disks(job: Gathered, platform: str) -> None:
    """Before anything is made: a disk that the platform would get only a part of.

    Raises: NotAllowed: a member has such a disk, and the platform writes what it is given. By hand the import of the package makes
        the disk from both files.
    """
    if platform == _BY_PEOPLE:
        return
    used = {
        device.disk_id
        for member in job.design.members
        for device in job.package.get_hardware(member.size or job.size_id).disks
    }
    faults = [
        Fault(
            what=f'the disk "{disk.disk_id}" cannot be delivered by the platform "{platform}"',
            where=job.package.descriptor_name,
            why=f'its file holds only what differs from the disk "{disk.parent_id}"; by itself it is no disk, and how both are put '
            "together is told by the maker's format alone",
            mend="ask the package's maker for one with whole disks; by hand, the import of the package can make it (platform: by-hand)",
        )
        for disk in job.package.disks
        if disk.disk_id in used and disk.parent_id
    ]
    if faults:
        raise NotAllowed(*faults)
