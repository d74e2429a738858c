"""What plainly asks to hold a work, or says what may be done with it, in a line, a name or a folder's name."""

import re

# Lines that begin so say what may be done with a work, or speak to nobody but the artist: never a part of a text.
_APART = re.compile(
    r"hold\b|please\b|for\b|not\s+for\b|private|confidential|privat\b|geheim|do\s+not\b|don['’]?t\b|note\s+to\b",
    re.IGNORECASE,
)
# That something is private or secret, in the languages whose words are read.
_PRIVATE = (
    r"(?:private|privat|privée?|privado|privato|confidential|confidentiel(?:le)?|vertraulich|vertrouwelijk"
    r"|secret|secrète|secreto|segreto|geheim)"
)
_HOLDS = re.compile(
    r"(?:please\W+)?hold\b|.*\b(?:on|please)\s+hold\b"
    rf"|(?:(?:strictly|top|streng)\s+)?(?:{_PRIVATE}|embargo(?:ed)?|wait|hidden|hide|hodl|hlod|ohld|not\s+(?:ready\s+)?yet"
    r"|not\s+public|un(?:published|released)|for\s+(?:me|my\s+eyes)\s+only"
    r"|(?:for\s+)?intern(?:al)?(?:\s+(?:only|use(?:\s+only)?))?|take\s+(?:(?:it|this|them)\s+)?down"
    # What is not finished is not to be seen yet; a name or a folder that says no more than this is no title.
    r"|drafts?|wip|(?:works?\s+)?in\s+progress(?:\W+yes)?|unfinished|not\s+finished(?:\s+yet)?)\W*$"
    r"|(?:please\s+)?(?:not\s+before|wait\s+(?:un)?till?)\b|nicht\s+vor\b|pas\s+avant\b|no\s+antes\s+de"
    r"|non\s+prima\s+d|não\s+antes\s+d|(?:bitte\s+)?warten\s+bis\b"
    rf"|(?:{_PRIVATE}|(?:under\s+)?embargo(?:ed)?)(?:\s+(?:until|till|bis|jusqu|hasta|fino|tot|até)\b|\W*$)"
    # As all of a line or at its end: within one it may be a sentence on the work.
    r"|.*\b(?:not\s+on|keep\s+(?:\w+\s+){0,2}off)\s+(?:the\s+|my\s+)?(?:web(?:\s?site)?|site|internet|net)\W*$"
    r"|.*\bno\s+(?:web(?:\s?site)?|internet|posting|publishing)\W*$|.*\bkein\s+(?:internet|netz)\W*$"
    r"|.*\b(?:not|nicht|niet|non|no|não|pas)\s+(?:online|en\s+ligne|ins\s+(?:netz|internet))\W*$"
    r"|(?:do\s+not|don['’]?t)\s+(?:use|release|send)\b|(?:bitte\s+)?nicht\s+(?:verwenden|benutzen)\b"
    r"|ne\s+pas\s+utiliser\b|no\s+usar\b|non\s+usare\b|niet\s+gebruiken\b|não\s+usar\b"
    r"|.*\bnot\s+for\s+(?:publication|(?:the\s+)?(?:web|internet|public)|online)\b|.*\bkeep\s+(?:(?:this|that|it|them|these|one)\s+)*(?:back|private|secret|offline)\b"
    r"|.*\b(?:do\s+not|don['’]?t)\s+(?:publish|post|share|upload|show|put)\b"
    r"|.*\b(?:never|must\s+not|not\s+to)\s+(?:be\s+)?(?:publish|post|share|upload)(?:e?d)?\b|.*\bnot\s+to\s+be\s+(?:shown|seen)\b"
    # The same in the other languages whose words are read: "do not publish, post, share, show".
    r"|.*\bnicht\s+(?:ver(?:ö|oe)ffentlichen|posten|teilen|zeigen|hochladen)\b|.*\bzur(?:ü|ue)ck(?:zu)?halten\b"
    r"|.*\bne\s+pas\s+(?:publier|poster|partager|montrer|diffuser)\b"
    r"|.*\bno\s+(?:publicar|compartir|mostrar|subir)\b|.*\bnon\s+(?:pubblicare|condividere|mostrare)\b"
    r"|.*\bniet\s+(?:publiceren|plaatsen|delen|tonen)\b|.*\bnão\s+(?:publicar|partilhar|mostrar)\b",
    re.IGNORECASE,
)
# Before a colon these are the artist's own remarks: "private: Ida wants it".
_REMARK = re.compile(rf"(?:(?:strictly|top|streng)\s+)?{_PRIVATE}|intern(?:al)?", re.IGNORECASE)
# And these behind it are none.
_INDEED = re.compile(r"(?:yes|y|true|on|x|1|ja|oui|s[ií]|sim)?\W*", re.IGNORECASE)
# Of these "no" says the contrary: "draft: no". With "not online: no" nobody knows what is meant.
_STATE = re.compile(r"hidden|drafts?|wip|(?:works?\s+)?in\s+progress|unfinished|embargo(?:ed)?", re.IGNORECASE)
_DENIED = re.compile(r"(?:no|n|false|off|0|nein|non|nee|não)\W*", re.IGNORECASE)
# A folder or a part of a name that is called so, with what computers add to a second one: "01 hold", "Hold (1)".
_CALLED_HOLD = re.compile(r"(?:\d{1,3}[\W_]+)?(?:on[\s_-]+)?hold[\W_]*(?:(?:\d{1,3}|copy)[\W_]*)?", re.IGNORECASE)
# Behind a name; a boat has one too.
_HOLD_BEHIND = re.compile(r"(.*[^\W_])(?<!\bthe)(?<!\ba)(?<!['’]s)[\W_]+hold\W*", re.IGNORECASE)
# What stands before an item of a list, and signs that nobody sees: which way to write, no break. What joins or parts
# letters is seen by its work, and belongs to a text (Unicode 23.2, from memory); a known word has none.
INVISIBLE = re.compile(r"[\u00ad\u200b\u200e\u200f\u202a-\u202e\u2060-\u2064\ufeff]")
JOINERS = re.compile(r"[\u200c\u200d]")
# Letters, digits and signs of full width, as keyboards of East Asia give them, and what they are elsewhere (Unicode,
# block FF00; from memory). A known word may be in either; a text stays as it is written.
NARROW = {0x3000: " ", **{0xFF01 + k: chr(0x21 + k) for k in range(94)}}
_LIST_SIGN = re.compile(r"\s*(?:(?:[-–—*•·‣▪◦+>#]+|\[[ xX]?\]|☐|☑)\s*|\(?\d{1,2}[.)]\s+)+(?=\S)")
# What programs put before a word that makes it stout, say, or a part of something: "**hold**", "<p>hold", "{\\b hold".
_MARKS = re.compile(r"\A(?:<[^<>]*>|\\[a-z]+-?\d*|[\s“„«‘\"'*_~`|{}()\[\]])+", re.IGNORECASE)
QUOTES = (("“", "”"), ("„", "“"), ("«", "»"), ("‘", "’"), ('"', '"'), ("'", "'"), ("”", "”"))


