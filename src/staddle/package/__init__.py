"""What the maker ships: reading, verifying and answering an OVF package. Imports the kernel only.

Reading a package is loaded with the room; what signs, verifies, fills in and writes is loaded when it is first named (PEP 562):
most commands only read, and cryptography takes longer to load than a package to read.
"""

import importlib
from typing import TYPE_CHECKING, Final

from staddle.package.appaddress import application_address
from staddle.package.descriptor import read_machines, read_package
from staddle.package.model import (
    Adapter,
    Allocation,
    Controller,
    DiskDevice,
    EnvironmentFile,
    Hardware,
    InstanceCount,
    Licence,
    Machine,
    Medium,
    Package,
    PackageDisk,
    PackageFile,
    PlacementGroup,
    Property,
    QuantityRange,
    ScaleOut,
    Size,
    StartUp,
)
from staddle.package.properties import check_answer

if TYPE_CHECKING:
    from staddle.package.bundle import Bundled, BundledMember, BundleOrder, Form, write_bundle
    from staddle.package.bundlepaper import BUNDLE_SHEET, SheetMember, bundle_sheet
    from staddle.package.certificatefile import certificates_in
    from staddle.package.contents import open_disk_file
    from staddle.package.environment import (
        ENVIRONMENT_NAME,
        Environment,
        PlatformFacts,
        environment_document,
        read_environment,
    )
    from staddle.package.environmentimage import (
        EnvironmentDisc,
        environment_files,
        environment_image_file,
        read_environment_image,
        remove_environment_images,
        write_environment_image,
    )
    from staddle.package.figures import DiskFigures, SizeFigures, size_figures
    from staddle.package.filling import Filling
    from staddle.package.manifest import Verification, check_package, verify_package, with_digests
    from staddle.package.signature import Origin
    from staddle.package.signer import OriginCheck
    from staddle.package.signing import ManifestSigner, load_signer, needs_passphrase

__all__ = [
    "BUNDLE_SHEET",
    "ENVIRONMENT_NAME",
    "Adapter",
    "Allocation",
    "BundleOrder",
    "Bundled",
    "BundledMember",
    "Controller",
    "DiskDevice",
    "DiskFigures",
    "Environment",
    "EnvironmentDisc",
    "EnvironmentFile",
    "Filling",
    "Form",
    "Hardware",
    "InstanceCount",
    "Licence",
    "Machine",
    "ManifestSigner",
    "Medium",
    "Origin",
    "OriginCheck",
    "Package",
    "PackageDisk",
    "PackageFile",
    "PlacementGroup",
    "PlatformFacts",
    "Property",
    "QuantityRange",
    "ScaleOut",
    "SheetMember",
    "Size",
    "SizeFigures",
    "StartUp",
    "Verification",
    "application_address",
    "bundle_sheet",
    "certificates_in",
    "check_answer",
    "check_package",
    "environment_document",
    "environment_files",
    "environment_image_file",
    "load_signer",
    "needs_passphrase",
    "open_disk_file",
    "read_environment",
    "read_environment_image",
    "read_machines",
    "read_package",
    "remove_environment_images",
    "size_figures",
    "verify_package",
    "with_digests",
    "write_bundle",
    "write_environment_image",
]

_LATER: Final = {
    "bundle": ("BundleOrder", "Bundled", "BundledMember", "Form", "write_bundle"),
    "bundlepaper": ("BUNDLE_SHEET", "SheetMember", "bundle_sheet"),
    "certificatefile": ("certificates_in",),
    "contents": ("open_disk_file",),
    "environment": (
        "ENVIRONMENT_NAME",
        "Environment",
        "PlatformFacts",
        "environment_document",
        "read_environment",
    ),
    "environmentimage": (
        "EnvironmentDisc",
        "environment_files",
        "environment_image_file",
        "read_environment_image",
        "remove_environment_images",
        "write_environment_image",
    ),
    "figures": ("DiskFigures", "SizeFigures", "size_figures"),
    "filling": ("Filling",),
    "manifest": ("Verification", "check_package", "verify_package", "with_digests"),
    "signature": ("Origin",),
    "signer": ("OriginCheck",),
    "signing": ("ManifestSigner", "load_signer", "needs_passphrase"),
}
"""Module -> the names that are loaded with it when one of them is first asked for."""

if not TYPE_CHECKING:  # a checker that saw this would take every name for one of ours

    def __getattr__(name: str) -> object:
        for module, names in _LATER.items():
            if name in names:
                value = getattr(importlib.import_module(f"{__name__}.{module}"), name)
                globals()[name] = value
                return value
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
