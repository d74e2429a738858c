"""What the artist is told: explanations, pages, lists, and the command line's words."""
