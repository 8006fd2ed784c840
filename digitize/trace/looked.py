"""What was looked for in the photo, so that the picture is not searched again for what was found in it before."""

import json
from collections.abc import Callable, Sequence

from digitize.outline.region import FirstLook, first_look
from digitize.pipeline import references_of, silhouette_of
from digitize.records import Photo, ReferencePoints, Silhouette
from digitize.refused import showing
from digitize.request.options import MeasureOptions
from digitize.trace.words import marked_of

MOST_SEARCHES = 6


class Looked:
    """Of one photo. Not a value: it fills as it is asked."""

    def __init__(self, photo: Photo):
        self.photo = photo
        self.first: FirstLook | None = None
        self.references: dict[str, tuple[ReferencePoints, ...]] = {}
        self.outlines: dict[str, Silhouette] = {}

    def look(
        self, asked: dict, options: MeasureOptions, regions: Sequence[dict], say: Callable[[str], None]
    ) -> tuple[tuple[ReferencePoints, ...], Silhouette]:
        """References, and the outline under these words and marked regions. Raises Refusal, with what was seen."""
        marked = marked_of(self.photo, regions)
        words = json.dumps([asked.get("scale"), asked.get("sheet_bar")])
        say("finding the scale")
        references = _once(self.references, words, lambda: references_of(self.photo, options))

        def outline() -> Silhouette:
            say("looking for the rocket")
            with showing(photo=self.photo, references=references):
                self.first = self.first or first_look(self.photo.rgb)
            return silhouette_of(self.photo, references, say, marked, self.first)

        key = json.dumps([words, list(regions)], sort_keys=True)
        return references, _once(self.outlines, key, outline)


def _once(found: dict, key: str, search: Callable):
    """What was found under this key, sought if it is not there; the newest few are kept."""
    if key not in found:
        found[key] = search()
        while len(found) > MOST_SEARCHES:
            del found[next(iter(found))]
    return found[key]
