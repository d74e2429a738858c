"""What the settings and the photo give to the rights of a work: whose it is, on which terms, and of which year."""

from autoprep.domain import WorkFacts
from autoprep.metadata.statement import Maker
from autoprep.wishes.tables import Settings


def maker_of(settings: Settings) -> Maker:
    """Whose pictures these are, and on which terms."""
    rights, artist = settings.rights, settings.artist
    return Maker(
        artist=artist.name,
        email=artist.email,
        website=artist.website,
        notice=rights.notice,
        usage_terms=rights.usage_terms,
        credit=rights.credit,
        statement_url=rights.statement_url,
        licensing_url=rights.licensing_url,
        licensing_email=rights.licensing_email,
        data_mining=rights.data_mining,
        keywords=rights.keywords,
    )


def year_of(facts: WorkFacts, taken_at: str | None, came: str) -> str:
    """The year of the work as the artist says it, of several the last, else that of the photo, or when it came in.

    Never that of today: words that change years later would make a work younger.
    """
    return facts.year[-4:] or (taken_at or came)[:4]
