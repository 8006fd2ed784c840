"""Work that a person has given up, and the stages it goes through until then."""

STAGES = {
    "starting": "Opening the photo",
    "finding the scale": "Finding the scale",
    "looking for the rocket": "Looking for the rocket",
    "following its edge": "Following its edge",
    "working out its shape": "Working out its shape and the numbers",
}
"""What the work says of itself, in its order, and the words a person reads."""


class Stopped(Exception):
    """The work was given up: no fault, and nothing of it is shown."""


def progress(stage: str) -> dict:
    """{"at": 1 to "of", "words"} of the stage that was said last."""
    stages = list(STAGES)
    at = stages.index(stage) if stage in STAGES else 0
    return {"at": at + 1, "of": len(stages), "words": STAGES.get(stage, stage)}
