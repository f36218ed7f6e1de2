"""The room's public names."""

import staddle.package


def test_the_public_names_are_these_and_all_exist() -> None:
    assert staddle.package.__all__ == [
        "ENVIRONMENT_NAME",
        "Adapter",
        "DiskDevice",
        "Environment",
        "EnvironmentFile",
        "Hardware",
        "Licence",
        "Origin",
        "OriginCheck",
        "Package",
        "PackageDisk",
        "PackageFile",
        "PlatformFacts",
        "Property",
        "QuantityRange",
        "Size",
        "Verification",
        "certificates_in",
        "check_answer",
        "check_package",
        "environment_document",
        "open_disk_file",
        "read_environment",
        "read_package",
        "verify_package",
        "with_digests",
    ]
    assert all(hasattr(staddle.package, name) for name in staddle.package.__all__)
