"""Linear light to the picture a phone would keep: exposure, lens, noise, tone, sharpening, compression. On the GPU, a
batch at a time, every picture with its own draws. Ranges are judged by eye against pictures of phones; none has a
source."""

import math

import torch
import torch.nn.functional as F

_COSINES = torch.tensor(
    [
        [math.sqrt((1 if k == 0 else 2) / 8) * math.cos((2 * n + 1) * k * math.pi / 16) for n in range(8)]
        for k in range(8)
    ]
)
# The example quantisation table for luminance, ITU-T T.81 (JPEG) table K.1, from memory.
_QUANTA = torch.tensor(
    [
        [16, 11, 10, 16, 24, 40, 51, 61], [12, 12, 14, 19, 26, 58, 60, 55], [14, 13, 16, 24, 40, 57, 69, 56],
        [14, 17, 22, 29, 51, 87, 80, 62], [18, 22, 37, 56, 68, 109, 103, 77], [24, 35, 55, 64, 81, 104, 113, 92],
        [49, 64, 78, 87, 103, 121, 120, 101], [72, 92, 95, 98, 112, 100, 103, 99],
    ]
).float()  # fmt: skip
_TO_YCC = torch.tensor([[0.299, 0.587, 0.114], [-0.1687, -0.3313, 0.5], [0.5, -0.4187, -0.0813]])


class Draws:
    """Random numbers for n pictures, each (n, 1, 1, 1)."""

    def __init__(self, n: int, device):
        self.n, self.device = n, device

    def even(self, low: float, high: float) -> torch.Tensor:
        return torch.rand(self.n, 1, 1, 1, device=self.device) * (high - low) + low

    def scale(self, low: float, high: float) -> torch.Tensor:
        return torch.exp(self.even(math.log(low), math.log(high)))

    def happens(self, probability: float) -> torch.Tensor:
        return (torch.rand(self.n, 1, 1, 1, device=self.device) < probability).float()

    def normal(self, *shape: int) -> torch.Tensor:
        return torch.randn(self.n, *shape, device=self.device)


