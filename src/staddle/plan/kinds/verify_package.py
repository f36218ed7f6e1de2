"""Verify the package: every digest of its manifest, and the digest of the whole against the pinned one."""

from staddle.plan.kind import Facts, Kind, Minutes
from staddle.plan.looks import Look
from staddle.plan.orders import Step
from staddle.plan.ports import Tools


class VerifyPackage(Kind):
    facts = Facts(
        name="verify-package",
        title="verify the package",
        goal="every file has the digest of the manifest, and the whole has the pinned one",
        probe="SHA-256 read from the files themselves",
        acts=False,
        minutes=Minutes(optimistic=0.2, likely=2, pessimistic=15),
    )

    async def look(self, step: Step, tools: Tools) -> Look:
        return await tools.verify_package(lambda done, total: tools.progress(step.step_id, done, total))


KIND = VerifyPackage()