def unquoted(text: str) -> str:
    """The text without a pair of quotes around all of it: a sign for inches at its end stays."""
    text = text.strip()
    for start, end in QUOTES:
        if len(text) >= 2 and text.startswith(start) and text.endswith(end) and start not in text[1:-1]:
            return text[1:-1].strip()
    return text


def unlisted(text: str) -> str:
    """The text without what makes it an item of a list ("- hold", "1. hold: yes"), and without signs nobody sees."""
    seen = INVISIBLE.sub("", text)
    return seen[found.end() :] if (found := _LIST_SIGN.match(seen)) else seen


def bare(text: str) -> str:
    """A text as known words are looked for in it."""
    return unlisted(JOINERS.sub("", text.translate(NARROW)))


def holds(line: str) -> bool:
    """Whether a line without a colon asks in some way to hold the work."""
    return bool(_HOLDS.match(_MARKS.sub("", bare(line))))


def holds_by(key: str, value: object) -> bool:
    """Whether a line whose key is not known asks for it: "holds: until May", "private: do not show"."""
    remark = _REMARK.fullmatch(key.strip()) and not _INDEED.fullmatch(" ".join(str(value).split()))
    denied = _STATE.fullmatch(key.strip()) and _DENIED.fullmatch(" ".join(str(value).split()))
    return holds(str(value)) or (holds(key) and not (remark or denied))


def is_hold(text: str) -> bool:
    """Whether a folder, or a part of a name, is plainly called so, also by its number or as a copy: "Hold (1)"."""
    return bool(_CALLED_HOLD.fullmatch(text.translate(NARROW).strip()))


def held_name(text: str) -> str | None:
    """What else a folder, or a part of a name, says that asks to hold the work ("Blue Jug hold"); None where it does
    not ask."""
    text = " ".join(text.replace("_", " ").split())
    if is_hold(text) or holds(text):
        return ""
    found = _HOLD_BEHIND.fullmatch(text.translate(NARROW))
    return text[: found.end(1)] if found else None


def stands_apart(line: str) -> bool:
    """Whether a line is no part of a text or a title, by how it begins: "for submission", "don't show"."""
    return holds(line) or bool(_APART.match(bare(line)))
