"""What comes with a request: no larger and no slower than is allowed, and from the network not without end."""

import asyncio
import io

from PIL import Image
from starlette.requests import Request

from digitize.errors import Refusal, UsageRefusal
from digitize.photo.read import FORMATS

PATIENCE_S = 20.0
SLOWEST_BYTES_PER_S = 20_000
"""What is sent may lag behind this pace by so long: a photo of 10 MB takes 9 minutes at most."""
AT_ONCE = 2
"""Photos on their way from the network; they are held in memory."""
IN_ALL = 100
"""Photos from the network while the program runs; each is kept on the disk."""
_SUFFIXES = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp", "TIFF": ".tif", "BMP": ".bmp", "HEIF": ".heic"}


class TooLarge(Refusal):
    """More than is taken."""

    def __init__(self, most: int):
        super().__init__(f"this is larger than {most / 1e6:g} MB", "give a smaller file")


class TooSlow(Refusal):
    """It comes in a trickle, or not at all."""

    def __init__(self):
        super().__init__("it came too slowly and was left off", "go nearer to the Wi-Fi, then try again")


async def body_of(request: Request, most: int) -> bytes:
    """The request's body, refused as soon as it is larger than `most` bytes or slower than a bad Wi-Fi.

    Raises TooLarge, TooSlow.
    """
    said = request.headers.get("content-length", "0")
    if not said.isdigit() or int(said) > most:
        raise TooLarge(most)
    content, began = bytearray(), asyncio.get_running_loop().time()
    try:
        async with asyncio.timeout(PATIENCE_S) as patience:
            async for part in request.stream():
                content += part
                if len(content) > most:
                    raise TooLarge(most)
                patience.reschedule(began + PATIENCE_S + len(content) / SLOWEST_BYTES_PER_S)
    except TimeoutError:
        raise TooSlow from None
    return bytes(content)


class Allowance:
    """Not a value: it counts the photos that come from the network."""

    def __init__(self):
        self.coming, self.came = 0, 0

    async def body_of(self, request: Request, most: int) -> bytes:
        """The same, for as many as there is room for. Raises UsageRefusal too."""
        if self.came >= IN_ALL:
            what = f"{IN_ALL} photos have come from the network, and no more are taken"
            raise UsageRefusal(what, "choose it on the computer, or start the program again")
        if self.coming >= AT_ONCE:
            raise UsageRefusal("other photos are just coming in", "wait a moment, then choose it again")
        self.coming += 1
        try:
            content = await body_of(request, most)
        finally:
            self.coming -= 1
        self.came += 1
        return content


def suffix_of(content: bytes) -> str:
    """Of a photo's file, by what it holds. Raises UsageRefusal if it is none that is read."""
    try:
        with Image.open(io.BytesIO(content), formats=FORMATS) as image:
            suffix = _SUFFIXES.get("JPEG" if image.format == "MPO" else image.format or "")
    except Exception:  # decoders raise nearly anything on damaged data
        suffix = None
    if suffix is None:
        raise UsageRefusal("this file is not a picture this reads", "give a JPEG, HEIC, PNG, WebP, TIFF or BMP file")
    return suffix
