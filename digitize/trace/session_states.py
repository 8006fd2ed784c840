"""What a session has come to: no photo, a photo that is read, or one that is measured or drawn. Each is a value."""

from dataclasses import dataclass

from digitize.records import Photo
from digitize.result_records import Result
from digitize.trace.photo_cache import PhotoCache
from digitize.trace.resolve import Traced


@dataclass(frozen=True, eq=False)
class Empty:
    """There is no photo yet."""


@dataclass(frozen=True, eq=False)
class PhotoRead:
    """There is a photo, and what was looked for in it."""

    photo: Photo
    cache: PhotoCache


@dataclass(frozen=True, eq=False)
class Ready(PhotoRead):
    """There are numbers: of the sketch shown, and every one of them."""

    traced: Traced
    full: Result


State = Empty | PhotoRead | Ready
