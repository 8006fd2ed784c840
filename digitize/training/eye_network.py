"""The eye's network: an encoder to 1/32 and a decoder with additive skips, a few million parameters.

Plain 3 x 3 residual blocks down to 1/8 of the picture, wide depthwise blocks below, where they are cheap and see far
(after O. Ronneberger and others, MICCAI 2015, and Z. Liu and others, CVPR 2022, from memory). Input: red, green,
blue 0..1
and two planes of strokes, 1 where a person said rocket, and not rocket. Output: a logit for each label.
"""

import torch
import torch.nn.functional as F
from torch import nn

from digitize.training.scene_arrays import LABELS

WIDTHS = (24, 56, 112, 184, 272)
DEPTHS = (1, 1, 2, 3, 3)
EXPORTED = ("rocket", "body", "fins", "hidden", "nose")


def conv(
    inside: int, outside: int, size: int = 3, step: int = 1, groups: int = 1, active: bool = True
) -> nn.Sequential:
    """Convolution with batch normalisation."""
    layers = [nn.Conv2d(inside, outside, size, step, size // 2, groups=groups, bias=False), nn.BatchNorm2d(outside)]
    return nn.Sequential(*layers, nn.ReLU(True)) if active else nn.Sequential(*layers)


class Near(nn.Module):
    """Two plain convolutions beside a shortcut."""

    def __init__(self, width: int):
        super().__init__()
        self.first, self.second = conv(width, width), conv(width, width, active=False)
        nn.init.constant_(self.second[1].weight, 0.3)

    def forward(self, x):
        return F.relu(x + self.second(self.first(x)))


class Wide(nn.Module):
    """A depthwise convolution that sees far, then two pointwise ones, beside a shortcut."""

    def __init__(self, width: int, size: int):
        super().__init__()
        self.look = conv(width, width, size, groups=width, active=False)
        self.open, self.close = conv(width, 3 * width, 1), conv(3 * width, width, 1, active=False)
        nn.init.constant_(self.close[1].weight, 0.3)

    def forward(self, x):
        return x + self.close(self.open(self.look(x)))


def up(x):
    """Twice as large, nearest neighbour."""
    return F.interpolate(x, scale_factor=2.0, mode="nearest")


class Eye(nn.Module):
    """In training also returns logits at an eighth of the size."""

    def __init__(self, widths=WIDTHS, depths=DEPTHS):
        super().__init__()
        a, b, c, d, e = widths
        self.down1 = nn.Sequential(conv(5, a, 5, 2), *[conv(a, a) for _ in range(depths[0])])
        self.down2 = nn.Sequential(conv(a, b, 3, 2), *[Near(b) for _ in range(depths[1])])
        self.down3 = nn.Sequential(conv(b, c, 3, 2), *[Near(c) for _ in range(depths[2])])
        self.down4 = nn.Sequential(conv(c, d, 3, 2), *[Wide(d, 7) for _ in range(depths[3])])
        self.down5 = nn.Sequential(conv(d, e, 3, 2), *[Wide(e, 9) for _ in range(depths[4])])
        self.side4, self.up4, self.join4 = conv(d, d, 1, active=False), conv(e, d, 1, active=False), Wide(d, 7)
        self.side3, self.up3, self.join3 = conv(c, c, 1, active=False), conv(d, c, 1, active=False), Near(c)
        self.side2, self.up2, self.join2 = conv(b, b, 1, active=False), conv(c, b, 1, active=False), Near(b)
        self.side1, self.up1 = conv(a, a, 1, active=False), conv(b, a, 1, active=False)
        self.join1 = nn.Sequential(conv(a, a), conv(a, a))
        self.out, self.coarse = nn.ConvTranspose2d(a, len(LABELS), 2, 2), nn.Conv2d(c, len(LABELS), 1)

    def forward(self, x):
        one = self.down1(x - 0.45)
        two = self.down2(one)
        three = self.down3(two)
        four = self.down4(three)
        four = self.join4(F.relu(self.side4(four) + up(self.up4(self.down5(four)))))
        three = self.join3(F.relu(self.side3(three) + up(self.up3(four))))
        two = self.join2(F.relu(self.side2(two) + up(self.up2(three))))
        logits = self.out(self.join1(F.relu(self.side1(one) + up(self.up1(two)))))
        return (logits, self.coarse(three)) if self.training else logits


class Kept(nn.Module):
    """What goes into the file: probabilities of the labels that the tool uses."""

    def __init__(self, eye: Eye):
        super().__init__()
        self.eye = eye
        self.eye.coarse = None
        rows = [LABELS.index(name) for name in EXPORTED]
        out = nn.ConvTranspose2d(eye.out.in_channels, len(rows), 2, 2)
        out.weight.data, out.bias.data = eye.out.weight.data[:, rows].clone(), eye.out.bias.data[rows].clone()
        self.eye.out = out

    def forward(self, x):
        return torch.sigmoid(self.eye(x))
