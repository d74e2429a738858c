"""Content credentials (C2PA, an open standard): a signed manifest inside a file that says what was done to it.

The libraries for it are an extra, `pip install 'autoprep[credentials]'`. Nothing here touches the network: no time
stamp is asked for, and no list of trusted signers.
"""

import io
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from importlib.util import find_spec
from typing import Any

from autoprep.errors import CannotMeet
from autoprep.files.ingredients import OFFLINE, Brought

MARKER = bytes.fromhex("6332706100110010800000aa00389b71")
"""The name of a manifest store as its box has it (C2PA 2.1, 11.1.4.2; from memory): a file that holds it bears one."""

_YEARS = 10  # that a certificate made here holds


@dataclass(frozen=True)
class Identity:
    """Who signs: a certificate with its chain, the first one the signer's, and the private key, both PEM."""

    certificate: bytes = field(repr=False)
    key: bytes = field(repr=False)


def available() -> bool:
    """Whether the extra is installed."""
    return all(find_spec(name) is not None for name in ("c2pa", "cryptography"))


def signed(
    data: bytes, mime: str, manifest: Mapping[str, Any], identity: Identity, photo: Brought | None = None
) -> bytes:
    """The file with a signed manifest in it; its pixels and all that it carries stay. Raises CannotMeet.

    photo: what it was made of, where its own credentials go along: it stands for the manifest's first ingredient.
    """
    import c2pa

    # No preview of the photo goes along: it could show more than the picture does.
    quiet = OFFLINE | {"builder": {"thumbnail": {"enabled": False}}}
    said = dict(manifest) if photo is None else _with_redactions(manifest, photo.redacted)
    try:
        info = c2pa.C2paSignerInfo(
            alg=_algorithm(identity.key), sign_cert=identity.certificate, private_key=identity.key, ta_url=None
        )
        out = io.BytesIO()
        context = c2pa.Context(c2pa.Settings.from_dict(quiet))
        with c2pa.Signer.from_info(info) as signer, c2pa.Builder(json.dumps(said), context) as builder:
            if photo is not None:
                builder.add_ingredient(manifest["ingredients"][0], photo.mime, io.BytesIO(photo.data))
            builder.sign(signer, mime, io.BytesIO(data), out)
    except (c2pa.C2paError, ValueError) as problem:
        raise CannotMeet(f"content credentials can't be written ({problem})") from problem
    return out.getvalue()


def _with_redactions(manifest: Mapping[str, Any], uris: tuple[str, ...]) -> dict[str, Any]:
    """The manifest without its ingredient, which is added with its store, and with each redaction among its actions."""
    told = [
        {"action": "c2pa.redacted", "reason": "c2pa.PII.present", "parameters": {"redacted": uri}} for uri in uris
    ]  # C2PA 2.1, 18.15.4.7 (from memory)
    assertions = [
        {**one, "data": {**one["data"], "actions": [*one["data"]["actions"], *told]}}
        if one["label"].startswith("c2pa.actions")
        else one
        for one in manifest["assertions"]
    ]
    rest = {key: value for key, value in manifest.items() if key != "ingredients"}
    return rest | {"assertions": assertions} | ({"redactions": list(uris)} if uris else {})


def _algorithm(key: bytes) -> bytes:
    """The signature algorithm that goes with a key (C2PA 2.1, 13.2). Raises ValueError for others."""
    from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    loaded = load_pem_private_key(key, password=None)
    if isinstance(loaded, ec.EllipticCurvePrivateKey):
        return {256: b"es256", 384: b"es384", 521: b"es512"}[loaded.curve.key_size]
    if isinstance(loaded, ed25519.Ed25519PrivateKey):
        return b"ed25519"
    if isinstance(loaded, rsa.RSAPrivateKey):
        return b"ps256"
    raise ValueError("a key of this kind can't sign")


def make_identity(name: str, now: datetime) -> Identity:
    """A new key with a certificate that nobody vouches for: its own authority has signed it, and says so."""
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    authority, key = (ec.generate_private_key(ec.SECP256R1()) for _ in range(2))
    issuer = f"{name} (made locally, unverified)"
    parts = [
        _certificate((issuer, name), issuer, key.public_key(), authority, now, own=False),
        _certificate((issuer, issuer), issuer, authority.public_key(), authority, now, own=True),
    ]
    pem = b"".join(part.public_bytes(serialization.Encoding.PEM) for part in parts)
    secret = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return Identity(pem, secret)


def _certificate(subject: tuple[str, str], issuer: str, public: Any, signer: Any, now: datetime, *, own: bool) -> Any:
    """An X.509 certificate as C2PA 2.1, 14.5 asks for it; own: that of the authority itself."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    def named(organisation: str, common: str) -> x509.Name:
        pairs = ((NameOID.ORGANIZATION_NAME, organisation), (NameOID.COMMON_NAME, common))
        # RFC 5280, appendix A: these names hold 64 characters.
        return x509.Name([x509.NameAttribute(oid, text[:64]) for oid, text in pairs])

    usage = dict.fromkeys(_USAGES, False) | ({"key_cert_sign": True} if own else {"digital_signature": True})
    built = (
        x509.CertificateBuilder()
        .subject_name(named(*subject))
        .issuer_name(named(issuer, issuer))
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=365 * _YEARS))
        .add_extension(x509.BasicConstraints(ca=own, path_length=0 if own else None), critical=True)
        .add_extension(x509.KeyUsage(**usage), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False)
    )
    if not own:
        built = built.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.EMAIL_PROTECTION]), critical=False)
    return built.sign(signer, hashes.SHA256())


_USAGES = (
    "digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement",
    "key_cert_sign", "crl_sign", "encipher_only", "decipher_only",
)  # fmt: skip
