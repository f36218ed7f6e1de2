"""Rules about the package's integrity, and what reading and verifying it found."""

from collections.abc import Iterator
from math import prod

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, found_fault, rule


@rule(
    name="package-reading",
    severity=Severity.RISK,
    title="What reading the package found",
    reason="the descriptor departs from the standard, or holds what it should not; its findings keep their own names",
    mend="ask the maker, and see what the finding says",
    source="DSP0243",
    needs=(Need.PACKAGE,),
)
def package_reading(facts: Facts) -> Iterator[Finding]:
    yield from facts.get_package().findings


@rule(
    name="package-verification",
    severity=Severity.RISK,
    title="What verifying the package found",
    reason="a missing or weak manifest, a signer of whom too little is known; its findings keep their own names",
    mend="compare the package's SHA-256 with one that its maker publishes",
    source="DSP0243, manifest and certificate files",
    needs=(Need.VERIFICATION,),
)
def package_verification(facts: Facts) -> Iterator[Finding]:
    yield from facts.get_verification().findings


@rule(
    name="package-not-intact",
    severity=Severity.STOP,
    title="The package is not what its manifest describes",
    reason="a file of it is damaged, missing or another one",
    mend="fetch the package again from its maker; do not use this copy",
    source="DSP0243, manifest file",
)
def package_not_intact(facts: Facts) -> Iterator[Found]:
    yield from (found_fault(fault) for fault in facts.package_faults)


@rule(
    name="digest-not-pinned",
    severity=Severity.RISK,
    title="The package's digest is not pinned in the design",
    reason="another site, or you next week, may use another file of the same name unnoticed",
    mend="write the package's SHA-256 into package.sha256",
)
def digest_not_pinned(facts: Facts) -> Iterator[Found]:
    if not facts.design.package.sha256:
        found = facts.verification.package_sha256 if facts.verification is not None else ""
        yield Found(
            what=f"package.sha256 is empty for {facts.design.package.file}",
            where=facts.at("package.file"),
            mend=f"compare it with the maker's and write sha256: {found}" if found else "",
        )


@rule(
    name="digest-differs",
    severity=Severity.STOP,
    title="The package is not the one that the design pins",
    reason="what was reviewed, rehearsed and approved is another file",
    mend="fetch the pinned package, or find out why it differs and pin this one",
    needs=(Need.VERIFICATION,),
)
def digest_differs(facts: Facts) -> Iterator[Found]:
    pinned, found = facts.design.package.sha256, facts.get_verification()
    if pinned and not found.answers_to(pinned):
        yield Found(
            what=f"the design pins {pinned}, the file has {found.package_sha256}",
            where=facts.at("package.sha256"),
        )


@rule(
    name="members-not-as-meant",
    severity=Severity.RISK,
    title="The package is meant to stand another number of times than the design has members",
    reason="the maker states how often its machine is meant to stand, and supports what it states",
    mend="have as many members as the maker states, or ask whether it supports this number",
    source="DSP0243 2.x, scale-out section",
    needs=(Need.PACKAGE,),
)
def members_not_as_meant(facts: Facts) -> Iterator[Found]:
    package = facts.get_package()
    size_id = facts.design.package.size or package.default_size()
    counts = [count for scale in package.scale_out if (count := scale.count_for(size_id)) is not None]
    if not counts:
        return
    # A machine that stands so often in a collection that stands so often stands as often as their product.
    least, most = prod(count.least for count in counts), prod(count.most or 0 for count in counts)
    bounded = all(count.most is not None for count in counts)
    members = len(facts.design.members)
    if members < least or (bounded and members > most):
        meant = (
            f"{least} to {most}"
            if bounded and most != least
            else str(least)
            if bounded
            else f"at least {least}"
        )
        yield Found(
            what=f"the package is meant to stand {meant} times, the design has {members} members",
            where=facts.at("members"),
        )
