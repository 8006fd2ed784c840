"""Strokes as a person would draw them on what a first look got wrong."""

import torch
import torch.nn.functional as F


@torch.no_grad()
def strokes(seen: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    """(n, 2, H, W), 1 on strokes 'rocket' and 'not rocket'. seen, truth: (n, H, W) probability and label of the rocket.

    One stroke for each picture, drawn through an error a finger could hit; where there is none, through what is right.
    A stroke never lies: it ends where the truth changes.
    """
    n, height, width = truth.shape
    is_rocket = truth > 0.5
    wrong = (seen > 0.5) != is_rocket
    core = F.avg_pool2d(wrong.float()[:, None], 5, 1, 2)[:, 0] > 0.8
    core = core & (torch.rand(n, 1, 1, device=seen.device) < 0.85)
    anywhere = torch.where(
        torch.rand(n, 1, 1, device=seen.device) < 0.5, is_rocket.float(), 0.02 * (~is_rocket).float()
    )
    weight = torch.where(core.flatten(1).any(1)[:, None, None], core.float(), anywhere + 1e-9)
    start = torch.multinomial(weight.flatten(1), 1)[:, 0]
    y0, x0 = (start // width).float(), (start % width).float()
    rows = torch.arange(height, device=seen.device).view(1, -1, 1)
    columns = torch.arange(width, device=seen.device).view(1, 1, -1)
    near = ((rows - y0.view(-1, 1, 1)) ** 2 + (columns - x0.view(-1, 1, 1)) ** 2) < (
        15 + 60 * torch.rand(n, 1, 1, device=seen.device)
    ) ** 2
    end = torch.multinomial((weight * near).flatten(1) + 1e-12 * near.flatten(1), 1)[:, 0]
    y1, x1 = (end // width).float(), (end % width).float()
    dy, dx = (y1 - y0).view(-1, 1, 1), (x1 - x0).view(-1, 1, 1)
    py, px = rows - y0.view(-1, 1, 1), columns - x0.view(-1, 1, 1)
    t = ((py * dy + px * dx) / (dy**2 + dx**2 + 1e-6)).clamp(0, 1)
    half = 1.5 + 4 * torch.rand(n, 1, 1, device=seen.device)
    line = (py - t * dy) ** 2 + (px - t * dx) ** 2 < half**2
    says_rocket = is_rocket.flatten(1).gather(1, start[:, None]).view(n, 1, 1)
    return torch.stack([line & is_rocket & says_rocket, line & ~is_rocket & ~says_rocket], 1).float()
