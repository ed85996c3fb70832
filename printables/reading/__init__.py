"""
Pages that were marked by hand, read from a photo.

Its modules use numpy and Pillow and are imported where they are used.
"""

from audits.errors import AuditError


class UnreadablePhoto(AuditError):  # noqa: N818 - reads as what it is at the place it is caught
    """A photo from which nothing is read; its sentence says how to take a better one."""
