"""What was looked for in the photo, so that the picture is not searched again for what was found in it before."""

import json
from collections.abc import Callable, Sequence

from digitize.outline.region import FirstPass, first_pass
from digitize.pipeline import references_of, silhouette_of
from digitize.records import Photo, ReferencePoints, Silhouette
from digitize.refused import carrying
from digitize.request.options import MeasureOptions
from digitize.trace.form_texts import marked_of

MOST_SEARCHES = 6


class PhotoCache:
    """Of one photo. Not a value: it fills as it is asked."""

    def __init__(self, photo: Photo):
        self.photo = photo
        self.first: FirstPass | None = None
        self.references: dict[str, tuple[ReferencePoints, ...]] = {}
        self.outlines: dict[str, Silhouette] = {}
        self.news = False
        """Whether something was found since it was last written."""

    def find(
        self, texts: dict, options: MeasureOptions, regions: Sequence[dict], progress: Callable[[str], None]
    ) -> tuple[tuple[ReferencePoints, ...], Silhouette]:
        """References, and the outline under these words and marked regions. Raises Refusal, with what was seen."""
        marked = marked_of(self.photo, regions)
        words = json.dumps([texts.get("scale"), texts.get("sheet_bar")])
        progress("finding the scale")
        references = self._once(self.references, words, lambda: references_of(self.photo, options))

        def outline() -> Silhouette:
            progress("looking for the rocket")
            with carrying(photo=self.photo, references=references):
                self.first = self.first or first_pass(self.photo.rgb)
            return silhouette_of(self.photo, references, progress, marked, self.first)

        key = json.dumps([words, list(regions)], sort_keys=True)
        return references, self._once(self.outlines, key, outline)

    def _once(self, found: dict, key: str, search: Callable):
        """What was found under this key, sought if it is not there; the newest few are kept."""
        if key not in found:
            found[key] = search()
            self.news = True
            while len(found) > MOST_SEARCHES:
                del found[next(iter(found))]
        return found[key]
