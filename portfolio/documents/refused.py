"""The one way in which a file is turned away."""


class UploadRefused(Exception):
    """The file is not taken; the text says why and what to do."""
