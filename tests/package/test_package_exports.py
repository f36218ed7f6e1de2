"""The room's public names."""

import staddle.package


def test_the_public_names_are_these_and_all_exist() -> None:
    assert staddle.package.__all__ == [
        "BUNDLE_SHEET",
        "ENVIRONMENT_NAME",
        "Adapter",
        "BundleOrder",
        "Bundled",
        "BundledMember",
        "DiskDevice",
        "Environment",
        "EnvironmentFile",
        "Filling",
        "Form",
        "Hardware",
        "Licence",
        "ManifestSigner",
        "Origin",
        "OriginCheck",
        "Package",
        "PackageDisk",
        "PackageFile",
        "PlatformFacts",
        "Property",
        "QuantityRange",
        "SheetMember",
        "Size",
        "Verification",
        "bundle_sheet",
        "certificates_in",
        "check_answer",
        "check_package",
        "environment_document",
        "load_signer",
        "needs_passphrase",
        "open_disk_file",
        "read_environment",
        "read_package",
        "verify_package",
        "with_digests",
        "write_bundle",
    ]
    assert all(hasattr(staddle.package, name) for name in staddle.package.__all__)
