"""What a step is called wherever people read of it: whom it concerns, and what is done."""

from staddle.plan.kind import get_kind
from staddle.plan.orders import Plan, Step

__all__ = ["step_title"]


def step_title(plan: Plan, step: Step) -> str:
    """The step as a person would say it: "levels-2: deliver the disk data", "cluster: name the deputy".

    Raises: OurFault: a plan names a kind that no file defines.
    """
    title = get_kind(step.kind).facts.title
    if step.kind == "cluster-act":
        title = plan.get_cluster_step(step.subject).title
    elif step.subject:
        title = f"{title} {step.subject}"
    return f"{step.member or 'cluster'}: {title}"
