"""The rights statement as an XMP packet (ISO 16684-1)."""

from xml.sax.saxutils import escape, quoteattr

from autoprep.metadata.statement import Ids, RightsStatement

NAMESPACES = {
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmpRights": "http://ns.adobe.com/xap/1.0/rights/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "Iptc4xmpExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
    "plus": "http://ns.useplus.org/ldf/xmp/1.0/",
}


def packet(statement: RightsStatement) -> bytes:
    """The statement as UTF-8 XMP bytes; fields that are empty are absent."""
    body = "".join(_property(value, ids, statement) for _, value, ids in statement.fields())
    spaces = "".join(f" xmlns:{prefix}={quoteattr(uri)}" for prefix, uri in NAMESPACES.items())
    text = (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>'
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        f'<rdf:Description rdf:about=""{spaces}>{body}</rdf:Description></rdf:RDF></x:xmpmeta>'
        '<?xpacket end="w"?>'
    )
    return _legal(text).encode("utf-8")


def _legal(text: str) -> str:
    """Without the characters that XML 1.0 does not allow, and without lone surrogates."""
    return "".join(
        ch
        for ch in text
        if ch in "\t\n\r" or (ch >= " " and not "\ud800" <= ch <= "\udfff" and ch not in "\ufffe\uffff")
    )


def _property(value: str, ids: Ids, statement: RightsStatement) -> str:
    safe = escape(value)
    inner = {
        "text": safe,
        "uri": safe,
        "seq": f"<rdf:Seq><rdf:li>{safe}</rdf:li></rdf:Seq>",
        "bag": f"<rdf:Bag><rdf:li>{safe}</rdf:li></rdf:Bag>",
        "alt": f'<rdf:Alt><rdf:li xml:lang="x-default">{safe}</rdf:li></rdf:Alt>',
        "owner": _struct(("plus:CopyrightOwnerName", value)),
        "licensor": _struct(("plus:LicensorName", statement.creator), ("plus:LicensorURL", value)),
    }[ids.form]
    return f"<{ids.xmp}>{inner}</{ids.xmp}>"


def _struct(*fields: tuple[str, str]) -> str:
    inner = "".join(f"<{name}>{escape(value)}</{name}>" for name, value in fields if value)
    return f'<rdf:Seq><rdf:li rdf:parseType="Resource">{inner}</rdf:li></rdf:Seq>'
