"""What the settings and the photo give to the rights of a work: whose it is, on which terms, and of which year."""

from datetime import date, timedelta

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
    return facts.year[-4:] or (believed(taken_at, came) or came)[:4]


_CLOCKS_APART = timedelta(days=2)  # of a camera and of this machine, in whatever zones


def believed(taken_at: str | None, came: str) -> str | None:
    """The camera's date of a photo; None where that is after the day on which it came in, for its clock was ahead."""
    if not taken_at or not came or date.fromisoformat(taken_at[:10]) <= date.fromisoformat(came[:10]) + _CLOCKS_APART:
        return taken_at
    return None
