"""Make the eye's network again, on every GPU of a machine: `python -m digitize.training.train --out DIR`.

Every picture is new, none is stored. The pictures grow during the schedule (see STAGES): most of what a rocket looks
like is learned faster on small ones. One process a GPU, each with pictures of its own; the gradients are averaged.
The averaged weights are scored on held-out pictures and written to DIR as eye.onnx (weights as 16 bit floats) and
eye.json (how it was made, scores, SHA-256). Where time on a machine comes in pieces, --stop-after ends a piece and
--resume DIR goes on from what it left.
"""

import argparse
import copy
import hashlib
import json
import math
import os
import time
from pathlib import Path

import numpy as np
import torch
import torch.distributed as dist
import torch.nn.functional as F
from torch import nn
from torch.nn.parallel import DistributedDataParallel

from digitize.training.eye_network import EXPORTED, WIDTHS, Eye, Kept
from digitize.training.phone_picture import photograph
from digitize.training.render import Renderer, scene_source
from digitize.training.scene import scene
from digitize.training.scene_arrays import LABELS, PICTURE
from digitize.training.strokes import strokes

STROKE_SHARE = 0.2
"""Of each batch, with strokes on what a look without them got wrong."""
HELD_OUT_SEED = 990_000_000_000
STAGES = ((0.22, 0.5), (0.42, 0.75), (1.0, 1.0))
"""Up to this share of the schedule, pictures of this size; the smaller they are, the more make a step."""
SMALL_AMONG_FULL = 0.15
"""Share of the last stage's steps on half-size pictures: the first look may be at half size too."""
MINUTES = 26.8


def losses(logits, truth, rim):
    """Of one size of output. rim: weight of each pixel, more beside the outlines of rocket and body."""
    logits = logits.float()
    entropy = F.binary_cross_entropy_with_logits(logits, truth, reduction="none")
    p, t = torch.sigmoid(logits[:, :3]), truth[:, :3]
    dice = 1 - (2 * (p * t).sum((2, 3)) + 64) / ((p + t).sum((2, 3)) + 64)
    main = (entropy[:, :1] * rim).sum() / rim.sum() + dice[:, 0].mean()
    parts = 0.5 * (entropy[:, 1:2] * rim).sum() / rim.sum() + 0.4 * dice[:, 1].mean() + 0.3 * dice[:, 2].mean()
    return main + parts + 0.3 * entropy[:, 2:5].mean() + 0.1 * entropy[:, 5:].mean(), dice[:, 0].mean().detach()


@torch.no_grad()
def rims(truth):
    """(weights, labels at an eighth of the size, weights there)."""
    full = sum(F.max_pool2d(m, 9, 1, 4) + F.max_pool2d(-m, 9, 1, 4) for m in (truth[:, :1], truth[:, 1:2]))
    small = F.avg_pool2d(truth, 8)
    coarse = F.max_pool2d(small[:, :1], 3, 1, 1) + F.max_pool2d(-small[:, :1], 3, 1, 1)
    return 1 + 5 * full.clamp(max=1), small, 1 + 2 * coarse


def with_strokes(picture, truth, look):
    """(n, 5, H, W): the picture with planes for strokes, filled for a share of the batch."""
    x = torch.cat([picture, torch.zeros_like(picture[:, :2])], 1)
    some = int(len(x) * STROKE_SHARE)
    with torch.no_grad(), torch.autocast("cuda", torch.bfloat16):
        seen = torch.sigmoid(look(x[:some].to(memory_format=torch.channels_last))[:, 0].float())
    x[:some, 3:] = strokes(seen, truth[:some, 0])
    return x.to(memory_format=torch.channels_last)


@torch.no_grad()
def follow(average, model, keep: float) -> None:
    """Moving average of weights and of the normalisation's statistics."""
    for old, new in ((average.parameters(), model.parameters()), (average.buffers(), model.buffers())):
        pairs = [(a, b) for a, b in zip(old, new, strict=True) if a.is_floating_point()]
        torch._foreach_lerp_([a for a, _ in pairs], [b for _, b in pairs], 1 - keep)


@torch.no_grad()
def held_out_scores(average, render, pictures: int = 384, batch: int = 32) -> dict:
    """On grounds, noses and fins that training never shows."""
    torch.manual_seed(5)
    overlaps = {name: [] for name in EXPORTED[:3]}
    for start in range(0, pictures, batch):
        scenes = np.stack([scene(HELD_OUT_SEED + start + k, held_out=True) for k in range(batch)])
        picture, truth = photograph(render(scenes))
        p = torch.sigmoid(average(torch.cat([picture, torch.zeros_like(picture[:, :2])], 1)))
        for k, name in enumerate(overlaps):
            a, b = p[:, k] > 0.5, truth[:, k] > 0.5
            overlaps[name] += ((a & b).sum((1, 2)) / ((a | b).sum((1, 2)) + 1e-6)).tolist()
    rocket = np.array(overlaps["rocket"])
    percentiles = {f"p{q}": round(float(np.percentile(rocket, q)), 4) for q in (2, 5, 10, 25, 50, 75)}
    medians = {f"median_{name}": round(float(np.median(v)), 4) for name, v in overlaps.items()}
    return {"pictures": pictures, **percentiles, "under_0.95": round(float((rocket < 0.95).mean()), 4), **medians}


