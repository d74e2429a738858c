"""What is left alone in the inbox by its name."""

# Names that sync tools, cameras and systems use for what is not yet, or never, a photo.
IGNORED_ENDINGS = (
    ".tmp",
    ".temp",
    ".part",
    ".partial",
    ".crdownload",
    ".download",
    ".filepart",
    ".!sync",
    ".icloud",
    ".swp",
    ".aae",
    ".xmp",
    ".thm",
    "~",
)
IGNORED_NAMES = {
    "thumbs.db", "desktop.ini", "$recycle.bin", "system volume information", "lost+found", "@eadir", "#recycle",
}  # fmt: skip


def is_ignored_folder(name: str) -> bool:
    """Hidden folders, those of systems, and those in which sync tools and browsers keep what is not yet whole.

    What ends like a note is one only where it is a file.
    """
    folded = name.casefold()
    return folded in IGNORED_NAMES or folded.endswith(IGNORED_ENDINGS) or folded.startswith((".", "~"))
