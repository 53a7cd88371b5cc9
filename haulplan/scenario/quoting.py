"""Words put into a TOML file so that the same words are read out of it."""

__all__ = ["toml_text"]


def toml_text(words: str) -> str:
    r"""Words as a TOML basic string.

    Parameters
    ----------
    words
        Any; half of a pair of surrogates, which no file can hold, becomes the replacement
        character.

    Returns
    -------
    text
        In quotes, on one line.

    References
    ----------
    .. [1] TOML 1.0.0 (2021), "String": what a basic string must escape.

    Examples
    --------
    >>> print(toml_text('The "Old" Mill'))
    "The \"Old\" Mill"
    """
    return '"' + "".join(_letter(letter) for letter in words) + '"'


def _letter(letter: str) -> str:
    if letter in '"\\':
        return "\\" + letter
    if 0xD800 <= ord(letter) <= 0xDFFF:
        letter = "\N{REPLACEMENT CHARACTER}"
    return letter if letter.isprintable() else f"\\U{ord(letter):08X}"