def fused(eye: Eye) -> Eye:
    """A copy with the normalisations taken into the convolutions."""
    eye = copy.deepcopy(eye).float().cpu().eval()
    for module in eye.modules():
        if isinstance(module, nn.Sequential):
            for k in range(len(module) - 1):
                if isinstance(module[k], nn.Conv2d) and isinstance(module[k + 1], nn.BatchNorm2d):
                    module[k] = nn.utils.fusion.fuse_conv_bn_eval(module[k], module[k + 1])
                    module[k + 1] = nn.Identity()
    return eye


def write_onnx(eye: Eye, path: Path) -> None:
    """The network with weights as 16 bit floats, each followed by a cast: half the bytes, same arithmetic."""
    import onnx
    from onnx import TensorProto, helper, numpy_helper

    torch.onnx.export(
        Kept(fused(eye)).eval(), torch.rand(1, 5, *PICTURE), str(path), input_names=["picture"], output_names=["parts"],
        opset_version=13, dynamo=False,
    )  # fmt: skip
    model = onnx.load(str(path))
    casts = []
    for tensor in model.graph.initializer:
        values = numpy_helper.to_array(tensor)
        if values.dtype == np.float32 and values.size > 64:
            name = tensor.name
            tensor.CopyFrom(numpy_helper.from_array(values.astype(np.float16), name + "_half"))
            casts.append(helper.make_node("Cast", [name + "_half"], [name], to=TensorProto.FLOAT))
    for node in reversed(casts):
        model.graph.node.insert(0, node)
    onnx.save(model, str(path))


class Schedule:
    """What a run has done so far, and everything that an interrupted one needs to go on."""

    def __init__(self, rate: float):
        self.eye = Eye().cuda().to(memory_format=torch.channels_last)
        self.model: nn.Module = self.eye
        if dist.is_initialized():  # every process begins with the first one's weights
            self.model = DistributedDataParallel(self.eye, [torch.cuda.current_device()], broadcast_buffers=False)
        self.average = copy.deepcopy(self.eye).eval()
        matrices = [p for p in self.eye.parameters() if p.ndim > 1]
        others = [p for p in self.eye.parameters() if p.ndim <= 1]
        self.parameters, self.rate = matrices + others, rate
        groups = [{"params": matrices, "weight_decay": 0.03}, {"params": others, "weight_decay": 0}]
        self.optimizer = torch.optim.AdamW(groups, lr=rate, betas=(0.9, 0.99), fused=True)
        self.spent_s, self.step, self.seen, self.pieces = 0.0, 0, 0, 0

    def save(self, folder: Path) -> None:
        """Moments as 16 bit floats: they are averages already."""
        torch.save(self.eye.state_dict(), folder / "eye-last.pt")
        torch.save(self.average.state_dict(), folder / "eye.pt")
        for name in ("exp_avg", "exp_avg_sq"):
            moments = [self.optimizer.state[p][name].bfloat16() for p in self.parameters]
            torch.save(moments, folder / f"eye-{name}.pt")
        state = {"spent_s": self.spent_s, "step": self.step, "seen": self.seen, "pieces": self.pieces}
        (folder / "eye-state.json").write_text(json.dumps(state))

    def load(self, folder: Path) -> None:
        """What save left."""
        self.eye.load_state_dict(torch.load(folder / "eye-last.pt", map_location="cuda"))
        self.average.load_state_dict(torch.load(folder / "eye.pt", map_location="cuda"))
        state = json.loads((folder / "eye-state.json").read_text())
        self.spent_s, self.step, self.seen = state["spent_s"], state["step"], state["seen"]
        self.pieces = state["pieces"]
        first, second = (torch.load(folder / f"eye-{n}.pt", map_location="cuda") for n in ("exp_avg", "exp_avg_sq"))
        for p, a, b in zip(self.parameters, first, second, strict=True):
            step = torch.tensor(float(self.step), device="cuda")
            self.optimizer.state[p] = {"step": step, "exp_avg": a.float(), "exp_avg_sq": b.float()}

    def learn(self, picture, truth, share: float):
        """One step; its Dice loss."""
        rim, small, rim_small = rims(truth)
        x = with_strokes(picture, truth, self.average)
        for group in self.optimizer.param_groups:
            warm = min(1, (self.step + 1) / 200)
            group["lr"] = self.rate * warm * (0.5 + 0.5 * math.cos(math.pi * min(1, share))) + 1e-6
        self.model.train()
        with torch.autocast("cuda", torch.bfloat16):
            logits, coarse = self.model(x)
        loss, dice = losses(logits, truth, rim)
        loss = loss + 0.3 * losses(coarse, small, rim_small)[0]
        self.optimizer.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(self.parameters, 1.0)
        self.optimizer.step()
        follow(self.average, self.eye, min(0.9985, (self.step + 1) / (self.step + 20)))
        self.step, self.seen = self.step + 1, self.seen + len(x)
        return dice