@torch.no_grad()
def photograph(planes: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """(n, 10, H, W) planes of the ray caster to pictures (n, 3, H, W), 0..1 in steps of 1/255, and labels (n, 7, H,
    W)."""
    light, labels = planes[:, :3].clamp(0, 30), planes[:, 3:].clamp(0, 1)
    light, labels = _cut_off(light, labels)
    draw = Draws(len(light), light.device)
    x = _lens(_exposure(light, draw), draw)
    x = _tone(_noise(x, draw), draw)
    strength = draw.happens(0.4) * draw.even(0, 1.6)
    x = x + strength * (x - blurred(x, draw.even(0.6, 2.0)))
    quality = torch.where(draw.happens(0.4) > 0, draw.scale(0.05, 1.6), torch.zeros_like(strength))
    x = compressed(x.clamp(0, 1), quality)
    x = _shrunk(x)
    return (x.clamp(0, 1) * 255).round() / 255, labels


def _cut_off(light: torch.Tensor, labels: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """Some pictures end early: what lies beyond a border repeats it, as where a crop reaches out of the photo."""
    n, _, height, width = light.shape
    light, labels = light.clone(), labels.clone()
    for k in torch.nonzero(torch.rand(n) < 0.08).ravel().tolist():
        side, share = int(torch.randint(4, (1,))), float(torch.rand(1)) * 0.25 + 0.02
        if side < 2:
            at = int(share * width)
            piece, edge = (slice(0, at), at) if side == 0 else (slice(width - at, width), width - at - 1)
            light[k, :, :, piece], labels[k, :, :, piece] = light[k, :, :, edge : edge + 1], 0
        else:
            at = int(share * height)
            piece, edge = (slice(0, at), at) if side == 2 else (slice(height - at, height), height - at - 1)
            light[k, :, piece], labels[k, :, piece] = light[k, :, edge : edge + 1], 0
    return light, labels


def _exposure(x: torch.Tensor, draw: Draws) -> torch.Tensor:
    height, width = x.shape[2:]
    down = torch.linspace(-1, 1, height, device=x.device).view(1, 1, height, 1) * (height / width)
    across = torch.linspace(-1, 1, width, device=x.device).view(1, 1, 1, width)
    bright = torch.quantile(x.mean(1)[:, ::8, ::8].reshape(len(x), -1), 0.95, 1).view(-1, 1, 1, 1).clamp(min=0.02)
    x = x / bright * draw.scale(0.3, 1.5)
    uneven = 1 + draw.even(-0.6, 0.6) * draw.happens(0.5) * across + draw.even(-0.6, 0.6) * draw.happens(0.5) * down
    x = x * uneven.clamp(min=0.1) * (1 - (across**2 + down**2) * draw.even(0, 0.5) * draw.happens(0.6))
    x = x * (1 + draw.normal(3, 1, 1) * draw.even(0, 0.13))  # white balance
    return x + draw.even(0, 0.06) * draw.happens(0.3)  # haze


def _lens(x: torch.Tensor, draw: Draws) -> torch.Tensor:
    return blurred(x, draw.happens(0.45) * draw.scale(0.3, 2.2) + 0.05)


def _noise(x: torch.Tensor, draw: Draws) -> torch.Tensor:
    height, width = x.shape[2:]
    sigma = torch.where(draw.happens(0.55) > 0, draw.scale(0.0005, 0.006), draw.scale(0.004, 0.07))
    coarse = F.interpolate(draw.normal(3, height // 2, width // 2), size=(height, width), mode="bilinear")
    share, grey = draw.happens(0.5) * draw.even(0, 1), draw.happens(0.3)
    grain = draw.normal(3, height, width) * (1 - share) + 1.6 * coarse * share
    grain = grain * (1 - grey) + grey * grain[:, :1]
    return (x + grain * sigma * (x.clamp(min=0) + 0.03).sqrt()).clamp(min=0)


def _tone(x: torch.Tensor, draw: Draws) -> torch.Tensor:
    knee = draw.even(0.7, 1)
    x = torch.where(x < knee, x, knee + (1 - knee) * (1 - torch.exp(-(x - knee) / (1 - knee + 0.05)))).clamp(0, 1)
    x = x.clamp(min=1e-5) ** (1 / draw.even(1.9, 2.5))
    x = x + draw.even(-0.25, 0.5) * draw.happens(0.6) * (x * x * (3 - 2 * x) - x)
    x = x * draw.even(0.85, 1.0) + draw.even(0, 0.06)
    grey = x.mean(1, keepdim=True)
    return grey + (x - grey) * draw.even(0.5, 1.4) * (1 - draw.happens(0.05))


def blurred(x: torch.Tensor, sigma: torch.Tensor) -> torch.Tensor:
    """Gaussian blur, each picture with its own sigma (n, 1, 1, 1) px, up to about 2.3."""
    n, channels = x.shape[:2]
    reach = 7
    t = torch.arange(-reach, reach + 1, device=x.device).float()
    kernel = torch.exp(-(t**2) / (2 * sigma.view(n, 1) ** 2 + 1e-6))
    kernel = (kernel / kernel.sum(1, keepdim=True)).repeat_interleave(channels, 0)
    y = F.pad(x.reshape(1, n * channels, *x.shape[2:]), (reach,) * 4, mode="reflect")
    y = F.conv2d(y, kernel.view(n * channels, 1, 1, -1), groups=n * channels)
    return F.conv2d(y, kernel.view(n * channels, 1, -1, 1), groups=n * channels).view_as(x)


def compressed(x: torch.Tensor, quality: torch.Tensor) -> torch.Tensor:
    """As after block transform coding; quality (n, 1, 1, 1) scales the quanta, 0 leaves all but rounding."""
    n, _, height, width = x.shape
    cosines, to_ycc = _COSINES.to(x.device), _TO_YCC.to(x.device)
    middle = torch.tensor([128.0, 0, 0], device=x.device).view(1, 3, 1, 1)
    y = torch.einsum("ij,bjhw->bihw", to_ycc, x * 255) - middle
    blocks = y.view(n, 3, height // 8, 8, width // 8, 8)
    wave = torch.einsum("ki,bchiwj,lj->bchkwl", cosines, blocks, cosines)
    quanta = _QUANTA.to(x.device).view(1, 1, 1, 8, 1, 8) * quality.view(n, 1, 1, 1, 1, 1)
    quanta = (quanta * torch.tensor([1, 1.6, 1.6], device=x.device).view(1, 3, 1, 1, 1, 1)).clamp(min=0.5)
    wave = torch.round(wave / quanta) * quanta
    y = torch.einsum("ki,bchkwl,lj->bchiwj", cosines, wave, cosines).reshape(n, 3, height, width) + middle
    return torch.einsum("ij,bjhw->bihw", torch.linalg.inv(to_ycc), y) / 255


def _shrunk(x: torch.Tensor) -> torch.Tensor:
    """A tenth of the pictures as small copies seen large again."""
    n, _, height, width = x.shape
    some = torch.nonzero(torch.rand(n) < 0.1).ravel().to(x.device)
    if not len(some):
        return x
    share = float(torch.rand(1)) * 0.5 + 0.3
    small = (int(height * share) // 8 * 8, int(width * share) // 8 * 8)
    part = F.interpolate(x[some], size=small, mode="area")
    quality = Draws(len(some), x.device).scale(0.05, 1.0)
    x[some] = F.interpolate(compressed(part.clamp(0, 1), quality), size=(height, width), mode="bilinear")
    return x
