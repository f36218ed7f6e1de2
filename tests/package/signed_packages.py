"""Keys, certificates and signatures made by openssl, another implementation than the one that checks them.

A ``Party`` is a key with its certificate; ``signed`` is a package in a folder whose manifest openssl signed.
"""

import subprocess
from dataclasses import dataclass
from pathlib import Path

from tests.package.descriptor_pieces import envelope

__all__ = ["DESCRIPTOR", "Party", "manifest_of", "openssl", "party", "signed"]

DESCRIPTOR = envelope(files=('ovf:id="f" ovf:href="a.img"',))
_KEYS = {
    "rsa": ("RSA", "rsa_keygen_bits:2048"),
    "rsa1024": ("RSA", "rsa_keygen_bits:1024"),
    "ec": ("EC", "ec_paramgen_curve:P-256"),
    "ed25519": ("ED25519", ""),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Party:
    """Who can sign. ``chain`` is the certificate and those above it but the root, as PEM."""

    key: Path
    certificate: Path
    chain: str


def openssl(*arguments: str | Path, given: bytes = b"") -> bytes:
    """Run openssl to its end; it must succeed."""
    done = subprocess.run(["openssl", *map(str, arguments)], input=given, capture_output=True, timeout=60)
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout


def party(
    folder: Path,
    name: str,
    *,
    issuer: Party | None = None,
    kind: str = "",
    days: tuple[str, str] = ("20260101000000Z", "20360101000000Z"),
    extensions: tuple[str, ...] = (),
    ca: bool = False,
    subject: str = "",
) -> Party:
    """A new key and its certificate, valid between two instants; signed by itself without an issuer."""
    folder.mkdir(parents=True, exist_ok=True)
    key, request, certificate = (folder / f"{name}.{suffix}" for suffix in ("key", "csr", "pem"))
    # An authority may sign with any key, and EC keys are made in no time; signers of packages have RSA keys.
    algorithm, option = _KEYS[kind or ("ec" if ca else "rsa")]
    openssl("genpkey", "-algorithm", algorithm, *(("-pkeyopt", option) if option else ()), "-out", key)
    openssl("req", "-new", "-key", key, "-subj", f"/CN={subject or name}", "-out", request)
    lines = [f"basicConstraints=critical,CA:{str(ca).upper()}", *extensions]
    (folder / f"{name}.ext").write_text("\n".join(lines) + "\n")
    # Only "openssl ca" of this version takes both ends of the validity.
    (folder / f"{name}.txt").write_text("")
    (folder / f"{name}.cnf").write_text(
        f"[ca]\ndefault_ca=c\n[c]\ndatabase={folder}/{name}.txt\nnew_certs_dir={folder}\nrand_serial=yes\n"
        "default_md=sha256\npolicy=p\nunique_subject=no\n[p]\ncommonName=supplied\n"
    )
    signer = (
        ("-selfsign", "-keyfile", key)
        if issuer is None
        else ("-cert", issuer.certificate, "-keyfile", issuer.key)
    )
    openssl(
        "ca", "-batch", "-notext", "-config", folder / f"{name}.cnf", "-in", request, "-out", certificate,
        "-startdate", days[0], "-enddate", days[1], "-extfile", folder / f"{name}.ext", *signer,
    )  # fmt: skip
    own = certificate.read_text()
    return Party(key=key, certificate=certificate, chain=own + (issuer.chain if issuer is not None else ""))


def manifest_of(**files: bytes) -> bytes:
    """A manifest in the strict form, its digests from openssl. Names have "_" for "."."""
    lines = []
    for name, content in files.items():
        digest = openssl("dgst", "-sha256", "-r", given=content).split()[0].decode()
        lines.append(f"SHA256({name.replace('_', '.')})= {digest}\n")
    return "".join(lines).encode()


def signed(
    folder: Path,
    by: Party,
    *,
    algorithm: str = "SHA256",
    manifest: bytes | None = None,
    certificates: str | None = None,
) -> Path:
    """A sound package whose manifest openssl signed; returns its descriptor's path."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "box.ovf").write_text(DESCRIPTOR, encoding="utf-8")
    (folder / "a.img").write_bytes(b"abc")
    if manifest is None:
        manifest = manifest_of(box_ovf=DESCRIPTOR.encode(), a_img=b"abc")
    (folder / "box.mf").write_bytes(manifest)
    signature = folder / "signature"
    if "ED25519" in openssl("pkey", "-in", by.key, "-noout", "-text").decode():
        openssl("pkeyutl", "-sign", "-rawin", "-inkey", by.key, "-in", folder / "box.mf", "-out", signature)
    else:
        openssl("dgst", f"-{algorithm.lower()}", "-sign", by.key, "-out", signature, folder / "box.mf")
    line = f"{algorithm}(box.mf)= {signature.read_bytes().hex()}\n"
    signature.unlink()
    (folder / "box.cert").write_text(line + (by.chain if certificates is None else certificates))
    return folder / "box.ovf"