def size_of(share: float, rng: np.random.Generator) -> float:
    """Of this step's pictures, as a share of full size."""
    size = next(size for until, size in STAGES if share <= until)
    return 0.5 if size == 1.0 and rng.random() < SMALL_AMONG_FULL else size


class Clock:
    """The first process's time, so that all do the same step: pictures of one size, one rate, one end."""

    def __init__(self, processes: int):
        self._began = time.time()
        self._group = dist.new_group(backend="gloo") if processes > 1 else None

    def spent_s(self) -> float:
        """Since the clock was made."""
        now = torch.tensor([time.time() - self._began], dtype=torch.float64)
        if self._group is not None:
            dist.broadcast(now, 0, group=self._group)  # between processors: the GPU's queue stays full
        return now.item()


def train(process: int, processes: int, args: argparse.Namespace) -> None:
    """One process of so many, each with a GPU; the first writes the files."""
    pieces = json.loads((args.resume / "eye-state.json").read_text())["pieces"] if args.resume else 0
    seed = args.seed * 1000 + (pieces * processes + process) * args.workers  # no two draw the same scenes
    following, drawing = scene_source(args.workers, args.batch, seed)  # these first: they fork without CUDA
    torch.cuda.set_device(process)
    if processes > 1:
        address = f"tcp://127.0.0.1:{args.port}"
        dist.init_process_group("nccl", address, rank=process, world_size=processes)
    torch.manual_seed(seed)
    rng = np.random.default_rng(args.seed * 1000 + pieces)
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    render, run = Renderer(), Schedule(args.rate)
    if args.resume:
        run.load(args.resume)
    run.pieces = pieces + 1
    before, clock, logged = run.spent_s, Clock(processes), []
    while True:
        run.spent_s = before + clock.spent_s()
        share = run.spent_s / (args.minutes * 60)
        if share >= 1 or run.spent_s - before > args.stop_after * 60:
            break
        size = size_of(share, rng)
        scenes = np.concatenate([following() for _ in range({0.5: 3, 0.75: 2}.get(size, 1))])
        logged.append(run.learn(*photograph(render(scenes, size)), share))
        if process == 0 and (run.step % 500 == 0 or run.step in (5, 50)):
            print(_progress(run, share, processes, logged), flush=True)
    if process == 0:
        _write(run, render, logged, processes, args)
    for worker in drawing:
        worker.terminate()


def _progress(run: Schedule, share: float, processes: int, logged: list) -> str:
    seen, recent = run.seen * processes, torch.stack(logged[-200:]).mean().item()
    rate = seen / (run.spent_s + 1e-9)
    return f"step {run.step} pictures {seen} a second {rate:.0f} share {share:.3f} dice {recent:.4f}"


def _write(run: Schedule, render: Renderer, logged: list, processes: int, args: argparse.Namespace) -> None:
    args.out.mkdir(parents=True, exist_ok=True)
    run.save(args.out)
    write_onnx(run.average, args.out / "eye.onnx")
    story = {
        "pictures": run.seen * processes, "steps": run.step, "minutes": round(run.spent_s / 60, 1),
        "pieces": run.pieces, "gpus": processes, "gpu": torch.cuda.get_device_name(),
        "seed": args.seed, "batch": args.batch, "rate": args.rate, "stages": STAGES, "widths": WIDTHS, "labels": LABELS,
        "exported": EXPORTED, "parameters": sum(p.numel() for p in run.average.parameters()),
        "last_dice_loss": round(torch.stack(logged[-200:]).mean().item(), 4),
        "sha256": hashlib.sha256((args.out / "eye.onnx").read_bytes()).hexdigest(),
        "held_out": held_out_scores(run.average, render),
    }  # fmt: skip
    (args.out / "eye.json").write_text(json.dumps(story, indent=1))
    print(json.dumps(story), flush=True)


def main() -> None:
    """See the module's docstring."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--minutes", type=float, default=MINUTES, help="of the whole schedule")
    parser.add_argument("--stop-after", type=float, default=1e9, help="minutes of this piece")
    parser.add_argument("--batch", type=int, default=24, help="full-size pictures a step and GPU")
    parser.add_argument("--rate", type=float, default=4e-3)
    parser.add_argument("--workers", type=int, default=11, help="processes a GPU that draw scenes")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--port", type=int, default=29511, help="by which the processes find each other")
    args = parser.parse_args()
    gpus = torch.cuda.device_count()
    os.environ["OMP_NUM_THREADS"] = "1"
    if gpus > 1:
        torch.multiprocessing.spawn(train, (gpus, args), nprocs=gpus)
    else:
        train(0, 1, args)


if __name__ == "__main__":
    main()
