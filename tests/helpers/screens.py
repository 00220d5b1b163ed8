"""What a text says, whatever its wording."""


def says(text, *wanted):
    """Whether figures, names and key words all stand in a text, in any order; line ends and capitals do not count."""
    flat = " ".join(text.split()).casefold()
    return all(" ".join(each.split()).casefold() in flat for each in wanted)
