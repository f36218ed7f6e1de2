"""Rules about the appliance's profile: whether it fits the package and the number of members."""

from collections.abc import Iterator

from staddle.design.profile import NO_PROFILE
from staddle.kernel import Severity
from staddle.kernel.likeness import did_you_mean
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule


@rule(
    name="below-least-members",
    severity=Severity.STOP,
    title="Fewer members hold data than the maker supports",
    reason="the maker does not support a cluster of this few members",
    mend="add members that hold data",
    source="the appliance's profile, least_members",
    needs=(Need.PROFILE,),
)
def below_least_members(facts: Facts) -> Iterator[Found]:
    least = facts.get_profile().least_members
    holding = sum(member.data for member in facts.design.members)
    if holding < least:
        yield Found(
            what=f"members that hold data: {holding}, the maker's least is {least}", where=facts.at("members")
        )


@rule(
    name="above-most-members",
    severity=Severity.STOP,
    title="More members than the maker supports",
    reason="the maker does not support a cluster of this many members",
    mend="take a larger size and fewer members, or a second cluster",
    source="the appliance's profile, most_members",
    needs=(Need.PROFILE,),
)
def above_most_members(facts: Facts) -> Iterator[Found]:
    most = facts.get_profile().most_members
    count = len(facts.design.members)
    if most is not None and count > most:
        yield Found(what=f"{count} members, the maker's most is {most}", where=facts.at("members"))


@rule(
    name="most-members-unknown",
    severity=Severity.NOTE,
    title="The most members that the maker supports are not known",
    reason="blank means unknown, not unlimited",
    mend="look the limit up and write most_members into the profile",
    needs=(Need.PROFILE,),
)
def most_members_unknown(facts: Facts) -> Iterator[Found]:
    profile = facts.get_profile()
    if profile.most_members is None:
        yield Found(
            what=f"the profile {profile.profile} names no most_members", where=facts.at("package.profile")
        )


@rule(
    name="other-product",
    severity=Severity.STOP,
    title="The profile speaks to another product",
    reason="it would ask this appliance for things that it does not know, or knows differently",
    mend="name the profile of this product, or write one",
    source="DSP0243, ProductSection/Product",
    needs=(Need.PACKAGE, Need.PROFILE),
)
def other_product(facts: Facts) -> Iterator[Found]:
    package, profile = facts.get_package(), facts.get_profile()
    if package.product != profile.product:
        yield Found(
            what=f'the package holds "{package.product}", the profile {profile.profile} speaks to "{profile.product}"',
            where=facts.at("package.profile"),
        )


@rule(
    name="other-version",
    severity=Severity.RISK,
    title="The profile was not written for this version",
    reason="what the appliance answers, and in which order it wants things, may have changed",
    mend="rehearse and read the maker's notes; then add the version to the profile",
    source="DSP0243, ProductSection/Version",
    needs=(Need.PACKAGE, Need.PROFILE),
)
def other_version(facts: Facts) -> Iterator[Found]:
    package, profile = facts.get_package(), facts.get_profile()
    if not package.version.startswith(profile.versions):
        yield Found(
            what=f'the package is version "{package.version}", the profile {profile.profile} was written for '
            + ", ".join(f"{beginning}…" for beginning in profile.versions),
            where=facts.at("package.profile"),
        )


@rule(
    name="profile-missing",
    severity=Severity.RISK,
    title="The appliance has no profile yet",
    reason="nothing tells how it is spoken to, so it can be neither rehearsed nor carried out; its ports are not known",
    mend="write one as docs/profiles.md tells, and name its file in package.profile",
)
def profile_missing(facts: Facts) -> Iterator[Found]:
    if facts.design.package.profile == NO_PROFILE:
        yield Found(what="the design names no profile", where=facts.at("package.profile"))


@rule(
    name="profile-unproven",
    severity=Severity.NOTE,
    title="The profile is not proven on the real appliance",
    reason="no recorded run shows that it speaks to this appliance as it should",
    mend="rehearse, watch the first rollout step by step, and record the run in the profile's proven",
    needs=(Need.PROFILE,),
)
def profile_unproven(facts: Facts) -> Iterator[Found]:
    profile = facts.get_profile()
    if profile.proven.startswith(("unproven", "stand-ins only")):
        yield Found(
            what=f"the profile {profile.profile} says of itself: {profile.proven}",
            where=facts.at("package.profile"),
        )


@rule(
    name="first-password-not-asked",
    severity=Severity.STOP,
    title="The package does not ask for the first password that the profile knows",
    reason="the first password could neither be set nor replaced; it would be the maker's",
    mend="mend password_property in the profile",
    needs=(Need.PACKAGE, Need.PROFILE),
)
def first_password_not_asked(facts: Facts) -> Iterator[Found]:
    package, profile = facts.get_package(), facts.get_profile()
    found = {prop.key: prop for prop in package.properties}.get(profile.password_property)
    if found is None:
        what = f'the package asks no question "{profile.password_property}"'
    elif not found.password:
        what = f'the question "{profile.password_property}" is not marked as a password'
    else:
        return
    yield Found(what=what, where=f"profile {profile.profile}: password_property")


@rule(
    name="rule-without-question",
    severity=Severity.NOTE,
    title="The profile answers a question that the package does not ask",
    reason="the question was renamed or is gone; its new form may have no answer",
    mend="compare the profile's answers with the package's questions",
    needs=(Need.PACKAGE, Need.PROFILE),
)
def rule_without_question(facts: Facts) -> Iterator[Found]:
    profile = facts.get_profile()
    asked = [prop.key for prop in facts.get_package().properties]
    for key in profile.answers:
        if key not in asked:
            yield Found(
                what=f'the package asks no question "{key}"',
                where=f"profile {profile.profile}: answers",
                mend=did_you_mean(key, asked),
            )
