"""What the maker ships: reading, verifying and answering an OVF package. Imports the kernel only."""

from staddle.package.contents import open_disk_file
from staddle.package.descriptor import read_machines, read_package
from staddle.package.environment import (
    ENVIRONMENT_NAME,
    Environment,
    PlatformFacts,
    environment_document,
    read_environment,
)
from staddle.package.environmentimage import (
    environment_image_file,
    remove_environment_images,
    write_environment_image,
)
from staddle.package.figures import DiskFigures, SizeFigures, size_figures
from staddle.package.manifest import Verification, verify_package, with_digests
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

__all__ = [
    "ENVIRONMENT_NAME",
    "Adapter",
    "Allocation",
    "Controller",
    "DiskDevice",
    "DiskFigures",
    "Environment",
    "EnvironmentFile",
    "Hardware",
    "InstanceCount",
    "Licence",
    "Machine",
    "Medium",
    "Package",
    "PackageDisk",
    "PackageFile",
    "PlacementGroup",
    "PlatformFacts",
    "Property",
    "QuantityRange",
    "ScaleOut",
    "Size",
    "SizeFigures",
    "StartUp",
    "Verification",
    "check_answer",
    "environment_document",
    "environment_image_file",
    "open_disk_file",
    "read_environment",
    "read_machines",
    "read_package",
    "remove_environment_images",
    "size_figures",
    "verify_package",
    "with_digests",
    "write_environment_image",
]
