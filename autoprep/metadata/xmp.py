"""The rights statement as an XMP packet (ISO 16684-1)."""

from collections.abc import Callable
from xml.sax.saxutils import escape, quoteattr

from autoprep.metadata.statement import Ids, RightsStatement

NAMESPACES = {
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmpRights": "http://ns.adobe.com/xap/1.0/rights/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "Iptc4xmpCore": "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/",
    "Iptc4xmpExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
    "plus": "http://ns.useplus.org/ldf/xmp/1.0/",
    "tiff": "http://ns.adobe.com/tiff/1.0/",
    "exifEX": "http://cipa.jp/exif/1.0/",
}


def packet(statement: RightsStatement) -> bytes:
    """The statement as UTF-8 XMP bytes; fields that are empty are absent."""
    body = "".join(_property(value, ids, statement) for _, value, ids in statement.fields() if ids.form != "part")
    spaces = "".join(f" xmlns:{prefix}={quoteattr(uri)}" for prefix, uri in NAMESPACES.items())
    text = (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>'
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        f'<rdf:Description rdf:about=""{spaces}>{body}</rdf:Description></rdf:RDF></x:xmpmeta>'
        '<?xpacket end="w"?>'
    )
    return text.encode("utf-8")


def _property(value: str, ids: Ids, statement: RightsStatement) -> str:
    return f"<{ids.xmp}{_ATTRIBUTE.get(ids.form, '')}>{_inner(value, ids, statement)}</{ids.xmp}>"


# A structure that stands alone is a resource of its own; in a list, each item is one.
_ATTRIBUTE = {"contact": ' rdf:parseType="Resource"'}


def _inner(value: str, ids: Ids, statement: RightsStatement) -> str:
    return _FORMS.get(ids.form, _plain)(value, statement)


def _plain(value: str, _: RightsStatement) -> str:
    return escape(value)


def _bag(value: str, _: RightsStatement) -> str:
    return "<rdf:Bag>" + "".join(f"<rdf:li>{escape(part)}</rdf:li>" for part in value.split("\n")) + "</rdf:Bag>"


def _licensor(value: str, statement: RightsStatement) -> str:
    return _items(
        "Seq",
        ("plus:LicensorName", escape(statement.creator)),
        ("plus:LicensorURL", "" if value == "yes" else escape(value)),
        ("plus:LicensorEmail", escape(statement.licensing_email)),
    )


def _contact(_: str, statement: RightsStatement) -> str:
    email, website = escape(statement.email), escape(statement.website)
    return _parts(("Iptc4xmpCore:CiEmailWork", email), ("Iptc4xmpCore:CiUrlWork", website))


def _artwork(_: str, statement: RightsStatement) -> str:
    """The work in the picture, as a structure of its own (IPTC Extension: ArtworkOrObject)."""

    def part(name: str, inner: str) -> tuple[str, str]:
        return f"Iptc4xmpExt:{name}", inner

    maker = f"<rdf:Seq><rdf:li>{escape(statement.creator)}</rdf:li></rdf:Seq>" if statement.creator else ""
    # A year is a date (ISO 8601); "c. 2026" and "2025–2026" have a property of their own, which is text.
    created = "AODateCreated" if statement.artwork_year.isdigit() else "AOCircaDateCreated"
    physical = _alt(statement.artwork_physical) if statement.artwork_physical else ""
    return _items(
        "Bag",
        part("AOTitle", _alt(statement.title) if statement.title else ""),
        part("AOCreator", maker),
        part(created, escape(statement.artwork_year)),
        part("AOCopyrightNotice", escape(statement.notice)),
        part("AOCurrentCopyrightOwnerName", escape(statement.owner)),
        part("AOPhysicalDescription", physical),
        part("AOSourceInvNo", escape(statement.artwork_inventory)),
    )


def _alt(value: str) -> str:
    return f'<rdf:Alt><rdf:li xml:lang="x-default">{escape(value)}</rdf:li></rdf:Alt>'


def _parts(*fields: tuple[str, str]) -> str:
    return "".join(f"<{name}>{inner}</{name}>" for name, inner in fields if inner)


def _items(kind: str, *fields: tuple[str, str]) -> str:
    """A list with one structure; the fields' values are XML already."""
    return f'<rdf:{kind}><rdf:li rdf:parseType="Resource">{_parts(*fields)}</rdf:li></rdf:{kind}>'


_FORMS: dict[str, Callable[[str, RightsStatement], str]] = {
    "seq": lambda value, _: f"<rdf:Seq><rdf:li>{escape(value)}</rdf:li></rdf:Seq>",
    "bag": _bag,
    "alt": lambda value, _: _alt(value),
    "owner": lambda value, _: _items("Seq", ("plus:CopyrightOwnerName", escape(value))),
    "maker": lambda value, _: _items("Seq", ("plus:ImageCreatorName", escape(value))),
    "licensor": _licensor,
    "contact": _contact,
    "artwork": _artwork,
}
"""How each form is written; all others are plain text."""
