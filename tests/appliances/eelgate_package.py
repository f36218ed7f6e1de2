"""Eelgate's package and profile, as somebody who has another appliance would bring them. Not a test."""

import hashlib
from pathlib import Path

from tests.package.descriptor_pieces import disks, envelope, hardware, item, networks, product

__all__ = ["PROFILE", "build_eelgate"]

PROFILE = """\
profile: eelgate
title: Eelgate 9
product: Eelgate
versions: ["9."]
port: 9555
user: warden
password_property: eelgate.warden_word
message: fault.text
least_members: 1

answers:
  eelgate.full_name: "${fqdn}"
  eelgate.ip: "${address.Backbone}"

acts:
  health:
    - ask: {method: GET, path: /api/status, signed_in: false}
      keep:
        healthy: condition == 'green'
        in_cluster: ring != null
        name: node.fullName
        version: node.rel
        processors: node.cpus
        memory_mib: node.ramMB
        time: node.clock
  view:
    - ask: {method: GET, path: /api/ring}
      expect: {not_yet: [425]}
      keep:
        cluster_id: ring.uid
        cluster: ring.title
        leader: headName
        deputy: "''"
        members: "nodes[].{name: n, address: ip, fingerprint: sha, heard: seen}"
  found:
    - ask: {method: POST, path: /api/ring/drafts, send: {title: "${cluster}"}}
      expect: {status: [201]}
      keep: {draft: draft.number}
    - ask: {method: POST, path: "/api/ring/drafts/${draft}/commit"}
      expect: {status: [202], unknown: [520]}
  issue-join-secret:
    - ask: {method: POST, path: /api/passes, send: {for: "${joiner}"}}
      expect: {status: [201]}
      keep: {pass: pass.id}
    - ask: {method: PUT, path: "/api/passes/${pass}", send: {minutes: "${lifetime_s:number}"}}
      keep: {secret: word}
  join:
    - ask:
        method: PUT
        path: /api/ring/membership
        send: {at: "${leader_address}:${leader_port}", print: "${leader_fingerprint_digits}", pass_word: "${join_secret}"}
      expect: {status: [204], unknown: [520]}
      deadline: 15 s
  open:
    - ask: {method: POST, path: /api/ring/open}
      expect: {status: [202]}
  look-open:
    - ask: {method: GET, path: /api/ring}
      expect: {where: "open && ring.title == '${cluster}'", not_yet: [425]}
      keep: {open: open}
  change-password:
    - ask: {method: POST, path: /api/warden, send: {word: "${new_password}"}}
      expect: {status: [204], unknown: [520]}
  write:
    - ask: {method: PUT, path: "/api/notes/${key}", send: {text: "${value}"}}
      expect: {status: [204], unknown: [520]}
  read:
    - ask: {method: GET, path: "/api/notes/${key}"}
      expect: {not_yet: [410]}
      keep: {value: note.text}

cluster:
  - {step: name-deputy, title: name the deputy, act: open, look: look-open, needs_deputy: true}
  - {step: open-ring, title: open the ring, act: open, look: look-open}
"""


def build_eelgate(folder: Path) -> Path:
    """A package in a folder with its manifest; one disk, one network, three questions. Returns: its descriptor."""
    folder.mkdir()
    disk = b"EELGATE 9\n" + bytes(300_000)

    def asked(key: str, label: str, more: str = "") -> str:
        return (
            f'<Property ovf:key="{key}" ovf:type="string" ovf:userConfigurable="true" {more}>'
            f"<Label>{label}</Label></Property>"
        )

    text = envelope(
        product(
            "<Product>Eelgate</Product><Version>9.1</Version>",
            asked("full_name", "Full name"),
            asked("ip", "Address on the backbone"),
            asked("warden_word", "The warden's first word", 'ovf:password="true"'),
            attributes='ovf:class="eelgate"',
        ),
        files=[f'ovf:id="f1" ovf:href="eel.img" ovf:size="{len(disk)}"'],
        sections=disks(
            'ovf:diskId="only" ovf:fileRef="f1" ovf:capacity="2" ovf:capacityAllocationUnits="byte * 2^30"'
            ' ovf:format="https://eelgate.example/plain"'
        )
        + networks("Backbone"),
        system=hardware(
            item(ElementName="c", InstanceID="3", ResourceType="6", ResourceSubType="virtio"),
            item(
                AddressOnParent="0",
                ElementName="d",
                HostResource="ovf:/disk/only",
                InstanceID="4",
                Parent="3",
                ResourceType="17",
            ),
            item(
                AutomaticAllocation="true",
                Connection="Backbone",
                ElementName="n",
                InstanceID="5",
                ResourceType="10",
            ),
            attributes='ovf:transport="iso"',
        ),
    )
    (folder / "eel.img").write_bytes(disk)
    (folder / "eelgate.ovf").write_text(text, encoding="utf-8")
    lines = [
        f"SHA256({name})= {hashlib.sha256((folder / name).read_bytes()).hexdigest()}\n"
        for name in ("eelgate.ovf", "eel.img")
    ]
    (folder / "eelgate.mf").write_text("".join(lines))
    return folder / "eelgate.ovf"
