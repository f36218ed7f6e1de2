"""The room's public names."""

import staddle.package


def test_the_public_names_are_these_and_all_exist() -> None:
    assert staddle.package.__all__ == [
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
    assert all(hasattr(staddle.package, name) for name in staddle.package.__all__)
