"""Any pixel layout to 8-bit sRGB."""

from io import BytesIO
from typing import cast

import numpy as np
from PIL import Image, ImageCms

_LEVEL = np.arange(256) / 255.0
LINEAR_LIGHT = np.where(_LEVEL <= 0.04045, _LEVEL / 12.92, ((_LEVEL + 0.055) / 1.055) ** 2.4).astype(np.float32)
"""(256,) linear light 0..1 of each sRGB level, IEC 61966-2-1."""

# White first: it is what viewers show. The others are for a cut-out object that would vanish on it.
_FILLS = {"white": (255, 255, 255), "black": (0, 0, 0), "green": (0, 255, 0)}
_NEAR_FILL = 60  # levels, Euclidean in RGB: an edge fainter than this is hard to follow
_PLAIN_MODES = ("L", "LA", "RGB", "RGBA", "CMYK")


def to_plain_mode(image: Image.Image) -> tuple[Image.Image, str | None]:
    """One of L, LA, RGB, RGBA, CMYK with 8 bits a channel, and a note on what was done, or None."""
    if image.mode in ("I", "F") or image.mode.startswith("I;16"):
        return _deep_gray_to_8_bit(image)
    if "transparency" in image.info:  # a transparent colour or palette entry; PNG and GIF have them
        return image.convert("RGBA"), None
    if image.mode in _PLAIN_MODES:
        return image, None
    if image.mode == "1":
        return image.convert("L"), None
    return image.convert("RGBA" if image.mode in ("PA", "La", "RGBa") else "RGB"), None


def _deep_gray_to_8_bit(image: Image.Image) -> tuple[Image.Image, str]:
    """Gray of 12, 16 or 32 bits or floats. Pillow's own conversion clips at 255 instead of scaling."""
    tiff_tags = getattr(image, "tag_v2", {})
    levels = np.asarray(image)
    if image.mode in ("I", "F") and image.format != "PNG":
        # No standard says what is black and white here, so the picture's own range is taken.
        levels = np.nan_to_num(levels.astype(np.float32), posinf=0.0, neginf=0.0)
        black, white = float(levels.min()), float(levels.max())
        note = f"gray values {black:g} to {white:g} stretched to 8 bits"
    else:
        bits = tiff_tags.get(258, (16,))[0]
        black, white = 0.0, float(2**bits - 1)
        note = f"{bits}-bit gray scaled to 8 bits"
    scaled = (levels.astype(np.float32) - black) * (255.0 / max(white - black, 1e-30))
    gray = np.clip(np.rint(scaled), 0, 255).astype(np.uint8)
    if tiff_tags.get(262) == 0:  # WhiteIsZero: Pillow inverts it for 8 bits but not for 16
        gray = 255 - gray
    return Image.fromarray(gray), note


def to_srgb(image: Image.Image, icc_profile: bytes | None) -> tuple[Image.Image, list[str]]:
    """RGB image in sRGB without transparency, and notes. image: in one of the plain modes."""
    notes = []
    alpha = image.getchannel("A") if image.mode in ("LA", "RGBA") else None
    if alpha is not None:
        image = image.convert(image.mode[:-1])
    if icc_profile:
        image, note = _apply_profile(image, icc_profile)
        if note:
            notes.append(note)
    elif image.mode == "CMYK":
        notes.append("CMYK without a colour profile: colours are approximate")
    image = image.convert("RGB")
    if alpha is not None and np.asarray(alpha).min() < 255:
        image, note = _fill_transparent(image, alpha)
        notes.append(note)
    return image, notes


def _apply_profile(image: Image.Image, icc_profile: bytes) -> tuple[Image.Image, str | None]:
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(icc_profile))
        name = " ".join(ImageCms.getProfileDescription(source).split())
        transform = ImageCms.buildTransform(source, ImageCms.createProfile("sRGB"), image.mode, "RGB")
        if image.mode == "RGB" and _changes_nothing(transform):
            return image, None
        changed = cast(Image.Image, ImageCms.applyTransform(image, transform))  # None only if changed in place
        return changed, f"colours converted from {name} to sRGB"
    except Exception:  # little CMS and its wrapper raise several kinds; a profile is no reason to stop
        return image, "the colour profile is broken or of another kind; colours taken as sRGB"


def _changes_nothing(transform: ImageCms.ImageCmsTransform) -> bool:
    """Whether a profile is sRGB in fact, by whatever name: tried on a grid of colours."""
    steps = np.linspace(0, 255, 8).astype(np.uint8)
    probe = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(64, 8, 3)
    after = np.asarray(ImageCms.applyTransform(Image.fromarray(probe), transform))
    return int(np.abs(after.astype(int) - probe.astype(int)).max()) <= 2


def _fill_transparent(image: Image.Image, alpha: Image.Image) -> tuple[Image.Image, str]:
    """Composite on the first fill that keeps clear of the opaque part's own colours."""
    step = max(1, max(image.size) // 500)  # a sample is enough to choose by
    rgb = np.asarray(image.reduce(step), float)
    opaque = rgb[np.asarray(alpha.reduce(step)) > 127]

    def share_near(name: str) -> float:
        distance = np.linalg.norm(opaque - _FILLS[name], axis=-1)
        return float((distance < _NEAR_FILL).mean()) if len(opaque) else 0.0

    name = min(_FILLS, key=share_near)
    ground = Image.new("RGB", image.size, _FILLS[name])
    ground.paste(image, mask=alpha)
    return ground, f"transparent parts filled with {name}"
