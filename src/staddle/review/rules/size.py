"""Rules about the size of the members. Whether a size carries the load is sizing/'s to compute."""

from collections.abc import Iterator

from staddle.kernel import Severity
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule


@rule(
    name="size-not-chosen",
    severity=Severity.NOTE,
    title="No size is chosen, so that the package's default is taken",
    reason="nobody has decided that this size carries the load, and another edition may have another default",
    mend="write the size into package.size",
    source="DSP0243, DeploymentOptionSection",
    needs=(Need.PACKAGE,),
)
def size_not_chosen(facts: Facts) -> Iterator[Found]:
    package = facts.get_package()
    if len(package.sizes) > 1 and not facts.design.package.size:
        sizes = ", ".join(size.size_id for size in package.sizes)
        yield Found(
            what=f"package.size is empty: {package.default_size()} is taken of {sizes}",
            where=facts.at("package"),
        )
