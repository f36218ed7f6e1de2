"""Descriptors for the benches: many files, or many hardware items."""

from collections.abc import Sequence

__all__ = ["descriptor"]

_CIM = "http://schemas.dmtf.org/wbem/wscim/1/cim-schema/2/"


def descriptor(*, files: Sequence[str] = (), items: int = 4) -> bytes:
    """A sound descriptor.

    Args: files: the attributes of each File; items: how many hardware items, a processor, a memory and adapters.
    """
    references = "\n".join(f'    <File ovf:id="f{n}" {file}/>' for n, file in enumerate(files))
    rows = [
        _item(ElementName="Processors", InstanceID="1", ResourceType="3", VirtualQuantity="4"),
        _item(
            AllocationUnits="byte * 2^20",
            ElementName="Memory",
            InstanceID="2",
            ResourceType="4",
            VirtualQuantity="8192",
        ),
    ]
    rows += [
        _item(
            AddressOnParent=str(n),
            Connection="Management",
            ElementName=f"Adapter {n}",
            InstanceID=str(n),
            ResourceSubType="virtio",
            ResourceType="10",
        )
        for n in range(3, items + 1)
    ]
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<Envelope xmlns="http://schemas.dmtf.org/ovf/envelope/1" xmlns:ovf="http://schemas.dmtf.org/ovf/envelope/1"
    xmlns:rasd="{_CIM}CIM_ResourceAllocationSettingData">
  <References>
{references}
  </References>
  <NetworkSection><Info>networks</Info><Network ovf:name="Management"/></NetworkSection>
  <VirtualSystem ovf:id="sluicelog">
    <Info>a machine</Info>
    <VirtualHardwareSection>
      <Info>its hardware</Info>
{"".join(rows)}    </VirtualHardwareSection>
  </VirtualSystem>
</Envelope>
""".encode()


def _item(**fields: str) -> str:
    inner = "".join(f"<rasd:{name}>{text}</rasd:{name}>" for name, text in sorted(fields.items()))
    return f"      <Item>{inner}</Item>\n"
