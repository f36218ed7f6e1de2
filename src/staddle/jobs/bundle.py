"""package --bundle: a package a member, filled in as far as OVF lets it be, with a sheet of what an importer will still ask."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from staddle.answers.model import Answers, MemberAnswers
from staddle.design.model import Member
from staddle.jobs.anchors import origin_of_job
from staddle.jobs.answers import answers_of, refuse_open_questions
from staddle.jobs.folder import JobFolder, write_text
from staddle.jobs.gather import Gathered, gather
from staddle.jobs.rollouts import ROLLOUT, find_open, open_journal
from staddle.jobs.vault import RolloutVault, open_strongbox
from staddle.kernel import InputRefused, NotAllowed, OutsideFailed, format_binary, pretty_json
from staddle.package import (
    BUNDLE_SHEET,
    Bundled,
    BundledMember,
    BundleOrder,
    Filling,
    Form,
    ManifestSigner,
    SheetMember,
    bundle_sheet,
    load_signer,
    needs_passphrase,
    write_bundle,
)
from staddle.plan.orders import machine_name

__all__ = ["BundleReport", "bundle_job", "signer_of"]

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class BundleReport:
    """What was written; the same is kept as a record of the job. ``original_sha256`` is the maker's package."""

    job: str
    out: str
    form: str
    made_at: datetime
    made_by: str
    package: str
    original_sha256: str
    original_contents_sha256: str
    members: tuple[BundledMember, ...]
    with_secrets: bool
    signed_by: str
    sheet: str
    record: str


def signer_of(key: Path, certificates: Path, *, now: datetime, ask: Callable[[str], str]) -> ManifestSigner:
    """The organisation's signer from its files.

    Args: ask: for the passphrase, where the key lies encrypted.
    Raises: OutsideFailed: a file is not there. InputRefused: not a key and its certificate, or a wrong passphrase.
    """
    content = {}
    for path in (key, certificates):
        try:
            content[path] = path.read_bytes()
        except OSError as exc:
            raise OutsideFailed.one(f"the file cannot be read: {exc.strerror}", where=str(path)) from exc
    passphrase = ask(f"passphrase of {key}: ").encode() if needs_passphrase(content[key]) else None
    return load_signer(content[key], content[certificates], passphrase=passphrase, now=now, where=str(key))


def bundle_job(
    folder: JobFolder,
    out: Path,
    *,
    form: Form,
    now: datetime,
    actor: str,
    with_secrets: bool = False,
    signer: ManifestSigner | None = None,
    reading: Progress | None = None,
    writing: Progress | None = None,
) -> BundleReport:
    """Write the packages of all members into ``out``, all of them or nothing, and keep a record of it.

    Args: with_secrets: those of the rollout that is under way, in clear text; ``out`` must then lie below private/.
    Raises: InputRefused: the job has faults, or something lies at ``out``. NotAllowed: open questions, another package than
        the pinned one, or secrets that are not drawn yet. OutsideFailed: no room, no rights.
    """
    job = gather(folder, now)
    answers = answers_of(job)
    refuse_open_questions(answers)
    place = out.resolve()
    private = place.is_relative_to(folder.private.resolve())
    if with_secrets and not private:
        raise InputRefused.one(
            "packages with secrets are written below the job's private folder only",
            where=str(place),
            why="the secrets stand in their descriptors in clear text",
            mend=f"name a folder below {folder.private}",
        )
    secrets = _secrets(job, answers) if with_secrets else {}
    orders = tuple(
        BundleOrder(
            stem=machine_name(job.design.job.name, member.name),
            filling=_filling(job, member, answers.get_member(member.name), secrets),
        )
        for member in job.design.members
    )
    signed_by = "" if signer is None else signer.certificates[0].subject.rfc4514_string()

    def sheet(bundled: Bundled) -> Mapping[str, str]:
        text = bundle_sheet(
            cluster=job.design.job.cluster,
            file_name=job.package_path.name,
            package=job.package,
            bundled=bundled,
            members=tuple(_sheet(job, member, answers, secrets) for member in job.design.members),
            made_at=now,
            made_by=actor,
            signed_by=signed_by,
            with_secrets=with_secrets,
        )
        return {BUNDLE_SHEET: text}

    bundled = write_bundle(
        job.package_path,
        orders,
        place,
        form=form,
        made_at=now,
        origin=origin_of_job(job, now),
        pinned=job.design.package.sha256,
        signer=signer,
        private=private,
        beside=sheet,
        reading=reading,
        writing=writing,
    )
    record = f"records/bundle-{now:%Y%m%dT%H%M%SZ}.json"
    report = BundleReport(
        job=job.design.job.name,
        out=str(out),
        form=form,
        made_at=now,
        made_by=actor,
        package=job.package_path.name,
        original_sha256=bundled.original.package_sha256,
        original_contents_sha256=bundled.original.contents_sha256,
        members=bundled.members,
        with_secrets=with_secrets,
        signed_by=signed_by,
        sheet=str(out / BUNDLE_SHEET),
        record=record,
    )
    write_text(folder.root / record, pretty_json(report))
    return report


def _secrets(job: Gathered, answers: Answers) -> dict[str, str]:
    """Every secret that an answer names, from the rollout that is under way."""
    store = open_journal(job.folder)
    head = find_open(store, job.design.job.name, ROLLOUT)
    store.close()
    found: dict[str, str] = {}
    if head is not None:
        vault = RolloutVault(open_strongbox(job.folder.strongbox), head.rollout_id)
        for name in {row.secret for one in answers.members for row in one.rows if row.secret}:
            if (secret := vault.find(name)) is not None:
                found[name] = secret.unsafe_reveal()
    if missing := {
        row.label for one in answers.members for row in one.rows if row.secret and row.secret not in found
    }:
        raise NotAllowed.one(
            "there are no secrets yet for " + ", ".join(sorted(missing)),
            why="they are drawn when a rollout begins, and are those that it goes on with",
            mend="begin it with staddle rollout, stop at its first card, and bundle then",
        )
    return found


def _filling(job: Gathered, member: Member, mine: MemberAnswers, secrets: Mapping[str, str]) -> Filling:
    machine = machine_name(job.design.job.name, member.name)
    answers = {row.key: row.value for row in mine.rows if row.value is not None}
    answers |= {row.key: secrets[row.secret] for row in mine.rows if row.secret in secrets}
    addresses = job.get_addresses().get_member(member.name).addresses
    return Filling(
        name=machine,
        system_id=job.package.name,
        size_id=member.size or job.size_id,
        answers=answers,
        networks={one.package_network: one.estate_network for one in reversed(addresses)},
        remark=f"filled in for {machine} of {job.design.job.name}; the maker's package is {job.package_path.name}",
    )


def _sheet(job: Gathered, member: Member, answers: Answers, secrets: Mapping[str, str]) -> SheetMember:
    hardware = job.package.get_hardware(member.size or job.size_id)
    seat = next((seat for seat in job.valid_seats() or () if seat.member == member.name), None)
    pools = dict(seat.disks) if seat is not None else {}
    storage = job.design.storage
    choices = {choice.disk: choice for choice in storage.disks}
    disks = []
    for device in hardware.disks:
        choice = choices.get(device.disk_id)
        told: str = storage.allocation if choice is None else choice.allocation
        shipped = job.package.get_disk(device.disk_id).capacity_for(hardware.size_id)
        if choice is not None and choice.capacity_bytes not in (None, shipped):
            told += f"; enlarge it from {format_binary(shipped)} to {choice.capacity} after the import"
        disks.append((device.disk_id, pools.get(device.disk_id, ""), told))
    rows = answers.get_member(member.name).rows
    return SheetMember(
        machine=machine_name(job.design.job.name, member.name),
        size=hardware.size_id,
        host=seat.host if seat is not None else "",
        disks=tuple(disks),
        networks=tuple(
            (one.package_network, one.estate_network)
            for one in job.get_addresses().get_member(member.name).addresses
        ),
        answered=sum(1 for row in rows if row.value is not None or row.secret in secrets),
        left=tuple(
            f"{row.label} (a secret: the run card of the rollout shows it)"
            for row in rows
            if row.secret and row.secret not in secrets
        ),
    )
